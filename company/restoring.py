"""Bring a backup back, into either database: all of it or nothing, whenever it is cut off.

Rows and media are built beside what is there. On SQLite a journal is then written and files are swapped in; on PostgreSQL the
rows go in by one transaction that also leaves the journal's token in the database. Whoever finds the journal later either ends
the swap (SQLite; or the token is there) or throws away what was built beside.
"""

import json
import os
import secrets
import shutil
import sqlite3
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.apps import apps
from django.conf import settings
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader

from company import in_use
from company.backup_file import BLOCK, BackupError, Manifest, disk_words, opened, settled, verify
from company.backup_rows import rows_write, sequences_reset, tables
from company.record_check import broken_drop

OURS = {"company", "inventory", "maintenance", "shows"}
Say = Callable[[str], None]


def _journal() -> Path:
    return Path(settings.VAR_DIR) / "restore.json"


def _staged_media() -> Path:
    return Path(settings.MEDIA_ROOT).with_name("media.restoring")


def _database() -> Path:
    return Path(str(connection.settings_dict["NAME"]))


def _staged_database() -> Path:
    return _database().with_name(_database().name + ".restoring")


def _staged_key() -> Path:
    return Path(settings.VAR_DIR) / "secret_key.restoring"


def backup_restore(
    *, path: Path, overwrite: bool, with_secrets: bool = False, without_broken: bool = False, say: Say
) -> Manifest:
    """Verify a backup, then bring it back; a BackupError says in one sentence why nothing was changed.

    `without_broken`: what pointed at something that was not there when it was made is left out, and named.
    """
    with in_use.alone() as free:
        if not free:
            raise BackupError("The program is running on this folder. Stop it first, then restore.")
        restore_finish()
        say("Reading the backup and comparing every sum ...")
        try:
            manifest = verify(path)
            _known(manifest, path.name)
            if with_secrets and not manifest.secrets:
                raise BackupError(f"{path.name} holds no secrets. Nothing was changed.")
            if (broken := manifest.more["broken"]) and not without_broken:
                raise BackupError(
                    f"{path.name} was made of a record that did not hold together: {'; '.join(broken)}. Restore an older one, "
                    "or say --without-broken to leave out what points at nothing. Nothing was changed."
                )
            _others_gone()
            if not overwrite and (what := _held()):
                raise BackupError(f"There is a record here already ({what}). To put the backup in its place, say --yes.")
            _bring_back(path, manifest, with_secrets=with_secrets, say=say)
        except (OSError, DatabaseError, sqlite3.Error, ValueError, KeyError) as error:
            if not _put_back():
                raise BackupError(
                    f"The last step did not succeed ({error}). Mend that, then run manage.py restore --finish."
                ) from error
            raise BackupError(f"{disk_words(error, Path(settings.VAR_DIR))} The record is as it was.") from error
        except BaseException:
            _put_back()
            raise
    return manifest


def _put_back() -> bool:
    """Throw away what was built beside; False, and nothing is touched, if the restore is past its point of no return."""
    if _journal().exists():
        told = json.loads(_journal().read_text())
        if told["database"] == "sqlite" or _committed(told["token"]):
            return False
        _journal().unlink()
    _discard()
    return True


def _known(manifest: Manifest, name: str) -> None:
    on_disk = {f"{app}.{key}" for app, key in MigrationLoader(None).disk_migrations}
    if strange := sorted(set(manifest.migrations) - on_disk):
        raise BackupError(
            f"{name} was made by a newer program ({manifest.version}: {strange[0]} is not known here). "
            "Bring this program up to date first. Nothing was changed."
        )


def _others_gone() -> None:
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid() "
            "AND backend_type = 'client backend'"
        )
        if cursor.fetchone()[0]:
            raise BackupError("Another program is at work in this database. Stop every web, worker and clock process first.")


def _held() -> str:
    """Name the first table of ours with rows in it, or media; nothing for a new shop."""
    if connection.vendor == "sqlite" and not _database().exists():
        return ""
    with connection.cursor() as cursor:
        there = set(connection.introspection.table_names(cursor))
    for table, model in tables().items():
        if table in there and model._meta.app_label in OURS:
            with connection.cursor() as cursor:
                cursor.execute(f"SELECT 1 FROM {connection.ops.quote_name(table)} LIMIT 1")  # noqa: S608
                if cursor.fetchone():
                    return f"{model._meta.verbose_name_plural}"
    return "pictures and files" if any(p.is_file() for p in Path(settings.MEDIA_ROOT).rglob("*")) else ""


def _bring_back(path: Path, manifest: Manifest, *, with_secrets: bool, say: Say) -> None:
    token = secrets.token_hex(16)
    with opened(path) as found:
        say("Unpacking pictures and files ...")
        _media_stage(found, manifest)
        if with_secrets:
            _staged_key().touch(mode=0o600)
            _staged_key().write_bytes(found.read("secrets/secret_key"))
        if connection.vendor == "sqlite":
            with _beside():
                _fill(found, manifest, say)
                _checked()
            settled(_staged_database())
            _emptied_log()
            _journal_write(token)
        else:
            _journal_write(token)
            with transaction.atomic():
                with connection.cursor() as cursor:
                    # each row is checked at once while tables change, or PostgreSQL would refuse to change them
                    cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
                    for table in connection.introspection.table_names(cursor):
                        cursor.execute(f"DROP TABLE IF EXISTS {connection.ops.quote_name(table)} CASCADE")
                _fill(found, manifest, say)
                with connection.cursor() as cursor:
                    cursor.execute(f"COMMENT ON TABLE company_company IS 'restored {token}'")
    restore_finish()


