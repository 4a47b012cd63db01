"""Run a list: look at what would become of it, do it, and take it back. One walk serves all three, so a preview cannot lie."""

import csv
import gc
import io
import tempfile
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import IO, Any, cast

from django.core.files.base import File
from django.db import IntegrityError, connection, transaction
from django.db.models import Q

from company.jobs import JobError, job_progress, job_result, job_start
from company.models import Company, Job, Person
from inventory.calc.kinds import KIND_NAMES, Kind
from inventory.calc.typed import guard
from inventory.registries import IMPORTS
from inventory.transfer.base import BAD, CHANGED, NEW, UNCHANGED, Column, Fresh, Order, Plan, Row, Transfer, in_chunks
from inventory.transfer.matching import plain
from inventory.transfer.naming import kind_guess
from inventory.transfer.reading import UnreadableError, list_open
from inventory.transfer.uploads import Upload, upload_drop

JUDGED_AT_ONCE = 500
# Whoever waits for SQLite's lock looks again after 1, 2, 5, 10, 15, 20, 25, 25 and 25 ms, and more seldom after that. So a lock
# that is held for less than 100 ms and then left alone for longer than 25 is always found free in time.
_WRITTEN_AT_ONCE = 100
_LEFT_ALONE_S = 0.03
_SHOWN = 200


@dataclass(kw_only=True)
class Preview:
    """What a list would do. `bad`, `changed` and `told` hold the first rows only; `counts` counts all."""

    headers: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=lambda: dict.fromkeys((NEW, CHANGED, UNCHANGED, BAD), 0))
    bad: list[Row] = field(default_factory=list)
    changed: list[Row] = field(default_factory=list)
    told: list[Row] = field(default_factory=list)
    tells: int = 0
    fresh: list[Fresh] = field(default_factory=list)
    stop: str = ""

    @property
    def total(self) -> int:
        return sum(self.counts.values())

    @property
    def to_do(self) -> int:
        return self.counts[NEW] + self.counts[CHANGED]


def transfer_of(key: str) -> Transfer | None:
    """Return a kind of list by its key."""
    return IMPORTS[key]() if key in IMPORTS else None


def order_of(upload: Upload, *, person: Person, at: datetime) -> Order:
    return Order(
        matching=upload.matching,
        person=person,
        company=Company.current(),
        at=at,
        empties_clear=upload.empties_clear,
        alike_are_new=upload.alike_are_new,
        kinds=upload.kinds,
    )


def walk(plan: Plan, columns: dict[str, Column], file: IO[bytes]) -> Iterator[list[Row]]:
    """Yield the list's rows, judged, in chunks; `columns` are those the person may fill. Raises UnreadableError."""
    for place in [place for place, key in plan.order.matching.items() if key not in columns]:
        del plan.order.matching[place]
    opened = list_open(file)
    for chunk in in_chunks((plan.read(line, cells, columns) for line, cells in opened.rows()), JUDGED_AT_ONCE):
        plan.judge(chunk)
        yield chunk


def lack_of(transfer: Transfer, matching: dict[int, str]) -> str:
    """Return a sentence when a column that must be matched is not; a row that names one we have needs nothing else."""
    keys = set(matching.values())
    lacking = [c.title for c in transfer.columns if c.required and c.key not in keys]
    if lacking and not keys & set(transfer.known_by):
        return f"Say which column is {', and which is '.join(lacking)}: without it no row can be read."
    return ""


def preview_make(upload: Upload, *, person: Person, at: datetime) -> Preview:
    """Look at a whole list; writes nothing."""
    transfer = IMPORTS[upload.what]()
    preview = Preview(headers=upload.headers, said=list(upload.said))
    preview.stop = lack_of(transfer, upload.matching)
    if preview.stop:
        return preview
    plan = transfer.plan(order_of(upload, person=person, at=at))
    try:
        with upload.path.open("rb") as file:
            for chunk in walk(plan, transfer.columns_in(person), file):
                for row in chunk:
                    _enter(preview, row)
    except UnreadableError as error:
        preview.stop = str(error)
    preview.fresh = [_with_kind(fresh, upload) for fresh in plan.fresh.values()]
    return preview


def _with_kind(fresh: Fresh, upload: Upload) -> Fresh:
    if fresh.what == "gear type":
        fresh.kind = upload.kinds.get(fresh.name) or fresh.kind or kind_guess(fresh.name).value
    return fresh


