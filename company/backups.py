"""Backups while the program runs: one dated file with every row and all media, by night or when asked."""

import math
import os
import re
import sqlite3
import tomllib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError, connection

from company.backup_file import (
    BackupError,
    Manifest,
    Writer,
    blocks_of,
    disk_words,
    manifest_read,
    opened,
    verify,
    written_whole,
)
from company.backup_rows import LEFT_OUT, columns, rows_read, tables
from company.calc.rotation import kept
from company.clock import now
from company.jobs import JobError, job_progress, job_result, job_start
from company.models import Company, Job, Person
from company.record_check import DamagedError, broken_rows, check_keep
from company.registries import Figure, StatusLine
from company.running import ago_words
from company.snapshot import applied, frozen, media_files

JOB_KIND = "backup"
NIGHTLY, BY_HAND = "Nightly backup", "Backup"
NIGHT = timedelta(hours=2)  # of the company's clock
AGAIN = timedelta(hours=1)  # after one that failed
NAME = re.compile(r"knowngood-(\d{8}-\d{6})\.zip")
LATE = timedelta(days=2)
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True, kw_only=True)
class Backup:
    """One good file in the folder."""

    path: Path
    made_at: datetime
    size: int

    @property
    def name(self) -> str:
        return self.path.name


def folder() -> Path:
    """Return where backups lie; made when first asked for."""
    found = Path(settings.BACKUP_DIR)
    found.mkdir(parents=True, exist_ok=True)
    return found


def version() -> str:
    return str(tomllib.loads((settings.BASE_DIR / "pyproject.toml").read_text())["project"]["version"])


def backup_make(*, at: datetime, to: Path | None = None, with_secrets: bool = False, progress: Progress | None = None) -> Path:
    """Write one backup and read it back; on any failure nothing is left and a BackupError says why in one sentence."""
    say = progress or (lambda done, total, said: None)
    into = to
    try:
        into = to or folder()
        into.mkdir(parents=True, exist_ok=True)
        final = into / f"knowngood-{at.astimezone(UTC):%Y%m%d-%H%M%S}.zip"
        if final.exists():
            raise BackupError(f"{final.name} is there already. Wait a second and try again.")
        with written_whole(final) as part:
            _write(part, at=at, with_secrets=with_secrets, say=say)
            say(0, 0, "Reading back what was written.")
            verify(part)
    except DamagedError as error:
        check_keep(at=at, damage=error.damage)
        raise
    except (OSError, DatabaseError, sqlite3.Error) as error:
        raise BackupError(disk_words(error, Path(into or settings.BACKUP_DIR))) from error
    return final


def _write(part: Path, *, at: datetime, with_secrets: bool, say: Progress) -> None:
    say(0, 0, "Taking the record as it is now.")
    with frozen(part) as alias:
        say(0, 0, "Checking that it holds together.")
        broken = check_keep(at=at, broken=broken_rows(alias)).broken
        out = Writer(part)
        os.chmod(part, 0o600)
        try:
            found = tables()
            counts: dict[str, int] = {}
            for number, (table, model) in enumerate(found.items()):
                say(number, len(found), f"{number} of {len(found)} tables written.")
                left_out = table in LEFT_OUT and not with_secrets
                counts[table] = out.add(f"rows/{table}.jsonl", iter(()) if left_out else rows_read(model, alias))
            say(len(found), len(found), "Every table is written; now the pictures and files.")
            for path, name in media_files():
                try:
                    file = path.open("rb")
                except FileNotFoundError:  # taken away since: its row goes or went with it
                    continue
                with file:
                    out.add(f"media/{name}", blocks_of(file), packed=False)
            if with_secrets:
                out.add("secrets/secret_key", [settings.SECRET_KEY.encode()])
            out.close(
                {
                    "version": version(),
                    "made_at": at.isoformat(),
                    "database": connection.vendor,
                    "migrations": applied(alias),
                    "rows": counts,
                    "columns": {table: [f.column for f in columns(model)] for table, model in found.items()},
                    "secrets": with_secrets,
                    "broken": [one.says for one in broken],
                }
            )
        except BaseException:
            out.drop()
            raise


