"""Which boxes the dock asks about phantom: those that run on it at a show that is being set up or is under way."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from shows.calc.words import Feed
from shows.cells import needs_of_shows
from shows.dock import Known
from shows.models import Show


@dataclass(frozen=True, kw_only=True)
class PhantomAt:
    """A box on phantom at a show: whether it was seen there, and where that is ticked or taken back."""

    show: Show
    seen: bool
    url: str

    def as_json(self) -> dict[str, Any]:
        return {"seen": self.seen, "url": self.url}


def phantom_of(known: Iterable[Known], show: Show | None, at: datetime) -> dict[str, PhantomAt]:
    """Return {code: phantom} of the boxes among these that run on phantom at a show between its load-in and its end.

    As its swap list has it. Constant queries; none outside those hours, nor where nothing has places for cells.
    """
    if show is None or not show.load_in <= at < show.end:
        return {}
    wanted = {one.code for one in known if one.powered and one.show in (None, show.pk)}
    if not wanted:
        return {}
    return {
        need.item.code: PhantomAt(show=show, seen=need.phantom_seen, url=need.phantom_url)
        for of_show in needs_of_shows([show.pk], at)
        for need in of_show.needs
        if need.item is not None and need.item.code in wanted and need.feed == Feed.PHANTOM
    }
