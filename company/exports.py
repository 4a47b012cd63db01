"""Everything the shop owns as open files in one zip, for whoever wants to leave, or to reckon elsewhere."""

import csv
import hashlib
import io
import json
import os
import re
import sqlite3
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import DatabaseError
from django.urls import reverse
from django.utils.duration import duration_iso_string

from company.backup_file import BLOCK, BackupError, Writer, blocks_of, disk_words, written_whole
from company.backup_rows import CHUNK, plain
from company.backups import Progress, version
from company.clock import now
from company.export_schema import Outgoing, left_out, outgoing, schema_text
from company.jobs import JobError, job_progress, job_result, job_start
from company.models import Company, Job, Person
from company.snapshot import frozen, media_files

JOB_KIND = "export everything"
NAME = re.compile(r"knowngood-export-(\d{8}-\d{6})\.zip")
KEPT, MOST_KEPT = timedelta(days=30), 3
NOT_OURS = "jobs/"  # under media/: what jobs were given and made
SAY_EVERY = 10_000
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "'")


@dataclass(frozen=True, kw_only=True)
class Export:
    """One whole export: where it lies, and what is in it."""

    path: Path
    made_at: datetime
    size: int
    rows: int = 0
    tables: int = 0
    files: int = 0

    @property
    def name(self) -> str:
        return self.path.name


def folder() -> Path:
    """Return where exports lie; made when first asked for."""
    found = Path(settings.EXPORT_DIR)
    found.mkdir(parents=True, exist_ok=True)
    return found


def export_make(*, at: datetime, to: Path | None = None, progress: Progress | None = None) -> Export:
    """Write one export and read it back; on any failure nothing is left and a BackupError says why in one sentence."""
    say = progress or (lambda done, total, said: None)
    into = to
    try:
        into = to or folder()
        into.mkdir(parents=True, exist_ok=True)
        final = into / f"knowngood-export-{at.astimezone(UTC):%Y%m%d-%H%M%S}.zip"
        if final.exists():
            raise BackupError(f"{final.name} is there already. Wait a second and try again.")
        with written_whole(final) as part:
            counts, files = _write(part, at=at, say=say)
            say(0, 0, "Reading back what was written.")
            _read_back(part)
    except (OSError, DatabaseError, sqlite3.Error) as error:
        raise BackupError(disk_words(error, Path(into or settings.EXPORT_DIR))) from error
    size = final.stat().st_size
    return Export(path=final, made_at=at, size=size, rows=sum(counts.values()), tables=len(counts), files=files)


def _write(part: Path, *, at: datetime, say: Progress) -> tuple[dict[str, int], int]:
    with frozen(part) as alias:
        out = Writer(part)
        os.chmod(part, 0o600)
        try:
            found, zone = outgoing(), (Company.objects.using(alias).first() or Company()).zone
            counts: dict[str, int] = {}
            for number, one in enumerate(found):
                name = one.table

                def counted(done: int, number: int = number, name: str = name) -> None:
                    say(number, len(found), f"{name}: {done} rows." if done else f"{number} of {len(found)} tables written.")

                counted(0)
                counts[name] = out.add(f"tables/{name}.jsonl", _json_lines(one, alias, zone, counted))
                out.add(f"tables/{name}.csv", _csv_blocks(one, alias, zone))
            files = 0
            for path, name in media_files():
                if name.startswith(NOT_OURS):
                    continue
                if files % 100 == 0:
                    say(len(found), len(found), f"Every table is written; {files} pictures and files so far.")
                try:
                    file = path.open("rb")
                except FileNotFoundError:  # taken away since: its row goes or went with it
                    continue
                with file:
                    out.add(f"media/{name}", blocks_of(file), packed=False)
                files += 1
            out.add("SCHEMA.md", [schema_text(found).encode()])
            out.add("README.md", [_readme(at.astimezone(zone), counts, files, zone).encode()])
            out.add("SHA256SUMS", ["".join(f"{total}  {name}\n" for name, total in out.members.items()).encode()])
            out.end()
        except BaseException:
            out.drop()
            raise
    return counts, files


def _read_back(part: Path) -> None:
    with zipfile.ZipFile(part) as found:
        lines = [line.split("  ", 1) for line in found.read("SHA256SUMS").decode().splitlines()]
        for wanted, name in lines:
            total = hashlib.sha256()
            with found.open(name) as member:
                while block := member.read(BLOCK):
                    total.update(block)
            if total.hexdigest() != wanted:
                raise BackupError(f"What was written of {name} does not read back the same. Nothing was kept; try again.")


def _rows(one: Outgoing, alias: str) -> Iterator[tuple[Any, ...]]:
    found = one.model._base_manager.using(alias).order_by("pk").values_list(*(f.attname for f in one.fields))
    yield from found.iterator(chunk_size=CHUNK)


def _json_lines(one: Outgoing, alias: str, zone: ZoneInfo, counted: Any) -> Iterator[bytes]:
    names = [f.column for f in one.fields]
    for number, row in enumerate(_rows(one, alias), start=1):
        told = dict(zip(names, (_open(v, zone) for v in row), strict=True))
        yield json.dumps(told, ensure_ascii=False).encode("utf-8", "backslashreplace") + b"\n"
        if number % SAY_EVERY == 0:
            counted(number)


