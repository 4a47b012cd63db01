"""Is the worker alive, and was the program away? Told by clocks that stand still while a machine sleeps.

A worker and the clock write when they were last alive, and beside it two counts of this machine's own: seconds awake and
seconds since it was switched on. So a gap in the pulse is one of three: the machine slept or was off, the program was closed
(both are an absence, in which things came due unseen), or the machine was on and the worker alone stood still: the alarm.
"""

import logging
import threading
import time
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from django.db import DatabaseError, close_old_connections, connection

from company.clock import now
from company.models import Absence, Pulse

log = logging.getLogger(__name__)

WORKER, CLOCK = "worker", "clock"
AWAY = timedelta(minutes=10)  # a gap longer than this is worth telling of
SILENT_S = 5 * 60.0  # awake seconds without a pulse before the alarm: ten ticks
OFTEN_S = 25.0  # a process writes its pulse no more often than this
LOOK_S = 20.0
JUST_NOW = timedelta(minutes=4)  # shorter than the time from one run of the rules to the next
SHOWN = timedelta(days=1)


@dataclass(frozen=True, kw_only=True)
class Beats:
    """This machine's own clocks: which start of it, seconds awake, seconds since it was switched on."""

    boot: str
    awake_s: float
    since_boot_s: float

    @classmethod
    def read(cls) -> "Beats":
        """Read them. Where a system has no clock that runs on in sleep, the wall clock stands in."""
        try:
            boot = Path("/proc/sys/kernel/random/boot_id").read_text().strip()[:36]
        except OSError:
            boot = ""
        which = getattr(time, "CLOCK_BOOTTIME", None)
        return cls(
            boot=boot, awake_s=time.monotonic(), since_boot_s=time.time() if which is None else time.clock_gettime(which)
        )


@dataclass(frozen=True, kw_only=True)
class Gap:
    """A stretch without a pulse. `alone`: the machine was on and the rest of the program ran; only this part stood still."""

    since: datetime
    until: datetime
    alone: bool


def one_line(error: Exception) -> str:
    """Return what an error says, on one line."""
    return " ".join(str(error).split())[:300] or type(error).__name__


_STARTED_AT = now()
_STARTED_S = time.monotonic()


def pulse_write(*, name: str, at: datetime, beats: Beats | None = None, started_at: datetime | None = None) -> Gap | None:
    """Say that this part of the program is alive, in one short update; return the gap that this ends, if it was a long one.

    The worker's gap is kept as an absence, or as its silence. Of two workers that wake at once, one keeps it.
    """
    beats = beats or Beats.read()
    started_at = started_at or _STARTED_AT
    mine = {
        "at": at,
        "started_at": started_at,
        "boot": beats.boot,
        "awake_s": beats.awake_s,
        "since_boot_s": beats.since_boot_s,
    }
    before = Pulse.objects.filter(name=name).first()
    if before is None:
        Pulse.objects.get_or_create(name=name, defaults=mine)
        return None
    won = Pulse.objects.filter(name=name, at=before.at).update(**mine)
    gap = _gap(before, at=at, beats=beats, started_at=started_at)
    if gap is None or not won or name != WORKER:
        return gap
    Absence.objects.get_or_create(until=gap.until, defaults={"since": gap.since, "machine_on": gap.alone})
    log.warning(
        "The worker was silent from %s to %s while the machine was on." if gap.alone else "Nobody was here from %s to %s.",
        gap.since.isoformat(timespec="minutes"),
        gap.until.isoformat(timespec="minutes"),
    )
    return gap


def _gap(before: Pulse, *, at: datetime, beats: Beats, started_at: datetime) -> Gap | None:
    if at - before.at <= AWAY:
        return None
    same_boot = before.boot == beats.boot and beats.awake_s >= before.awake_s
    if not same_boot:
        return Gap(since=before.at, until=at, alone=_clock_lived_through(before.at, at))
    away_s = AWAY.total_seconds()
    if beats.since_boot_s - before.since_boot_s <= away_s:
        return None  # the machine's calendar was set forward: no time has passed
    if beats.awake_s - before.awake_s <= away_s:
        return Gap(since=before.at, until=at, alone=False)  # it slept
    return Gap(since=before.at, until=at, alone=_clock_lived_through(before.at, at))


def _clock_lived_through(since: datetime, until: datetime) -> bool:
    """Say whether the clock ran all the while: then the program was not closed, and the worker alone was."""
    clock = Pulse.objects.filter(name=CLOCK).first()
    return clock is not None and clock.started_at is not None and clock.started_at <= since and until - clock.at <= AWAY


