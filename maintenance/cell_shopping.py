"""Cells to buy: what runs low, and what the swap lists of coming shows take that is not on the shelf; each type once."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.http import HttpRequest
from django.urls import reverse

from company.templatetags.tape import day as day_words
from inventory.registries import Wanted
from maintenance.calc.cell_advice import Rule
from maintenance.calc.cell_words import Advice
from maintenance.cell_between import types_low
from maintenance.cell_needs import Listed, Row, lists_of
from maintenance.cell_querysets import stock_of_types
from maintenance.models import CellLot, CellType
from maintenance.registries import ShowNeeds, coming_needs

BUY_AHEAD = timedelta(days=14)  # further off, what is left in a device by then is mostly a guess
SHOWS_NAMED = 3


@dataclass
class Taken:
    """Cells of one type that coming shows take: fitted for good, and the most that is along beside at one time."""

    fit: int = 0
    along: int = 0
    shows: list[ShowNeeds] = field(default_factory=list)

    @property
    def total(self) -> int:
        return self.fit + self.along


def taken_by(lists: Sequence[Listed]) -> dict[str, Taken]:
    """Return {key of a cell type: what these lists take of it}, the soonest show first.

    A device is given cells for the first show that asks for it and counts as fresh for the next, save where each show asks
    for fresh ones. What only goes along comes home: shows that are not on at one time share it.
    """
    found: dict[str, Taken] = defaultdict(Taken)
    given: set[str] = set()
    along: dict[str, dict[int, int]] = defaultdict(lambda: defaultdict(int))  # of a cell type, by show
    for one in lists:
        for row in one.rows:
            fit = row.advised.fit
            if not row.advised.carry or fit is None or fit.labelled is not None:
                continue
            of = found[fit.kind.key]
            if not row.advised.device.chosen or row.advised.advice is Advice.SPARE:
                along[fit.kind.key][one.needs.key] += row.advised.carry
            elif row.key in given and not _every_show(row):
                continue
            else:
                given.add(row.key)
                of.fit += row.advised.carry
            if one.needs not in of.shows:
                of.shows.append(one.needs)
    for key, of_shows in along.items():
        mine = [one.needs for one in lists if one.needs.key in of_shows]
        found[key].along = max(sum(of_shows[other.key] for other in mine if _is_on(other, show)) for show in mine)
    return dict(found)


def _is_on(other: ShowNeeds, show: ShowNeeds) -> bool:
    """Say whether another show is on when a show loads in."""
    return other.key == show.key or other.load_in <= show.load_in < other.strike


def _every_show(row: Row) -> bool:
    return any(ruling.rule == Rule.POLICY for ruling in row.advised.device.rulings)


def shopping(request: HttpRequest, at: datetime) -> Iterable[Wanted]:
    """Ask for cells, each type once: as many as it lacks of what shows take or of what is to be kept, whichever is more.

    Constant queries.
    """
    shows = [show for show in coming_needs(at, at + BUY_AHEAD) if show.needs]
    taken = taken_by(lists_of(shows, at)) if shows else {}
    low = {type_.pk: type_ for type_, _left in types_low()}
    stock = stock_of_types()
    asked = {type_.pk: type_ for type_ in CellType.objects.filter(key__in=taken)} if taken else {}
    wanted: list[tuple[CellType, int, Taken]] = []
    for pk, type_ in sorted((low | asked).items(), key=lambda pair: (pair[1].size, pair[1].name)):
        left, of = max(stock.get(pk, 0), 0), taken.get(type_.key, Taken())
        if (lacks := max(of.total - left, type_.keep_at_least - left if pk in low else 0)) > 0:
            wanted.append((type_, lacks, of))
    prices = dict(
        CellLot.objects.filter(type__in=[type_ for type_, _lacks, _of in wanted], price_cents__isnull=False)
        .order_by("added_at")
        .values_list("type", "price_cents")
    )
    for type_, lacks, of in wanted:
        left = max(stock.get(type_.pk, 0), 0)
        yield Wanted(
            what=type_.name,
            count=lacks,
            unit="cell",
            why=_why(left, of if of.total > left else Taken(), type_.keep_at_least if type_.pk in low else 0),
            group="Cells",
            url=reverse("cell-type", args=[type_.key]),
            cents=type_.price_cents if type_.price_cents is not None else prices.get(type_.pk),
        )


def _why(left: int, of: Taken, keep: int) -> str:
    """Say why: 3 left; Harvest ceilidh (Fri 4 Dec) takes 8; keep 12 at least."""
    said = [f"{left} left"]
    if of.shows:
        named = [f"{show.name} ({day_words(show.load_in)})" for show in of.shows[:SHOWS_NAMED]]
        if more := len(of.shows) - len(named):
            named.append(f"{more} more {'show' if more == 1 else 'shows'}")
        many = len(named) > 1
        names = f"{', '.join(named[:-1])} and {named[-1]}" if many else named[0]
        said.append(f"the swap {'lists' if many else 'list'} of {names} {'take' if many else 'takes'} {of.total}")
    if keep:
        said.append(f"keep {keep} at least")
    return f"{'; '.join(said)}."