def _csv_blocks(one: Outgoing, alias: str, zone: ZoneInfo) -> Iterator[bytes]:
    text = io.StringIO()
    lines = csv.writer(text)
    lines.writerow([f.column for f in one.fields])
    for number, row in enumerate(_rows(one, alias), start=1):
        lines.writerow([_cell(_open(v, zone)) for v in row])
        if number % CHUNK == 0:
            yield text.getvalue().encode("utf-8", "backslashreplace")
            text.seek(0)
            text.truncate()
    yield text.getvalue().encode("utf-8", "backslashreplace")


def _open(value: Any, zone: ZoneInfo) -> Any:
    """Write a value as others read it: instants on the shop's clock with their offset, durations by ISO 8601."""
    if isinstance(value, datetime):
        return value.astimezone(zone).isoformat()
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        return duration_iso_string(value)
    return plain(value)


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict | list):
        return json.dumps(value, ensure_ascii=False)
    # a spreadsheet must not reckon with what somebody typed
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA) else str(value)


def _readme(at: datetime, counts: dict[str, int], files: int, zone: ZoneInfo) -> str:
    rows = "\n".join(f"| `{name}` | {number} |" for name, number in counts.items())
    out = "\n".join(f"- {said}" for said in left_out())
    return f"""# Everything of this shop, as open files

Written on {at.isoformat(timespec="seconds")} by Knowngood {version()}, as the record was at that one instant.

- `tables/NAME.csv` and `tables/NAME.jsonl`: each table twice, the same rows in order of key. SCHEMA.md says what a row is and
  what each column holds.
- `media/`: {files} photos and other files, named as the tables name them.
- `SHA256SUMS`: a sum for every other file. `sha256sum -c SHA256SUMS`, in the folder it was unpacked to,
  says whether all is whole.

How to read it:

- All text is UTF-8.
- CSV by RFC 4180: a comma between, quotes around what needs them, the columns' names in the first line. An empty cell is
  an empty text or a missing value: the JSON lines tell the two apart. Text that a spreadsheet would take for a formula has a '
  before it, also text that began with one; in the JSON lines it stands as it was.
- JSON lines: one row a line, an object of column and value. Decimals are text, so that no figure is lost; missing is `null`.
- Instants are ISO 8601 on the shop's clock ({zone.key}) with their offset: 2026-09-25T18:30:00+01:00. Days are 2026-09-25.
- A column that ends in `_id` points at the key of another table; SCHEMA.md says of which.

To bring a shop back into this program, restore a backup: this export is for reading elsewhere.

| table | rows |
|---|---|
{rows}

Left out, and why:

{out}
"""


def exports_listed() -> list[Export]:
    """Return the exports there are, newest first. A file has its name only when it is whole."""
    found = []
    for path in Path(settings.EXPORT_DIR).glob("knowngood-export-*.zip"):
        if match := NAME.fullmatch(path.name):
            made_at = datetime.strptime(match[1], "%Y%m%d-%H%M%S").replace(tzinfo=UTC)
            found.append(Export(path=path, made_at=made_at, size=path.stat().st_size))
    return sorted(found, key=lambda e: e.made_at, reverse=True)


def export_named(name: str) -> Export | None:
    """Return the export of a name, which can name nothing outside the folder."""
    return next((e for e in exports_listed() if e.name == name), None) if NAME.fullmatch(name) else None


def exports_forget(*, at: datetime) -> int:
    """Delete all but the newest three, and what is over 30 days old: each holds the whole shop."""
    old = [e for n, e in enumerate(exports_listed()) if n >= MOST_KEPT or at - e.made_at > KEPT]
    for export in old:
        export.path.unlink(missing_ok=True)
    return len(old)


def export_job(job: Job) -> None:
    """Write an export as a job, with progress on its page."""

    def say(done: int, total: int, said: str) -> None:
        job_progress(job=job, done=done, total=total or None, said=said)

    at = now()
    try:
        made = export_make(at=at, progress=say)
    except BackupError as error:
        raise JobError(str(error)) from error
    exports_forget(at=at)
    told = {"name": made.name, "bytes": made.size, "rows": made.rows, "tables": made.tables, "files": made.files}
    job_result(job=job, result={**told, "fetch": reverse("export-all-file", args=[made.name])})
    job_progress(job=job, done=job.total, total=job.total, said=export_words(made))


def export_words(made: Export) -> str:
    """Say what was written."""
    said = f"{made.name} is written and was read back whole: {made.rows} rows of {made.tables} tables, {made.files} pictures "
    return f"{said}and files, {made.size / 1e6:.1f} MB. Its README says what was left out."


def export_start(*, at: datetime, person: Person | None) -> Job:
    """Start an export, or return the one under way."""
    under_way = Job.objects.filter(kind=JOB_KIND, state__in=[Job.State.QUEUED, Job.State.RUNNING]).first()
    given = {"least_role": "owner"}
    return under_way or job_start(kind=JOB_KIND, title="Export everything", given=given, person=person, at=at)


def names_left(found: Iterable[Outgoing]) -> list[str]:
    """Return every column that goes out, as app.Model.column: what a test looks through for secrets."""
    return [f"{one.model._meta.label}.{field.name}" for one in found for field in one.fields]
