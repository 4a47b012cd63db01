"""The file of a backup: a zip of rows and media with a manifest that names each member's SHA-256; the zip's comment is the
manifest's own. It gets its name only when what was written has been read back.
"""

import errno
import fcntl
import hashlib
import json
import os
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import IO, Any

PROGRAM, FORM = "knowngood", 1
MANIFEST = "manifest.json"
BLOCK = 1 << 20
_MARK = b"knowngood backup 1 "
_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}


class BackupError(Exception):
    """One sentence for the person who asked."""


@dataclass(frozen=True, kw_only=True)
class Manifest:
    """What a backup says of itself."""

    version: str
    made_at: datetime
    database: str
    migrations: list[str]
    rows: dict[str, int]
    columns: dict[str, list[str]]
    members: dict[str, str]
    secrets: bool = False
    more: dict[str, Any] = field(default_factory=dict)


def disk_words(error: BaseException, folder: Path) -> str:
    """Say in one sentence why something could not be written."""
    said = str(error).lower()
    if (isinstance(error, OSError) and error.errno in _FULL) or "full" in said or "disk i/o" in said:
        return f"The disk is full: nothing was kept in {folder}. Make room there, or name another folder with --to."
    if isinstance(error, OSError):
        return f"{folder} cannot be written: {error.strerror or error}. Nothing was kept."
    if "locked" in said or "busy" in said:
        return "The database is locked by another program. Nothing was written; try again when that one is done."
    return f"The database could not be read: {str(error).splitlines()[0]}. Nothing was kept."


class Writer:
    """Write members one after the other, with their sums."""

    def __init__(self, path: Path) -> None:
        self.zip = zipfile.ZipFile(path, "x", zipfile.ZIP_DEFLATED, compresslevel=1)
        self.members: dict[str, str] = {}

    def add(self, name: str, blocks: Iterable[bytes], *, packed: bool = True) -> int:
        """Write one member; return how many blocks went into it."""
        info = zipfile.ZipInfo(name)
        info.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        info.external_attr = 0o600 << 16
        total, number = hashlib.sha256(), 0
        with self.zip.open(info, "w", force_zip64=True) as member:
            for block in blocks:
                total.update(block)
                member.write(block)
                number += 1
        self.members[name] = total.hexdigest()
        return number

    def drop(self) -> None:
        """Let go of the file without ending it: an end written to a full disk would raise again."""
        file, self.zip.fp = self.zip.fp, None
        if file is not None:
            with suppress(OSError):
                file.close()

    def end(self) -> None:
        self.zip.close()

    def close(self, about: dict[str, Any]) -> None:
        said = json.dumps({"program": PROGRAM, "form": FORM, **about, "members": self.members}, indent=1).encode()
        self.zip.writestr(MANIFEST, said)
        self.zip.comment = _MARK + hashlib.sha256(said).hexdigest().encode()
        self.zip.close()


def blocks_of(file: IO[bytes]) -> Iterator[bytes]:
    while block := file.read(BLOCK):
        yield block


@contextmanager
def opened(path: Path) -> Iterator[zipfile.ZipFile]:
    """Open a backup; what is damaged, or somebody else's, ends in a sentence."""
    try:
        with zipfile.ZipFile(path) as found:
            yield found
    except FileNotFoundError:
        raise BackupError(f"There is no file {path}.") from None
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, UnicodeDecodeError) as error:
        raise BackupError(f"{path.name} is damaged, or no backup of this program ({error}). Nothing was changed.") from None
    except IsADirectoryError:
        raise BackupError(f"{path} is a folder. Name the file.") from None


def manifest_read(found: zipfile.ZipFile, name: str) -> Manifest:
    """Return what a backup says of itself; the comment proves that nobody changed it."""
    if MANIFEST not in found.namelist():
        if {"SCHEMA.md", "SHA256SUMS"} <= set(found.namelist()):
            raise BackupError(f"{name} is an export, to be read elsewhere. Only a backup can be restored. Nothing was changed.")
        raise BackupError(f"{name} is a file of another program: it has no manifest. Nothing was changed.")
    said = found.read(MANIFEST)
    try:
        told = json.loads(said)
    except ValueError:
        told = None
    if not isinstance(told, dict) or told.get("program") != PROGRAM:
        raise BackupError(f"{name} is a file of another program. Nothing was changed.")
    if found.comment != _MARK + hashlib.sha256(said).hexdigest().encode():
        raise BackupError(f"{name} is damaged: its manifest is not the one it was closed with. Nothing was changed.")
    if told.get("form") != FORM:
        raise BackupError(f"{name} was made by a newer program. Bring this one up to date first. Nothing was changed.")
    names = ("version", "database", "migrations", "rows", "columns", "members", "secrets")
    more = {"broken": list(told.get("broken", []))}
    return Manifest(made_at=datetime.fromisoformat(told["made_at"]), more=more, **{key: told[key] for key in names})


def verify(path: Path) -> Manifest:
    """Read all of a backup and compare every sum; a BackupError names the first member that differs."""
    with opened(path) as found:
        manifest = manifest_read(found, path.name)
        held = sorted(found.namelist())
        if held != sorted([*manifest.members, MANIFEST]):
            raise BackupError(f"{path.name} is damaged: its parts are not those its manifest names. Nothing was changed.")
        for name, wanted in manifest.members.items():
            if name.startswith("/") or "\\" in name or ".." in name.split("/"):
                raise BackupError(f"{path.name} holds a part that would leave its folder: {name}. Nothing was changed.")
            total = hashlib.sha256()
            try:
                with found.open(name) as member:
                    while block := member.read(BLOCK):
                        total.update(block)
            except (zipfile.BadZipFile, zlib.error, EOFError) as error:
                raise BackupError(f"{path.name} is damaged at {name} ({error}). Nothing was changed.") from None
            if total.hexdigest() != wanted:
                raise BackupError(f"{path.name} is damaged at {name}: its sum differs. Nothing was changed.")
    return manifest


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Be the only one who writes backups into a folder; what a killed one left half-written is thrown away."""
    with (folder / ".lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise BackupError("Another backup or export is being written there already. Wait until it is done.") from None
        for left in folder.glob("knowngood-*.part*"):
            left.unlink(missing_ok=True)
        yield


@contextmanager
def written_whole(final: Path) -> Iterator[Path]:
    """Give a name to write under; what was written takes its own only when all of it is on the disk, else nothing is left."""
    with alone(final.parent):
        part = final.with_name(final.name + ".part")
        try:
            yield part
            settled(part)
            os.replace(part, final)
            settled(final)
        finally:
            for left in final.parent.glob(final.name + ".part*"):
                left.unlink(missing_ok=True)


def settled(path: Path) -> None:
    """See a file and its name onto the disk."""
    for name in (path, path.parent):
        handle = os.open(name, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
