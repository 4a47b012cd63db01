"""The whole record as it is at one instant, for a backup or an export, while everybody goes on writing."""

import os
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
from django.conf import settings
from django.db import connection, connections, transaction
from django.db.migrations.loader import MigrationLoader

from company.backup_file import BackupError
from company.backup_rows import another
from company.record_check import DamagedError


@contextmanager
def frozen(part: Path) -> Iterator[str]:
    """Open the whole record as it is at one instant, without keeping anybody from writing.

    SQLite: VACUUM INTO a file beside, in one step (a stepped copy starts anew at every write), checked whole. PostgreSQL: one
    repeatable-read, read-only transaction; rows go out in our own form, as that needs no dump program of the server's version
    on this machine and can be read into either database.
    """
    given = dict(connection.settings_dict)
    if connection.vendor == "sqlite":
        copy = part.with_name(part.name + ".sqlite3")
        source = sqlite3.connect(str(given["NAME"]), timeout=20, isolation_level=None)
        try:
            source.execute("VACUUM INTO ?", [str(copy)])
            os.chmod(copy, 0o600)
        except sqlite3.DatabaseError as error:
            if damage := _damage(str(given["NAME"])):
                raise DamagedError(damage) from error
            raise
        finally:
            source.close()
        checked = sqlite3.connect(copy)
        try:
            # the copy's indexes were made anew: pages and each row's limits are what can be wrong with it
            said = checked.execute("PRAGMA quick_check").fetchone()[0]
        finally:
            checked.close()
        if said != "ok":
            raise DamagedError(said)
        with another({**given, "NAME": str(copy), "OPTIONS": {"timeout": 20}}) as alias:
            yield alias
        return
    options = {**given.get("OPTIONS", {}), "isolation_level": psycopg.IsolationLevel.REPEATABLE_READ}
    with another({**given, "CONN_MAX_AGE": 0, "OPTIONS": options}) as alias, transaction.atomic(using=alias):
        with connections[alias].cursor() as cursor:
            cursor.execute("SET TRANSACTION READ ONLY")
        yield alias


def _damage(path: str) -> str:
    """Say what is wrong with a database's pages, or nothing: asked once a copy of it could not be made."""
    looked = sqlite3.connect(f"file:{path}?mode=ro", uri=True, timeout=20)
    try:
        said = str(looked.execute("PRAGMA quick_check(1)").fetchone()[0])
        return "" if said == "ok" else said.replace("\n", " ")
    except sqlite3.DatabaseError as error:
        return str(error) if any(word in str(error) for word in ("malformed", "not a database", "disk image")) else ""
    finally:
        looked.close()


def applied(alias: str) -> list[str]:
    """Return the migrations a database stands at, which must be all of this program's."""
    loader = MigrationLoader(connections[alias])
    if set(loader.disk_migrations) - set(loader.applied_migrations):
        raise BackupError("The database is older than the program. Run manage.py make_ready first.")
    return sorted(f"{app}.{name}" for app, name in loader.applied_migrations if (app, name) in loader.disk_migrations)


def media_files() -> Iterable[tuple[Path, str]]:
    root = Path(settings.MEDIA_ROOT)
    for base, folders, files in os.walk(root):
        folders.sort()
        for file in sorted(files):
            path = Path(base) / file
            if path.is_file() and not path.is_symlink():
                yield path, path.relative_to(root).as_posix()
