"""The test database, migrated once and copied ever after: migrating costs each worker of each part of the CI half a minute.

What is copied was made by the migrations themselves. Its name is a digest of all they may read: a changed line makes it anew.
Django still runs `migrate` over every copy.
"""

import fcntl
import hashlib
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from django.db import connection
from django.test.utils import setup_databases

ROOT = Path(__file__).resolve().parents[1]
READ = ("company", "config", "inventory", "maintenance", "shows", "fixtures")
ENDINGS = {".py", ".json", ".toml", ".sql", ".csv"}
PREFIX = "knowngood_made_"
KEPT = 6  # of other trees, or of this one with other migrations


def databases_set_up() -> Any:
    """Set the test databases up, as `django.test.utils.setup_databases` does; return what its `teardown_databases` takes."""
    name = PREFIX + _digest()
    put, keep = (_put_file, _keep_file) if connection.vendor == "sqlite" else (_put_rows, _keep_rows)
    with _alone():
        there = put(name)
        if not there:
            old = setup_databases(verbosity=0, interactive=False, serialized_aliases=set())
            keep(name)
            return old
    return setup_databases(verbosity=0, interactive=False, keepdb=True, serialized_aliases=set())


def made_copy(path: Path) -> bool:
    """Put a copy of what was migrated at a path, for a test with processes of its own; False if nobody has made it yet."""
    made = _folder() / f"{PREFIX}{_digest()}.sqlite3"
    with _alone():
        if not made.exists():
            return False
        shutil.copyfile(made, path)
        return True


def _digest() -> str:
    """Return a short digest of all that migrating may read: the code, what it loads, the versions of the libraries."""
    files = [path for folder in READ for path in sorted((ROOT / folder).rglob("*")) if path.suffix in ENDINGS]
    total = hashlib.sha256(sqlite3.sqlite_version.encode())
    for path in [ROOT / "requirements.txt", *files]:
        total.update(f"{path.relative_to(ROOT)}\0".encode() + path.read_bytes() + b"\0")
    return total.hexdigest()[:20]


def _folder() -> Path:
    folder = Path(tempfile.gettempdir()) / f"knowngood-made-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    return folder


@contextmanager
def _alone() -> Iterator[None]:
    """Let one worker at a time make it, or copy it; the others wait for the copy."""
    with (_folder() / "lock").open("a") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


# ---- SQLite: a file


def _put_file(name: str) -> bool:
    made = _folder() / f"{name}.sqlite3"
    if not made.exists():
        return False
    shutil.copyfile(made, connection.creation._get_test_db_name())
    return True


def _keep_file(name: str) -> None:
    made = _folder() / f"{name}.sqlite3"
    half = made.with_suffix(".half")
    half.unlink(missing_ok=True)
    with closing(sqlite3.connect(half)) as copy:
        connection.ensure_connection()
        connection.connection.backup(copy)
    half.rename(made)
    for old in sorted(_folder().glob("*.sqlite3"), key=lambda path: path.stat().st_mtime)[:-KEPT]:
        old.unlink()


# ---- PostgreSQL: a database to copy from


def _put_rows(name: str) -> bool:
    with connection._nodb_cursor() as cursor:  # type: ignore[attr-defined]
        cursor.execute("SELECT 1 FROM pg_database WHERE datname = %s", [name])
        if cursor.fetchone() is None:
            return False
        mine = connection.ops.quote_name(connection.creation._get_test_db_name())
        cursor.execute(f"DROP DATABASE IF EXISTS {mine}")
        cursor.execute(f"CREATE DATABASE {mine} TEMPLATE {name}")
        return True


def _keep_rows(name: str) -> None:
    mine = connection.ops.quote_name(str(connection.settings_dict["NAME"]))
    connection.close()  # nobody may be connected to what is copied
    with connection._nodb_cursor() as cursor:  # type: ignore[attr-defined]
        cursor.execute("SELECT datname FROM pg_database WHERE datname LIKE %s", [PREFIX.replace("_", r"\_") + "%"])
        for (old,) in cursor.fetchall():
            cursor.execute(f"DROP DATABASE IF EXISTS {connection.ops.quote_name(old)}")
        cursor.execute(f"CREATE DATABASE {name} TEMPLATE {mine}")
