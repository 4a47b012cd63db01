"""`subject__among=[...]`: any of as many words as there are, in one query; `__in` has a parameter for each, which run out."""

import json
from collections.abc import Iterable
from typing import Any

from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.models import CharField, Lookup
from django.db.models.sql.compiler import SQLCompiler

TAKEN_APART = {"sqlite": "SELECT value FROM json_each(%s)", "postgresql": "SELECT json_array_elements_text(%s::json)"}


@CharField.register_lookup
class Among(Lookup):  # type: ignore[type-arg]
    """Is the column one of these words? They travel as one parameter, a JSON list that the database takes apart."""

    lookup_name = "among"
    prepare_rhs = False
    rhs: Iterable[str]

    def as_sql(self, compiler: SQLCompiler, connection: BaseDatabaseWrapper) -> tuple[str, tuple[Any, ...]]:
        column, given = self.process_lhs(compiler, connection)
        return f"{column} IN ({TAKEN_APART[connection.vendor]})", (*given, json.dumps(sorted(set(self.rhs))))