def backups_listed() -> list[Backup]:
    """Return the good files of the folder, newest first: those with a manifest that is the one they were closed with."""
    return sorted(_good(), key=lambda b: b.made_at, reverse=True)


def _good() -> Iterator[Backup]:
    # a name tells the second it was made in: the newest comes first, and who wants only that opens no other
    for path in sorted(Path(settings.BACKUP_DIR).glob("knowngood-*.zip"), reverse=True):
        if NAME.fullmatch(path.name) and (told := _told(path)):
            yield Backup(path=path, made_at=told.made_at, size=path.stat().st_size)


def _told(path: Path) -> Manifest | None:
    try:
        with opened(path) as found:
            return manifest_read(found, path.name)
    except (BackupError, OSError, KeyError, ValueError):
        return None


def last_backup(at: datetime) -> datetime | None:
    """Return when the newest good backup was made; reads the folder, never the database."""
    return next((b.made_at for b in _good() if b.made_at <= at), None)


def figures(at: datetime) -> Iterable[Figure]:
    """Give the last good backup's age and size; where there never was one its age is without end, so that an alarm rings."""
    last = next(_good(), None)
    age_s = max((at - last.made_at).total_seconds(), 0) if last is not None else math.inf
    yield Figure(name="backup_age_seconds", means="Since the last good backup was made.", value=age_s)
    if last is not None:
        yield Figure(name="backup_bytes", means="Size of the last good backup.", value=last.size)


def backup_named(name: str) -> Backup | None:
    """Return the backup of a name, which can name nothing outside the folder."""
    return next((b for b in backups_listed() if b.name == name), None) if NAME.fullmatch(name) else None


def backups_rotate() -> list[str]:
    """Delete what 14 days, 8 weeks and 12 months no longer keep; return the names. Damaged files are nobody's to delete."""
    found = backups_listed()
    keep, gone = kept(b.made_at for b in found), []
    for backup in found:
        if backup.made_at not in keep:
            backup.path.unlink(missing_ok=True)
            gone.append(backup.name)
    return gone


def backup_job(job: Job) -> None:
    """Make a backup as a job: progress on its page, then the rotation."""

    def say(done: int, total: int, said: str) -> None:
        job_progress(job=job, done=done, total=total or None, said=said)

    try:
        made = backup_make(at=now(), progress=say)
    except BackupError as error:
        raise JobError(str(error)) from error
    gone = backups_rotate()
    job_result(job=job, result={"name": made.name, "bytes": made.stat().st_size, "rotated": gone})
    job_progress(job=job, done=job.total, total=job.total, said=f"{made.name} is written and was read back whole.")


def backup_start(*, at: datetime, person: Person | None, title: str = BY_HAND) -> Job:
    """Start a backup, or return the one under way."""
    under_way = Job.objects.filter(kind=JOB_KIND, state__in=[Job.State.QUEUED, Job.State.RUNNING]).first()
    return under_way or job_start(kind=JOB_KIND, title=title, given={}, person=person, at=at)


def nightly_start(*, at: datetime) -> Job | None:
    """Start the day's backup once a day from 2 in the morning on, whenever the machine is on; after a failure an hour later."""
    zone = Company.current().zone
    day = (at.astimezone(zone) - NIGHT).date()
    since = datetime(day.year, day.month, day.day, tzinfo=zone) + NIGHT
    tried = Job.objects.filter(kind=JOB_KIND, title=NIGHTLY, made_at__gte=since)
    if tried.exclude(state=Job.State.FAILED).exists() or tried.filter(made_at__gt=at - AGAIN).exists():
        return None
    return backup_start(at=at, person=None, title=NIGHTLY)


def status_lines(at: datetime) -> Iterable[StatusLine]:
    """Say when the last good backup was made."""
    last = last_backup(at)
    if last is None:
        yield StatusLine(name="Backup", says="There is none yet. One is made every night while the program runs.", well=False)
        return
    yield StatusLine(name="Backup", says=f"The last good one was made {ago_words(at - last)}.", well=at - last < LATE)