def _enter(preview: Preview, row: Row) -> None:
    preview.counts[row.verdict] += 1
    if row.verdict == BAD:
        shown = preview.bad
    elif row.verdict == CHANGED:
        shown = preview.changed
    else:
        shown = []
    if len(shown) < _SHOWN:
        shown.append(row)
    if row.notes and row.verdict != BAD:
        preview.tells += 1
        if len(preview.told) < _SHOWN:
            preview.told.append(row)


def bad_rows_csv(upload: Upload, *, person: Person, at: datetime) -> Iterator[str]:
    """Yield the bad rows as CSV, as they were, with their line and reason behind: mend them and bring the file again."""
    transfer = IMPORTS[upload.what]()
    yield _csv_line([*upload.headers, "Line", "Reason"], mark=True)
    plan = transfer.plan(order_of(upload, person=person, at=at))
    try:
        with upload.path.open("rb") as file:
            for chunk in walk(plan, transfer.columns_in(person), file):
                yield from (_csv_bad(row, len(upload.headers)) for row in chunk if row.verdict == BAD)
    except UnreadableError:
        return


def _csv_bad(row: Row, width: int) -> str:
    cells = [guard("".join("\ufffd" if "\ud800" <= c <= "\udfff" else c for c in cell)) for cell in row.cells]
    return _csv_line([*(cells + [""] * width)[:width], str(row.line), row.why])


def _csv_line(cells: list[str], *, mark: bool = False) -> str:
    line = io.StringIO()
    if mark:
        line.write("\ufeff")
    csv.writer(line).writerow(cells)
    return line.getvalue()


def import_start(upload: Upload, *, person: Person, at: datetime) -> Job:
    """Queue an upload once, however often this is asked."""
    transfer = IMPORTS[upload.what]()
    with transaction.atomic():
        Company.objects.select_for_update().filter(pk=1).first()  # two clicks at once: the second waits and finds the job
        job = import_known(upload.token)
        if job is None:
            matched = {c.key: c.role for c in transfer.columns if c.key in upload.matching.values()}
            role = "owner" if "owner" in matched.values() else transfer.role  # who may fetch the rows not taken
            headings = {plain(h): upload.matching.get(i, "") for i, h in enumerate(upload.headers) if plain(h)}
            given = {
                **upload.given,
                "headings": headings,
                "headers": upload.headers,
                "uid": str(uuid.uuid4()),
                "least_role": role,
            }
            with upload.path.open("rb") as file:
                job = job_start(
                    kind="import",
                    title=f"Bring in {transfer.many} from {upload.name}",
                    given=given,
                    person=person,
                    at=at,
                    file=File(file, name=f"{upload.token}.list"),
                )
    upload_drop(upload)
    return job


def import_known(token: str) -> Job | None:
    """Return the job an upload became."""
    return Job.objects.filter(kind="import", given__token=token).order_by("pk").first()


def _order_of_job(job: Job, person: Person) -> Order:
    given = job.given
    return Order(
        matching={int(place): key for place, key in given["matching"].items()},
        person=person,
        company=Company.current(),
        at=job.made_at,
        empties_clear=given["empties_clear"],
        alike_are_new=given["alike_are_new"],
        kinds=given["kinds"],
        made={int(line): code for line, code in job.result.get("made", {}).items()},
        uid=given["uid"],
    )


def import_run(job: Job) -> None:
    """Bring a list in: first look, name what is new and choose its codes, keep those with the job; then write in small steps.

    May be stopped anywhere and run again: the codes are chosen once, rows already written are found unchanged.
    """
    person = job.person
    transfer = transfer_of(job.given.get("what", ""))
    if person is None or transfer is None:
        raise JobError("Whoever asked for this is gone, or the kind of list is; bring the list again.")
    try:
        if "counts" not in job.result:
            _stage(job, transfer, person)
        _apply(job, transfer, person)
    except UnreadableError as error:
        raise JobError(str(error)) from error


def _stage(job: Job, transfer: Transfer, person: Person) -> None:
    plan = transfer.plan(_order_of_job(job, person))
    counts = dict.fromkeys((NEW, CHANGED, UNCHANGED, BAD), 0)
    made: dict[int, str] = {}
    seen = 0
    job.file.open("rb")
    with job.file as file:
        for chunk in walk(plan, transfer.columns_in(person), file):
            for row in chunk:
                counts[row.verdict] += 1
            made.update(plan.mint(chunk))
            seen += len(chunk)
            job_progress(job=job, done=0, total=seen, said=f"Looking: {seen} rows so far.")
    if len(plan.fresh) > 0:
        with transaction.atomic():
            fresh = plan.make_fresh()
    else:
        fresh = {}
    named = [f"{f.what} “{f.name}”" for f in plan.fresh.values()]
    job_result(job=job, result={"counts": counts, "made": made, "fresh": fresh, "named": named[:_SHOWN]})
    job.result["made"] = {str(line): code for line, code in made.items()}


