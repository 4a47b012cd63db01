"""How the program itself is: lines of the status page, figures, and what stands on every page when the worker is silent."""

import os
import shutil
from collections.abc import Iterable
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.db.models import Count
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from company.models import Job, Pulse
from company.pulses import CLOCK, SILENT_S, WATCH, WORKER, one_line
from company.registries import Figure, StatusLine, TopLine

FRESH = timedelta(seconds=SILENT_S)
LITTLE_ROOM = 1_000_000_000
LONG_QUEUE = timedelta(minutes=10)
_applied = False


def worker_top(request: HttpRequest) -> TopLine | None:
    """Say on every page that the worker is silent. Costs no query: a thread beside the pages watches."""
    since = WATCH.silent_since
    if since is None:
        return None
    return TopLine(
        says=f"The worker has said nothing since {_said(request, since)}: no alerts, no mail, no jobs until it runs again.",
        url=_where_it_is_told(),
        alarm=True,
    )


def status_lines(at: datetime) -> Iterable[StatusLine]:
    """Say how worker, clock, broker and jobs are."""
    pulses = {pulse.name: pulse for pulse in Pulse.objects.all()}
    silent = WATCH.look(at)
    yield _pulse_line("Worker", pulses.get(WORKER), at, well=silent is None, does="does the jobs, the rules and the mail")
    clock = pulses.get(CLOCK)
    yield _pulse_line("Clock", clock, at, well=clock is not None and at - clock.at < FRESH, does="wakes the worker")
    yield broker_line()
    yield jobs_line(at)
    yield disk_line()
    yield database_line()


def _pulse_line(name: str, pulse: Pulse | None, at: datetime, *, well: bool, does: str) -> StatusLine:
    if pulse is None:
        return StatusLine(name=name, says=f"Never heard of. It {does}; start it.", well=False)
    ago = ago_words(at - pulse.at)
    if well:
        return StatusLine(name=name, says=f"Heard of {ago}.", well=True)
    return StatusLine(
        name=name, says=f"Last heard of {ago}. It {does}; start it again, its log says why it stopped.", well=False
    )


def broker_line() -> StatusLine:
    """Try the broker. A message is only a wake-up, so a broker that is down delays and loses nothing."""
    problem = broker_problem()
    if problem:
        says = f"{problem} Nothing is lost: what is due stays in the database until it answers."
        return StatusLine(name="Broker", says=says, well=False)
    kind = "A folder on this machine" if settings.CELERY_BROKER_URL.startswith("folder:") else "Redis"
    dead = _dead_messages()
    if dead:
        says = f"{kind} answers. {dead} broken messages were moved aside; nothing is lost by that."
        return StatusLine(name="Broker", says=says, well=True)
    return StatusLine(name="Broker", says=f"{kind} answers.", well=True)


def broker_problem() -> str:
    """Return in one sentence what is wrong with the broker, or nothing."""
    if settings.CELERY_BROKER_URL.startswith("folder:"):
        return folder_problem(Path(settings.BROKER_DIR))
    import redis

    try:
        server = redis.Redis.from_url(settings.CELERY_BROKER_URL, socket_connect_timeout=2, socket_timeout=2)
        try:
            server.ping()
        finally:
            server.close()
    except (redis.RedisError, OSError, ValueError) as error:
        return f"Redis does not answer: {one_line(error)}."
    return ""


def folder_problem(path: Path) -> str:
    """Return in one sentence why the broker's folder cannot be used, or nothing."""
    for folder in (path, path / "inflight", path / "dead"):
        if folder.exists() and not folder.is_dir():
            return f"{folder} is a file where the broker needs a folder: move it away."
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            return f"The broker's folder {folder} cannot be made: {error.strerror}."
        if not os.access(folder, os.R_OK | os.W_OK | os.X_OK):
            return f"The broker's folder {folder} may not be read and written by this program: mend its owner and mode."
    return ""


def _dead_messages() -> int:
    folder = Path(settings.BROKER_DIR) / "dead"
    return len(list(folder.glob("*.msg"))) if settings.CELERY_BROKER_URL.startswith("folder:") and folder.is_dir() else 0


