"""Rows of every table as open text, the same from either database: what a backup holds and a restore reads."""

import base64
import json
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.apps import apps
from django.core.management.color import no_style
from django.db import connections, models
from django.db.backends.base.base import BaseDatabaseWrapper
from django.utils.duration import duration_string

CHUNK = 1_000
LEFT_OUT = {"django_session"}  # whoever holds a session's key is signed in: it goes along only with the secrets
COPY = "backup_copy"


def tables(known: Any = apps) -> dict[str, type[models.Model]]:
    """Return every table of the program with its model, many-to-many ones too, in order of name."""
    found = [m for m in known.get_models(include_auto_created=True) if m._meta.managed and not m._meta.proxy]
    return {m._meta.db_table: m for m in sorted(found, key=lambda m: m._meta.db_table)}


def columns(model: type[models.Model]) -> list[models.Field]:
    return [f for f in model._meta.local_concrete_fields if not getattr(f, "generated", False)]


def rows_read(model: type[models.Model], alias: str) -> Iterator[bytes]:
    """Yield one line of JSON a row, in order of key, a chunk at a time in memory."""
    names = [f.attname for f in columns(model)]
    found = model._base_manager.using(alias).order_by("pk").values_list(*names)
    for row in found.iterator(chunk_size=CHUNK):
        line = json.dumps([plain(v) for v in row], ensure_ascii=False, separators=(",", ":"))
        yield line.encode("utf-8", "surrogatepass") + b"\n"


def plain(value: Any) -> Any:
    """Write a value as JSON holds it; instants to the microsecond, decimals and durations as text, bytes as base64."""
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        return duration_string(value)
    if isinstance(value, Decimal | UUID):
        return str(value)
    if isinstance(value, bytes | memoryview):
        return base64.b64encode(bytes(value)).decode()
    return value


def rows_write(
    connection: BaseDatabaseWrapper,
    model: type[models.Model],
    names: list[str],
    lines: Iterable[bytes],
) -> int:
    """Insert rows with their keys as they were, whatever a model would do on saving."""
    by_column = {f.column: f for f in columns(model)}
    fields = [by_column[name] for name in names]
    quote = connection.ops.quote_name
    statement = (
        f"INSERT INTO {quote(model._meta.db_table)} ({', '.join(quote(n) for n in names)}) "  # noqa: S608 (names of our tables)
        f"VALUES ({', '.join(['%s'] * len(names))})"
    )
    number, waiting = 0, []
    with connection.cursor() as cursor:
        for line in lines:
            values = json.loads(line.decode("utf-8", "surrogatepass"))
            waiting.append([f.get_db_prep_save(_back(f, v), connection) for f, v in zip(fields, values, strict=True)])
            if len(waiting) == CHUNK:
                cursor.executemany(statement, waiting)
                number += len(waiting)
                waiting = []
        if waiting:
            cursor.executemany(statement, waiting)
            number += len(waiting)
    return number


def _back(field: models.Field, value: Any) -> Any:
    # what a JSON field holds is JSON already: text in it stays text
    return value if value is None or isinstance(field, models.JSONField) else field.to_python(value)


def sequences_reset(connection: BaseDatabaseWrapper, found: Iterable[type[models.Model]]) -> None:
    """Let the next row of each table take a key above those restored."""
    statements = connection.ops.sequence_reset_sql(no_style(), list(found))
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


@contextmanager
def another(settings: dict[str, Any], alias: str = COPY) -> Iterator[str]:
    """Open a database beside the program's own, under a name of its own, and close it again."""
    connections.settings[alias] = settings
    try:
        connections[alias].connect()
        yield alias
    finally:
        connections[alias].close()
        del connections[alias]
        del connections.settings[alias]
