"""Does the record hold together? Asked of what a backup has frozen, so that nobody who writes waits for the answer."""

import json
import os
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from django.apps import apps
from django.conf import settings
from django.db import IntegrityError, connections, models, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from company.backup_file import BackupError
from company.backup_rows import tables
from company.registries import Figure, StatusLine
from company.running import ago_words

FILE = "checked.json"
SHOWN = 3


class DamagedError(BackupError):
    """The database itself is damaged, not only a row of it."""

    def __init__(self, damage: str) -> None:
        super().__init__(f"The database is damaged: {damage.rstrip('.')}. Nothing was kept; restore the last good backup.")
        self.damage = damage


@dataclass(frozen=True, kw_only=True)
class Broken:
    """Rows that point at something that is not there: how many of a table, and the key of the first."""

    table: str
    target: str
    count: int
    first: str

    @property
    def says(self) -> str:
        rows = f"{self.count} row{'s' if self.count > 1 else ''} of {_words(self.table)}"
        return f"{rows} point{'' if self.count > 1 else 's'} at {_words(self.target)} not there (the first is {self.first})"


@dataclass(frozen=True, kw_only=True)
class Checked:
    """What the last check found. `since`: when it was first found so, for as long as it is not well."""

    at: datetime
    damage: str = ""
    broken: list[Broken] = field(default_factory=list)
    since: datetime | None = None

    @property
    def well(self) -> bool:
        return not self.damage and not self.broken

    @property
    def says(self) -> str:
        """Say in one sentence what is wrong, without its stop."""
        if self.damage:
            return f"The database is damaged: {self.damage.rstrip('.')}"
        told = "; ".join(one.says for one in self.broken[:SHOWN])
        more = len(self.broken) - SHOWN
        return f"{told}; and {more} more kinds" if more > 0 else told


def broken_rows(alias: str) -> list[Broken]:
    """Return what points at nothing, by table: SQLite asks its own check; PostgreSQL, which enforces it, is asked all the same,
    as a row can get past it while its rules are switched off."""
    connection = connections[alias]
    return _broken_sqlite(connection) if connection.vendor == "sqlite" else _broken_by_query(connection)


def _broken_sqlite(connection: BaseDatabaseWrapper) -> list[Broken]:
    with connection.cursor() as cursor:
        cursor.execute('SELECT "table", parent, count(*), min(rowid) FROM pragma_foreign_key_check GROUP BY 1, 2 ORDER BY 1, 2')
        return [Broken(table=t, target=p, count=n, first=str(first)) for t, p, n, first in cursor.fetchall()]


def _broken_by_query(connection: BaseDatabaseWrapper) -> list[Broken]:
    quote, found = connection.ops.quote_name, []
    with connection.cursor() as cursor:
        for model, key in _pointers(tables().values()):
            table, column = model._meta.db_table, quote(model._meta.pk.column)
            where = _points_at_nothing(connection, key)
            cursor.execute(f"SELECT count(*), min({column}::text) FROM {quote(table)} WHERE {where}")  # noqa: S608
            count, first = cursor.fetchone()
            if count:
                found.append(Broken(table=table, target=key.related_model._meta.db_table, count=count, first=first))
    return found


def broken_drop(connection: BaseDatabaseWrapper, found: Iterable[type[models.Model]]) -> list[str]:
    """Let go of what points at nothing (the pointer if it may be missing, else the row) until nothing does; say what went."""
    quote, said, went = connection.ops.quote_name, [], 1
    pointers = _pointers(found)
    with connection.cursor() as cursor:
        while went:
            went = 0
            for model, key in pointers:
                table, where = model._meta.db_table, _points_at_nothing(connection, key)
                emptied = False
                if key.null:
                    # a row may have to point at something as long as it says when it began to: then the row goes
                    with suppress(IntegrityError), transaction.atomic(using=connection.alias):
                        cursor.execute(f"UPDATE {quote(table)} SET {quote(key.column)} = NULL WHERE {where}")  # noqa: S608
                        emptied = True
                if not emptied:
                    cursor.execute(f"DELETE FROM {quote(table)} WHERE {where}")  # noqa: S608
                if cursor.rowcount > 0:
                    went += cursor.rowcount
                    did = f"{key.column} of {cursor.rowcount} emptied" if emptied else f"{cursor.rowcount} left out"
                    said.append(f"{table}: {did}")
    return said