def _media_stage(found: zipfile.ZipFile, manifest: Manifest) -> None:
    staged = _staged_media()
    staged.mkdir(parents=True)
    for name in manifest.members:
        if name.startswith("media/"):
            to = staged / name.removeprefix("media/")
            to.parent.mkdir(parents=True, exist_ok=True)
            with found.open(name) as member, to.open("wb") as file:
                shutil.copyfileobj(member, file, BLOCK)
                file.flush()
                os.fsync(file.fileno())


@contextmanager
def _beside() -> Iterator[None]:
    """Let the program's own connection mean the new file: whatever migrations do, they do it there."""
    name = connection.settings_dict["NAME"]
    staged = str(_staged_database())
    connection.close()
    connection.settings_dict["NAME"] = staged
    try:
        yield
    finally:
        try:
            if connection.connection is not None:
                with connection.cursor() as cursor:
                    cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        finally:
            connection.close()
            connection.settings_dict["NAME"] = name


def _fill(found: zipfile.ZipFile, manifest: Manifest, say: Say) -> None:
    say("Making the tables ...")
    wanted = [(app, name) for app, _dot, name in (key.partition(".") for key in manifest.migrations)]
    executor = MigrationExecutor(connection)
    nodes, within = executor.loader.graph.node_map, set(wanted)
    # the last of each line alone: a target that others stand on would be taken for a wish to go back to it
    executor.migrate([key for key in wanted if not any(child.key in within for child in nodes[key].children)])
    executor.loader.build_graph()
    newest = set(executor.loader.disk_migrations) == set(wanted)
    known: Any = apps if newest else executor.loader.project_state(wanted).apps
    models = tables(known)
    with transaction.atomic():
        _emptied(list(models))
        for number, (table, count) in enumerate(manifest.rows.items()):
            if not count:
                continue
            if table not in models:
                raise BackupError(f"The backup holds a table this program does not know: {table}. Nothing was changed.")
            with found.open(f"rows/{table}.jsonl") as lines:
                wrote = rows_write(connection, models[table], manifest.columns[table], lines)
            if wrote != count:
                raise BackupError(f"{table} has {wrote} rows where the backup says {count}. Nothing was changed.")
            if number % 20 == 0:
                say(f"{number} of {len(manifest.rows)} tables are in ...")
        if manifest.more["broken"]:
            for said in broken_drop(connection, models.values()):
                say(f"It did not hold together. {said}.")
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        sequences_reset(connection, models.values())
    # newer migrations, if any; and the index of words is filled from what is there now
    call_command("migrate", interactive=False, verbosity=0)


def _emptied(names: list[str]) -> None:
    quoted = [connection.ops.quote_name(name) for name in names]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL DEFERRED")
            cursor.execute(f"TRUNCATE {', '.join(quoted)}")
        else:
            for name in quoted:
                cursor.execute(f"DELETE FROM {name}")  # noqa: S608


def _checked() -> None:
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA integrity_check")
        said = cursor.fetchone()[0]
        cursor.execute("PRAGMA foreign_key_check")
        if said != "ok" or cursor.fetchone():
            raise BackupError("What was read does not hold together. The record is as it was.")


def _emptied_log() -> None:
    """Bring the old database's log into its file, so that no old log is ever read into the new one."""
    connection.close()
    if not _database().exists():
        return
    old = sqlite3.connect(_database(), timeout=5)
    try:
        busy = old.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
    except sqlite3.DatabaseError as error:
        # a damaged one is why it is restored; what is left of it stays aside, with its log
        if isinstance(error, sqlite3.OperationalError) and "malformed" not in str(error):
            raise
        return
    finally:
        old.close()
    if busy:
        raise BackupError("Another program has the database open. Stop it first, then restore. The record is as it was.")


def _journal_write(token: str) -> None:
    part = _journal().with_suffix(".part")
    part.write_text(json.dumps({"token": token, "database": connection.vendor}))
    settled(part)
    os.replace(part, _journal())
    settled(_journal())


def restore_finish() -> bool:
    """End a restore that was cut off after its point of no return, or throw away one that was cut off before it."""
    if not _journal().exists():
        _discard()
        return False
    told = json.loads(_journal().read_text())
    if told["database"] == "postgresql" and not _committed(told["token"]):
        _journal().unlink()
        _discard()
        return False
    media, staged = Path(settings.MEDIA_ROOT), _staged_media()
    if staged.exists():
        before = media.with_name("media.before-restore")
        if media.exists():
            shutil.rmtree(before, ignore_errors=True)
            media.rename(before)
        staged.rename(media)
    if _staged_key().exists():
        os.replace(_staged_key(), Path(settings.VAR_DIR) / "secret_key")
    if told["database"] == "sqlite" and _staged_database().exists():
        connection.close()
        database = _database()
        before = database.with_name(database.name + ".before-restore")
        if database.exists():
            before.unlink(missing_ok=True)
            os.link(database, before)
        if (log := database.with_name(database.name + "-wal")).exists():
            os.replace(log, before.with_name(before.name + "-wal"))
        database.with_name(database.name + "-shm").unlink(missing_ok=True)
        os.replace(_staged_database(), database)
        settled(database)
    _journal().unlink()
    _discard()
    return True


def _committed(token: str) -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT obj_description(to_regclass('company_company'), 'pg_class')")
        return cursor.fetchone()[0] == f"restored {token}"


def _discard() -> None:
    shutil.rmtree(_staged_media(), ignore_errors=True)
    _staged_key().unlink(missing_ok=True)
    if connection.vendor == "sqlite":
        staged = _staged_database()
        for tail in ("", "-wal", "-shm", "-journal"):
            staged.with_name(staged.name + tail).unlink(missing_ok=True)
