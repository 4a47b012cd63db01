"""Is the program running on this folder? Each of its processes holds a shared lock; a restore wants it alone."""

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from django.conf import settings

_held: list[IO[str]] = []


def _lock() -> IO[str]:
    Path(settings.VAR_DIR).mkdir(parents=True, exist_ok=True)
    return (Path(settings.VAR_DIR) / "in-use").open("a")


def hold() -> None:
    """Say that this process uses the folder, until it ends: the system lets go of the lock, however it ends."""
    if _held:
        return
    lock = _lock()
    try:
        fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        raise SystemExit("A backup is being restored here. Start again when that is done.") from None
    _held.append(lock)
    if (Path(settings.VAR_DIR) / "restore.json").exists():
        raise SystemExit("A restore was cut off half-way. Run manage.py restore --finish, then start again.")


@contextmanager
def alone() -> Iterator[bool]:
    """Answer True, and keep everybody else from starting, if no process of the program runs on this folder."""
    with _lock() as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            yield False
            return
        yield True