def _apply(job: Job, transfer: Transfer, person: Person) -> None:
    order = _order_of_job(job, person)
    plan = transfer.plan(order)
    columns = transfer.columns_in(person)
    late = 0
    counts = job.result["counts"]
    total = sum(counts.values())
    with tempfile.TemporaryFile("w+", encoding="utf-8", newline="") as bad_file:
        bad_file.write(_csv_line([*job.given["headers"], "Line", "Reason"], mark=True))
        done = bad = 0
        job.file.open("rb")
        with job.file as file:
            for chunk in walk(plan, columns, file):
                wanted = [row for row in chunk if row.verdict in (NEW, CHANGED)]
                for start in range(0, len(wanted), _WRITTEN_AT_ONCE):
                    late += _written(plan, wanted[start : start + _WRITTEN_AT_ONCE])
                    if connection.vendor == "sqlite":
                        time.sleep(_LEFT_ALONE_S)
                for row in chunk:
                    if row.verdict == BAD:
                        bad += 1
                        bad_file.write(_csv_bad(row, len(job.given["headers"])))
                done += len(chunk)
                job_progress(job=job, done=done, total=total, said=f"{done} of {total} rows.")
        # what went bad only now was counted as new or changed when looking
        result = {**job.result, "counts": {**counts, BAD: bad}, "late": late}
        if bad:
            bad_file.seek(0)
            job_result(job=job, result=result, file_name="rows-not-taken.csv", file=File(cast(IO[bytes], _Bytes(bad_file))))
        else:
            job_result(job=job, result=result)
    said = f"{counts[NEW]} new, {counts[CHANGED]} changed, {counts[UNCHANGED]} unchanged, {bad} not taken."
    job_progress(job=job, done=total, total=total, said=said)


class _Bytes(io.RawIOBase):
    """A text file read as UTF-8 bytes, block by block."""

    def __init__(self, text: Any) -> None:
        self.text = text

    def readable(self) -> bool:
        return True

    def read(self, size: int = -1) -> bytes:
        return self.text.read(size).encode()


@contextmanager
def _brief_transaction() -> Iterator[None]:
    """Hold the database's lock for the writing alone: Python's search for garbage can take longer than a hundred rows."""
    collects = gc.isenabled()
    gc.disable()
    try:
        with transaction.atomic():
            yield
    finally:
        if collects:
            gc.enable()


def _written(plan: Plan, rows: list[Row]) -> int:
    """Write a chunk in one transaction; if the database refuses it, row by row, so that one bad row spoils no other."""
    if not rows:
        return 0
    try:
        with _brief_transaction():
            plan.write(rows)
    except IntegrityError:
        refused = 0
        for row in rows:
            try:
                with _brief_transaction():
                    plan.write([row])
            except IntegrityError:
                row.bad("", "The record changed while the list was brought in, and this row no longer fits. Bring it again.")
                refused += 1
        plan.after(rows)
        return refused
    plan.after(rows)
    return 0


def import_take_back(job: Job, *, person: Person) -> tuple[int, int]:
    """Take back what an import has added and nobody has changed or used since: (taken back, kept). What it changed stays."""
    transfer = transfer_of(job.given.get("what", ""))
    if transfer is None or not transfer.can_take_back or job.state != Job.State.DONE or "undone" in job.result:
        return 0, 0
    plan = transfer.plan(_order_of_job(job, person))
    unchanged: list[Row] = []
    job.file.open("rb")
    with job.file as file:
        for chunk in walk(plan, transfer.columns_in(job.person or person), file):
            unchanged += [row for row in chunk if row.verdict == UNCHANGED]
    taken, kept = plan.take_back(unchanged)
    undone = {**job.result, "undone": {"taken": taken, "kept": kept, "by": str(person)}}
    Job.objects.filter(Q(pk=job.pk)).update(result=undone)
    return taken, kept


KIND_CHOICES = [(kind.value, KIND_NAMES[kind]) for kind in Kind]