def _pointers(found: Iterable[type[models.Model]]) -> list[tuple[Any, Any]]:
    return [(m, key) for m in found for key in m._meta.local_concrete_fields if isinstance(key, models.ForeignKey)]


def _points_at_nothing(connection: BaseDatabaseWrapper, key: Any) -> str:
    quote = connection.ops.quote_name
    column = f"{quote(key.model._meta.db_table)}.{quote(key.column)}"
    # a table that points at itself needs a name for its other half
    target, aim = quote(key.related_model._meta.db_table), quote(key.target_field.column)
    return f"{column} IS NOT NULL AND NOT EXISTS (SELECT 1 FROM {target} aim WHERE aim.{aim} = {column})"  # noqa: S608


def check_keep(*, at: datetime, damage: str = "", broken: Iterable[Broken] = ()) -> Checked:
    """Keep what a check found beside the backups, where the status page and the rule read it; a full disk must not stop it."""
    before, bad = last_check(), list(broken)
    since = None if not damage and not bad else (before.since if before is not None and before.since is not None else at)
    found = Checked(at=at, damage=damage, broken=bad, since=since)
    told = {**asdict(found), "at": at.isoformat(), "since": since.isoformat() if since else None}
    with suppress(OSError):
        Path(settings.BACKUP_DIR).mkdir(parents=True, exist_ok=True)
        part = _file().with_suffix(f".{os.getpid()}")
        part.write_text(json.dumps(told))
        os.replace(part, _file())
    return found


def last_check() -> Checked | None:
    """Return what the last check found, or None where there was none or its file cannot be read."""
    try:
        told: dict[str, Any] = json.loads(_file().read_text())
        since = datetime.fromisoformat(told["since"]) if told["since"] else None
        broken = [Broken(**one) for one in told["broken"]]
        return Checked(at=datetime.fromisoformat(told["at"]), damage=told["damage"], broken=broken, since=since)
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _file() -> Path:
    return Path(settings.BACKUP_DIR) / FILE


def _words(table: str) -> str:
    model = next((m for m in apps.get_models(include_auto_created=True) if m._meta.db_table == table), None)
    return str(model._meta.verbose_name_plural) if model is not None else table


def status_lines(at: datetime) -> Iterable[StatusLine]:
    """Say whether the record holds together, as of the last backup."""
    last = last_check()
    if last is None:
        yield StatusLine(name="Record", says="Not checked yet: it is checked whole with every backup.")
    elif last.well:
        yield StatusLine(name="Record", says=f"Holds together: checked whole {ago_words(at - last.at)}.", well=True)
    else:
        yield StatusLine(name="Record", says=f"{last.says}. {what_to_do(last)}", well=False)


def what_to_do(found: Checked) -> str:
    """Say what is to be done about a record that does not hold together."""
    if found.damage:
        return "Look to the disk it lies on. Stop the program, keep the folder as it is, and restore the last backup."
    return (
        "Nothing was changed by looking. Keep the backups there are; whoever looks after the program mends the rows "
        "(manage.py check_record names them) or restores the last backup made before."
    )


def figures(at: datetime) -> Iterable[Figure]:
    """Give the last check as figures."""
    last = last_check()
    if last is not None:
        yield Figure(name="record_whole", means="1: the last check found nothing wrong.", value=int(last.well))
        age_s = max((at - last.at).total_seconds(), 0)
        yield Figure(name="record_check_age_seconds", means="Since the record was last checked whole.", value=age_s)