class _Writer:
    """Write one part's pulse now and then, whatever else it does; never raise."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.kept_from = False
        self.last_s: float | None = None  # of the clock that runs on in sleep: the first task after waking writes

    def write(self) -> None:
        """Write the pulse unless it was written just now; where the database does not answer, say so."""
        beats = Beats.read()
        if self.last_s is not None and 0 <= beats.since_boot_s - self.last_s < OFTEN_S:
            return
        try:
            self.put(beats)
        except DatabaseError as error:
            if not self.kept_from:  # once, however long it lasts
                log.warning("The %s could not say that it is alive: %s", self.name, one_line(error))
            self.kept_from = True
        else:
            self.last_s, self.kept_from = beats.since_boot_s, False

    def put(self, beats: Beats) -> None:
        pulse_write(name=self.name, at=now(), beats=beats)


class ClockPulse(_Writer):
    """The clock's pulse. It also notices a second clock, which does no harm but is a mistake."""

    def __init__(self) -> None:
        super().__init__(CLOCK)
        self.other_said = False

    def put(self, beats: Beats) -> None:
        close_old_connections()
        try:
            if self.last_s is not None and not self.other_said:
                self._look_for_another()
            super().put(beats)
        finally:
            connection.close()

    def _look_for_another(self) -> None:
        if Pulse.objects.filter(name=CLOCK).exclude(started_at=_STARTED_AT).exists():
            self.other_said = True
            log.warning("Another clock runs as well. It does no harm; stop one of the two.")


WORKER_PULSE, CLOCK_PULSE = _Writer(WORKER), ClockPulse()


class Busy(threading.Thread):
    """Keep the worker's pulse while one long task runs, from a connection of its own."""

    def __init__(self) -> None:
        super().__init__(name="pulse", daemon=True)
        self._over = threading.Event()

    def stop(self) -> None:
        self._over.set()

    def run(self) -> None:
        try:
            while not self._over.wait(OFTEN_S + 1):
                WORKER_PULSE.write()
        finally:
            connection.close()


class Watch:
    """Watch the worker's pulse from a process that serves pages.

    Silence is counted in seconds this machine was awake since this process began or saw the pulse move: a laptop that wakes,
    or a program that was just opened, waits for the worker before it complains.
    """

    def __init__(self, started_s: float | None = None) -> None:
        self.started_s = _STARTED_S if started_s is None else started_s
        self.seen: datetime | None = None
        self.moved_s = self.started_s
        self.silent_since: datetime | None = None

    def look(self, at: datetime, beats: Beats | None = None) -> datetime | None:
        """Return since when the worker is silent while the machine was on, or None. One query."""
        beats = beats or Beats.read()
        row = Pulse.objects.filter(name=WORKER).first()
        self.silent_since = self._judge(row, at, beats)
        return self.silent_since

    def _judge(self, row: Pulse | None, at: datetime, beats: Beats) -> datetime | None:
        if row is not None and row.at != self.seen:
            self.seen = row.at
            here = row.boot == beats.boot and row.awake_s <= beats.awake_s
            self.moved_s = max(self.started_s, row.awake_s if here else beats.awake_s)
        quiet_s = beats.awake_s - self.moved_s
        if quiet_s <= SILENT_S:
            return None
        return row.at if row is not None else at - timedelta(seconds=quiet_s)


WATCH = Watch()


def worker_silent(at: datetime) -> datetime | None:
    """Return since when the worker is silent while the machine was on, as this process saw it; None while all is well."""
    return WATCH.look(at)


def silence_ended(at: datetime) -> Absence | None:
    """Return the worker's last silence with the machine on, if it ended within a day: a worker that is back can tell of it."""
    return Absence.objects.filter(machine_on=True, until__lte=at, until__gt=at - SHOWN).order_by("-until").first()


def absence_now(at: datetime) -> Absence | None:
    """Return the absence that ended just now: what a run of the rules finds after it came while the program was closed."""
    return Absence.objects.filter(machine_on=False, until__lte=at, until__gt=at - JUST_NOW).order_by("-until").first()


def absences_forget(*, at: datetime) -> int:
    """Delete what ended over a year ago."""
    return Absence.objects.filter(until__lt=at - timedelta(days=365)).delete()[0]


def watch_aside() -> threading.Thread:
    """Watch beside the pages, so that no page asks the database for it."""

    def run() -> None:
        while True:
            time.sleep(LOOK_S)
            close_old_connections()
            try:
                WATCH.look(now())
            except DatabaseError as error:
                log.warning("The worker's pulse could not be read: %s", one_line(error))
            except Exception:
                log.exception("The worker's pulse could not be read.")
            finally:
                connection.close()

    thread = threading.Thread(target=run, name="watch", daemon=True)
    thread.start()
    return thread
