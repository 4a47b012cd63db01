"""A process that backs up, exports and restores in children of its own, which may be cut off at any moment.

It reads one JSON object a line: `do`, `folder`, and perhaps `file`, `limit` (bytes a file may grow to), `kill_after` (seconds),
`kill_at` (which call to the system that swaps or settles a file; 0: the first once the restore's journal is there). It
answers one line: how the child ended, and what it said.
"""

import json
import os
import resource
import signal
import sys
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

WATCHED = ("replace", "link", "fsync", "rename", "unlink")


def main() -> None:
    import django

    django.setup()
    from django.db.migrations.loader import MigrationLoader

    MigrationLoader(None)  # read once here, not in every child
    for line in sys.stdin:
        print(json.dumps(in_a_child(json.loads(line))), flush=True)


def in_a_child(asked: dict[str, Any]) -> dict[str, Any]:
    reading, writing = os.pipe()
    began = time.monotonic()
    child = os.fork()
    if child == 0:
        os.close(reading)
        said = "", 1
        try:
            said = did(asked)
        except BaseException as error:
            said = f"{type(error).__name__}: {error}", 1
        finally:
            os.write(writing, said[0].encode())
            os._exit(said[1])
    os.close(writing)
    if "kill_after" in asked:
        time.sleep(asked["kill_after"])
        os.kill(child, signal.SIGKILL)
    with os.fdopen(reading) as pipe:
        said = pipe.read()
    _, status = os.waitpid(child, 0)
    return {"ended": os.waitstatus_to_exitcode(status), "said": said, "took": time.monotonic() - began}


def did(asked: dict[str, Any]) -> tuple[str, int]:
    from django.conf import settings
    from django.db import connection

    from company.backup_file import BackupError
    from company.backups import backup_make
    from company.exports import export_make
    from company.in_use import hold
    from company.restoring import backup_restore, restore_finish

    folder = Path(asked["folder"])
    settings.VAR_DIR, settings.MEDIA_ROOT = folder, folder / "media"
    settings.BACKUP_DIR, settings.EXPORT_DIR = folder / "backups", folder / "exports"
    connection.settings_dict["NAME"] = str(folder / "db.sqlite3")
    if limit := asked.get("limit"):
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    if "kill_at" in asked:
        kill_at_call(asked["kill_at"], folder / "restore.json")
    at = datetime.now(UTC)
    try:
        if asked["do"] == "backup":
            return str(backup_make(at=at)), 0
        if asked["do"] == "export":
            return str(export_make(at=at).path), 0
        if asked["do"] == "restore":
            backup_restore(path=Path(asked["file"]), overwrite=True, say=lambda said: None)
            return "", 0
        if asked["do"] == "finish":
            return str(restore_finish()), 0
        hold()
        return "", 0
    except (BackupError, SystemExit) as error:
        return str(error), 2


def kill_at_call(number: int, journal: Path) -> None:
    """Cut this process off just before the so-many-th call that swaps or settles a file, or the first once a file is there."""
    left = [number]

    def watched(call: Any) -> Any:
        def instead(*args: Any, **kwargs: Any) -> Any:
            left[0] -= 1
            if left[0] == 0 or (number == 0 and journal.exists()):
                os.kill(os.getpid(), signal.SIGKILL)
            return call(*args, **kwargs)

        return instead

    for name in WATCHED:
        setattr(os, name, watched(getattr(os, name)))


if __name__ == "__main__":
    main()