def jobs_line(at: datetime) -> StatusLine:
    """Say how many jobs wait, and since when the oldest."""
    waiting = Job.objects.filter(state=Job.State.QUEUED)
    number = waiting.count()
    if not number:
        return StatusLine(name="Jobs", says="None is waiting.", well=True, url=reverse("jobs"))
    oldest = waiting.order_by("made_at").values_list("made_at", flat=True)[0]
    says = f"{number} waiting, the oldest since {ago_words(at - oldest)}."
    return StatusLine(name="Jobs", says=says.replace(" ago.", "."), well=at - oldest < LONG_QUEUE, url=reverse("jobs"))


def figures(at: datetime) -> Iterable[Figure]:
    """Give jobs and pulses as figures."""
    open_jobs = Job.objects.filter(state__in=["queued", "running"]).order_by()
    states = dict(open_jobs.values_list("state").annotate(number=Count("pk")))
    for state in ("queued", "running"):
        yield Figure(name="jobs", means="Jobs that wait or run.", value=states.get(state, 0), labels={"state": state})
    for pulse in Pulse.objects.all():
        age_s = max((at - pulse.at).total_seconds(), 0)
        yield Figure(name="pulse_age_seconds", means="Since it was last heard of.", value=age_s, labels={"of": pulse.name})
    silent = WATCH.look(at) is not None
    yield Figure(name="worker_silent", means="1: silent while this machine was on.", value=int(silent))


def parts_ready(at: datetime) -> dict[str, str]:
    """Return one word a part; the words of a part that is not ready are in NOT_READY."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
            cursor.fetchone()
    except DatabaseError:
        return {"database": "silent", "migrations": "unknown", "worker": "unknown"}
    parts = {"database": "answers", "migrations": "applied" if migrations_applied() else "missing", "worker": "unknown"}
    if parts["migrations"] == "applied":
        last = Pulse.objects.filter(name=WORKER).values_list("at", flat=True).first()
        parts["worker"] = "silent" if last is None or at - last > FRESH else "heard"
    return parts


NOT_READY = {"silent", "missing", "unknown"}


def migrations_applied() -> bool:
    """Say whether the database has every table this program knows. Once true, it stays true for this process."""
    global _applied
    if not _applied:
        executor = MigrationExecutor(connection)
        _applied = not executor.migration_plan(executor.loader.graph.leaf_nodes())
    return _applied


def ago_words(gap: timedelta) -> str:
    """Say how long ago, roughly; a clock that was set back is "just now"."""
    seconds = gap.total_seconds()
    if seconds < 60:
        return "just now"
    for size, word in ((86_400, "day"), (3_600, "hour"), (60, "minute")):
        if seconds >= size:
            number = int(seconds // size)
            return f"{number} {word}{'s' if number > 1 else ''} ago"
    return "just now"


def _where_it_is_told() -> str:
    try:
        return reverse("status")
    except NoReverseMatch:
        return reverse("jobs")


def _said(request: HttpRequest, at: datetime) -> str:
    company = getattr(request, "company", None)
    there = at.astimezone(company.zone) if company is not None else at
    return f"{there:%a} {there.day} {there:%b}, {there:%H:%M}"


def disk_line() -> StatusLine:
    """Say how much room is left where the record lies."""
    try:
        free = shutil.disk_usage(settings.VAR_DIR).free
    except OSError as error:
        return StatusLine(name="Disk", says=f"Its room cannot be told: {one_line(error)}", well=None)
    gigabytes = free / 1e9
    said = f"{gigabytes:.0f} GB free." if gigabytes >= 10 else f"{gigabytes:.1f} GB free."
    if free < LITTLE_ROOM:
        said += " That is little: a backup or a photo may find no room. Nothing is half-written when it happens."
    return StatusLine(name="Disk", says=said, well=free >= LITTLE_ROOM)


def database_line() -> StatusLine:
    """Say which database holds the record, and how large it is where that is quickly told."""
    if connection.vendor == "sqlite":
        size = Path(str(connection.settings_dict["NAME"])).stat().st_size if _on_disk() else 0
        return StatusLine(name="Database", says=f"SQLite, {size / 1e6:.0f} MB, with its own checks on.", well=True)
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_database_size(current_database())")
        size = cursor.fetchone()[0]
    return StatusLine(name="Database", says=f"PostgreSQL, {size / 1e6:.0f} MB.", well=True)


def _on_disk() -> bool:
    return Path(str(connection.settings_dict["NAME"])).is_file()
