"""The shows that one piece of work is about, each read once, and the company's zone."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from zoneinfo import ZoneInfo

from company.models import Company
from shows.calc.evidence import ShowTimes
from shows.calc.words import ShowState
from shows.models import Show


@dataclass(frozen=True, kw_only=True, slots=True)
class Use:
    """When things are used at a show: from its line check to its end, unless it is cancelled."""

    load_in: datetime
    line_check: datetime
    start: datetime
    end: datetime
    cancelled: bool


class Programme:
    """What the fold and the use ledger need of shows: one question for all that are asked for and not known yet."""

    def __init__(self) -> None:
        self._times: dict[int, ShowTimes] = {}
        self._uses: dict[int, Use] = {}

    def times(self, show_ids: Iterable[int | None]) -> dict[int, ShowTimes]:
        """Return what the fold needs of these shows; what is no show is left out."""
        wanted = {show for show in show_ids if show is not None}
        self._read(wanted)
        return {show: self._times[show] for show in wanted if show in self._times}

    def uses(self, show_ids: Iterable[int]) -> dict[int, Use]:
        """Return when things are used at these shows; what is no show is left out."""
        wanted = set(show_ids)
        self._read(wanted)
        return {show: self._uses[show] for show in wanted if show in self._uses}

    @cached_property
    def zone(self) -> ZoneInfo:
        known = Company.objects.filter(pk=1).order_by().values_list("time_zone", flat=True)
        return next((ZoneInfo(name) for name in known), None) or Company.current().zone

    def day(self, instant: datetime) -> date:
        """Return the day it is in the company's zone."""
        return instant.astimezone(self.zone).date()

    def _read(self, wanted: set[int]) -> None:
        unread = wanted - set(self._times)
        if not unread:
            return
        rows = Show.objects.filter(pk__in=unread).order_by()
        for pk, name, load_in, line_check, start, end, strike, closed_at, state in rows.values_list(
            "pk", "name", "load_in", "line_check", "start", "end", "strike", "closed_at", "state"
        ):
            gone = state == ShowState.CANCELLED
            self._times[pk] = ShowTimes(id=pk, name=name, load_in=load_in, strike=strike, closed_at=closed_at, cancelled=gone)
            self._uses[pk] = Use(load_in=load_in, line_check=line_check, start=start, end=end, cancelled=gone)
