"""The pack of a show: what its people carry on paper. Parts of plain words, for a page and for a PDF alike."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from math import ceil

from company.clock import today
from company.models import Company
from company.templatetags.tape import clock
from company.templatetags.tape import code as spelled
from company.templatetags.tape import moment as moment_words
from inventory.models import GearType
from maintenance.cell_needs import listed
from shows.calc.lines import LineWay, PlaceSort, Whose
from shows.calc.shortage import Key, Left
from shows.calc.words import Critical, Feed
from shows.models import Show, VenueFeed
from shows.picks import Pick, Stop, picks_for, stops_of, told_apart
from shows.planning.advice import LineAdvice, ShowAdvice, advice_of
from shows.planning.power import power_of
from shows.planning.readiness import SAFETY
from shows.progress import PullLine, pull_progress
from shows.shortage import shortages_of, unmet

WHOSE = {Whose.PLAYER: "the player's own", Whose.HOUSE: "the house's"}
WHY_MOST = 140
PHANTOM_WORDS = "Phantom power: mute before plugging."


@dataclass(frozen=True, kw_only=True)
class Table:
    """Rows under headings; `shares` of the width, which add up to one."""

    heads: tuple[str, ...]
    shares: tuple[float, ...]
    rows: Sequence[tuple[str, ...]]
    title: str = ""


@dataclass(frozen=True, kw_only=True)
class Part:
    """One part of the pack: a title, sentences, tables; `cautions` stand apart."""

    key: str
    title: str
    says: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Cross:
    """A cross of tape on the floor, in millimetres from the stage's left front corner, and what is there."""

    name: str
    sort: str
    x_mm: int
    y_mm: int
    lines: str


@dataclass(frozen=True, kw_only=True)
class Plot:
    """The stage with its crosses; the mix, which lies far before it, is told by its distance."""

    width_mm: int
    depth_mm: int
    crosses: tuple[Cross, ...]
    mix_mm: int | None


@dataclass(frozen=True, kw_only=True)
class Pack:
    """All of it, in order."""

    show: Show
    at: datetime
    times: str
    parts: tuple[Part, ...]
    plot: Plot | None = None


def pack_of(show: Show, at: datetime, *, prices: bool = False) -> Pack:
    """Gather a show's pack; `prices`: with what it costs to replace, for the insurer. A constant number of queries."""
    advice = advice_of(show)
    progress = pull_progress(show, day=today(at))
    maker = _Packing(show=show, at=at, advice=advice, progress=progress)
    parts = [
        maker.venue(),
        maker.inputs(),
        maker.patch(),
        maker.power(),
        maker.phantom_and_cells(),
        maker.leads(),
        maker.pull(),
        maker.borrow(),
        maker.weights(prices=prices),
    ]
    return Pack(
        show=show,
        at=at,
        times=times_said(show),
        parts=tuple(part for part in parts if part is not None),
        plot=plot_of(advice),
    )


def times_said(show: Show) -> str:
    """Write a show's times in one line."""
    return (
        f"load-in {moment_words(show.load_in)}, line check {moment_words(show.line_check)}, start {moment_words(show.start)}, "
        f"end {moment_words(show.end)}, strike {moment_words(show.strike)}, home by {moment_words(show.home_by)}"
    )


def briefly(show: Show) -> str:
    """Write what stands at the head of every page: the show with its main times."""
    return (
        f"{show.name}: load-in {moment_words(show.load_in)}, start {clock(show.start)}, end {clock(show.end)}, "
        f"home by {moment_words(show.home_by)}"
    )


def plot_of(advice: ShowAdvice) -> Plot | None:
    """Return the stage as it is drawn; None while nothing has a place on it."""
    on = {place.pk: place for place in advice.places if place.x_mm is not None and place.y_mm is not None}
    if not on:
        return None
    lines: dict[int, list[str]] = defaultdict(list)
    for one in advice.lines:
        if one.line.place_id:
            lines[one.line.place_id].append(one.line.called)
    venue, plan = advice.show.venue, advice.plan
    stage = [place for place in on.values() if place.sort != PlaceSort.MIX]
    mix = next((place for place in on.values() if place.sort == PlaceSort.MIX), None)
    width = plan.width_mm or (venue.stage_width_mm if venue else None) or max([4000, *(p.x_mm or 0 for p in stage)])
    depth = plan.depth_mm or (venue.stage_depth_mm if venue else None) or max([3000, *(p.y_mm or 0 for p in stage)])
    return Plot(
        width_mm=width,
        depth_mm=depth,
        crosses=tuple(
            Cross(
                name=place.name, sort=place.sort, x_mm=place.x_mm or 0, y_mm=place.y_mm or 0, lines=", ".join(lines[place.pk])
            )
            for place in stage
        ),
        mix_mm=-mix.y_mm if mix is not None and mix.y_mm is not None else None,
    )


@dataclass(kw_only=True)
class _Packing:
    """What all parts are made of, read once."""

    show: Show
    at: datetime
    advice: ShowAdvice
    progress: list[PullLine]

    @cached_property
    def left(self) -> dict[Key, Left]:
        return shortages_of([self.show]).get(self.show.pk, {})

    def of_way(self, way: LineWay) -> list[LineAdvice]:
        return [one for one in self.advice.lines if one.line.way == way]

    def venue(self) -> Part:
        show, venue = self.show, self.show.venue
        words = (
            ("load-in", show.load_in),
            ("line check", show.line_check),
            ("start", show.start),
            ("end", show.end),
            ("strike", show.strike),
            ("home by", show.home_by),
        )
        table = Table(heads=("What", "When"), shares=(0.3, 0.7), rows=[(word, moment_words(at)) for word, at in words])
        says = []
        if venue is not None:
            says.append(", ".join(part for part in (venue.name, venue.address, venue.town) if part) + ".")
            says += [f"{name}: {text}" for name, text in (("Access", venue.access), ("Last time", venue.remarks)) if text]
            says += [f"Contact: {venue.contact}"] if venue.contact else []
        says += [show.notes] if show.notes else []
        return Part(key="times", title="Times and venue", says=tuple(says), tables=(table,))

    def inputs(self) -> Part:
        rows = [
            (
                one.line.called,
                _source(one),
                one.line.place.name if one.line.place else "",
                _pickup(one),
                _reason(one),
                self._patched(one),
                _phantom(one),
                _notes(one),
            )
            for one in self.of_way(LineWay.IN)
        ]
        tables = [
            Table(
                heads=("No.", "Source", "Where", "Mic/DI", "Why", "Patch", "Phantom", "Notes"),
                shares=(0.05, 0.14, 0.1, 0.15, 0.24, 0.12, 0.09, 0.11),
                rows=rows,
                title="Inputs",
            )
        ]
        outs = [
            (one.line.called, one.line.source, one.line.place.name if one.line.place else "", _notes(one))
            for one in self.of_way(LineWay.OUT)
        ]
        if outs:
            tables.append(
                Table(heads=("No.", "Mix", "Where", "Notes"), shares=(0.1, 0.35, 0.25, 0.3), rows=outs, title="Outputs")
            )
        says = () if rows else ("Nobody has written an input list yet.",)
        return Part(key="lines", title="Input list", says=says, tables=tuple(table for table in tables if table.rows))

    def _patched(self, one: LineAdvice) -> str:
        line = one.line
        desk = line.desk_input or (line.number if line.way == LineWay.IN else None)
        at = f"{line.box.name} {line.box_input or ''}".strip() if line.box else ""
        return ", ".join(part for part in (at, f"desk {desk}" if desk else "") if part)

    def patch(self) -> Part | None:
        ins = self.of_way(LineWay.IN)
        if not ins:
            return None
        tables = []
        for box in (place for place in self.advice.places if place.sort == PlaceSort.BOX):
            ones = [one for one in ins if one.line.box_id == box.pk]
            ones.sort(key=lambda one: (one.line.box_input or 999, one.line.number))
            if ones:
                kind = f" ({box.type.name})" if box.type else ""
                tables.append(_patch(f"{box.name}{kind}", "Input", [(str(o.line.box_input or "?"), o) for o in ones]))
        by_desk = sorted(ins, key=lambda one: one.line.desk_input or one.line.number)
        desk = self.advice.plan.desk or (self.show.venue.house_desk_type if self.show.venue else None)
        name = f"Desk ({desk.name})" if desk else "Desk"
        tables.append(_patch(name, "Input", [(str(one.line.desk_input or one.line.number), one) for one in by_desk]))
        return Part(key="patch", title="Patch", tables=tuple(tables))

    def power(self) -> Part | None:
        feeds = [fed for fed in power_of(self.show).feeds if fed.feed is not None]
        if not feeds:
            return None
        rows = [
            (
                fed.name,
                ", ".join(part for part in (fed.feed.where, fed.feed.phase) if part),
                f"{fed.feed.amps:g} A" if fed.feed.amps else "not written down",
                _residual(fed.feed, fed.pressed is not None),
                "; ".join([*fed.plugged, *(f"{name}, draw not known" for name in fed.unknown)]) or ", ".join(fed.places),
                fed.says,
                fed.feed.remarks,
            )
            for fed in feeds
            if fed.feed is not None
        ]
        table = Table(
            heads=("Supply", "Where", "Gives", "Residual-current device", "What hangs on it", "On record", "Remarks"),
            shares=(0.12, 0.13, 0.08, 0.18, 0.22, 0.14, 0.13),
            rows=rows,
        )
        return Part(key="supplies", title="Supplies", tables=(table,), cautions=(SAFETY,))

    def phantom_and_cells(self) -> Part | None:
        ins = self.of_way(LineWay.IN)
        fed = [
            (one.line.called, one.line.source, _pickup(one), _fed(one), self._patched(one))
            for one in ins
            if _phantom(one) == "on" or one.feed == Feed.CELLS
        ]
        says = []
        for name, budget in self.advice.budgets:
            if budget.asked_ma:
                gives = f" of {budget.budget_ma:g} mA" if budget.budget_ma else ""
                says.append(f"{name}: {budget.asked_ma:g} mA asked for{gives}.")
            says += [f"Mind: {words}" for words in budget.warnings]
        tables = []
        if fed:
            heads, shares = ("No.", "Source", "Mic/DI", "Fed by", "Patch"), (0.08, 0.27, 0.27, 0.15, 0.23)
            tables.append(Table(heads=heads, shares=shares, rows=fed))
        swaps = listed(self.show.pk, self.at)
        rows = [
            (row.advised.device.name, spelled(row.advised.device.code or ""), row.advised.why)
            for row in (swaps.rows if swaps is not None else ())
            if row.to_do
        ]
        if rows:
            tables.append(
                Table(heads=("Thing", "Code", "What to do"), shares=(0.28, 0.14, 0.58), rows=rows, title="Cells to swap")
            )
        if not tables and not says:
            return None
        return Part(key="phantom", title="Phantom and cells", says=tuple(says), tables=tuple(tables), cautions=(PHANTOM_WORDS,))

    def leads(self) -> Part | None:
        runs = []
        for one in self.advice.lines:
            line, there = one.line, one.line.box
            if one.run_mm is None or line.place is None:
                continue
            ends = (line.place.name, there.name if there else "the mix")
            from_, to = ends if line.way == LineWay.IN else ends[::-1]
            runs.append(
                (
                    line.called,
                    line.source,
                    from_,
                    to,
                    f"{ceil(one.run_mm / 100) / 10:g} m{'' if one.balanced else ', unbalanced'}",
                )
            )
        leads = [line for line in self.progress if line.kind in {"lead", "multicore"} and line.wanted]
        tables = []
        if runs:
            heads, shares = ("No.", "Source", "From", "To", "Needs"), (0.08, 0.3, 0.22, 0.22, 0.18)
            tables.append(Table(heads=heads, shares=shares, rows=runs, title="By run"))
        if leads:
            rows = [(str(line.wanted), line.name, "; ".join(line.reasons)) for line in leads]
            tables.append(Table(heads=("Count", "Lead", "Why"), shares=(0.1, 0.35, 0.55), rows=rows, title="On the pull list"))
        return Part(key="leads", title="Leads", tables=tuple(tables)) if tables else None

    def pull(self) -> Part:
        day = today(self.at)
        left = self.left
        picks = told_apart(picks_for(self.show, self.progress, day), left)
        tables = [
            Table(
                heads=("Taken", "What", "Code", "Why"),
                shares=(0.08, 0.36, 0.14, 0.42),
                rows=_rows(stop),
                title=stop.place,
            )
            for stop in stops_of(picks)
        ]
        out = [(str(line.out), line.name, ", ".join(line.in_cases)) for line in self.progress if line.out]
        if out:
            tables.append(Table(heads=("Count", "What", "In"), shares=(0.1, 0.5, 0.4), rows=out, title="Out already"))
        says = () if tables else ("The pull list asks for nothing yet.",)
        return Part(key="pull", title="Pull list", says=says, tables=tuple(tables))

    def borrow(self) -> Part | None:
        left = unmet(self.left, self.progress, unfit_too=True)
        names = {(line.type_id, line.length_mm): line.type_name for line in self.progress if line.item_id}
        names |= {(line.type_id, line.length_mm): line.name for line in self.progress if not line.item_id}
        rows = [(str(worst.short), names.get(key, ""), worst.told) for key, worst in left.items() if worst.short]
        if not rows:
            return None
        return Part(
            key="borrow",
            title="To borrow or hire",
            tables=(Table(heads=("Count", "What", "Why"), shares=(0.1, 0.35, 0.55), rows=rows),),
        )

    def weights(self, *, prices: bool) -> Part | None:
        wanted: dict[int, int] = defaultdict(int)
        for line in self.progress:
            wanted[line.type_id] += line.wanted
        types = GearType.objects.in_bulk([key for key, count in wanted.items() if count])
        known = {key: type_.mass_g * wanted[key] for key, type_ in types.items() if type_.mass_g}
        says = []
        if known:
            without = len(types) - len(known)
            says.append(
                f"{sum(known.values()) / 1000:.0f} kg of what is on the pull list"
                f"{f'; {without} types have no weight on record' if without else ''}. Cases are not counted in."
            )
        if prices:
            worth = {key: type_.replacement_cents * wanted[key] for key, type_ in types.items() if type_.replacement_cents}
            if worth:
                without = len(types) - len(worth)
                currency = Company.current().currency
                says.append(
                    f"{sum(worth.values()) / 100:,.0f} {currency} to replace what is on the pull list"
                    f"{f'; {without} types have no value on record' if without else ''}."
                )
        return Part(key="weights", title="Weight and value", says=tuple(says)) if says else None


def _patch(title: str, head: str, pairs: Iterable[tuple[str, LineAdvice]]) -> Table:
    return Table(
        heads=(head, "Line", "Source", "Mic/DI", "Phantom"),
        shares=(0.12, 0.1, 0.34, 0.34, 0.1),
        rows=[(number, one.line.called, one.line.source, _pickup(one), _phantom(one)) for number, one in pairs],
        title=title,
    )


def _source(one: LineAdvice) -> str:
    return f"{one.line.source}, {one.line.player}" if one.line.player else one.line.source


def _pickup(one: LineAdvice) -> str:
    if one.shares is not None and one.pickup is not None:
        return f"{one.pickup.name}, with {one.shares.called}"
    if one.pickup is not None:
        whose = WHOSE.get(Whose(one.line.whose))
        return f"{one.pickup.name}, {whose}" if whose else one.pickup.name
    return ""


def _reason(one: LineAdvice) -> str:
    """Return why, as short as paper wants it: the first sentence, which has the figures."""
    if one.shares is not None:
        return ""
    first = one.why.split(". ")[0].rstrip(".")
    return first if len(first) <= WHY_MOST else f"{first[: WHY_MOST - 4].rsplit(' ', 1)[0]} ..."


def _phantom(one: LineAdvice) -> str:
    return "on" if one.wants_phantom or one.feed == Feed.PHANTOM else ""


def _fed(one: LineAdvice) -> str:
    return "its cells" if one.feed == Feed.CELLS else "phantom"


def _notes(one: LineAdvice) -> str:
    critical = "Critical. " if one.line.critical == Critical.CRITICAL else ""
    grave = " ".join(mind.words for mind in one.grave)
    return f"{critical}{one.line.notes}{f' Mind: {grave}' if grave else ''}".strip()


def _residual(feed: VenueFeed, pressed: bool) -> str:
    if feed.residual is None:
        return "nobody wrote down whether it has one"
    if not feed.residual:
        return "none, by the venue's record"
    trips = f", {feed.residual_ma:g} mA" if feed.residual_ma else ""
    return f"yes{trips}; test button {'pressed' if pressed else 'not pressed yet: [  ]'}"


def _thing(pick: Pick) -> str:
    if pick.item:
        return pick.item.label
    return f"{pick.count} {pick.counted.label if pick.counted else pick.line.name}"


def _code(pick: Pick) -> str:
    return spelled(pick.item.code) if pick.item else "counted" if pick.counted else ""


def _rows(stop: Stop) -> list[tuple[str, ...]]:
    """Return a stop's rows: seven leads of one line say once what they are for."""
    rows: list[tuple[str, ...]] = []
    told: set[int] = set()
    for pick in stop.picks:
        rows.append(("[  ]", _thing(pick), _code(pick), _why(pick, again=id(pick.line) in told)))
        told.add(id(pick.line))
    return rows


def _why(pick: Pick, *, again: bool = False) -> str:
    said = [pick.why] if pick.why else []
    if pick.item and pick.item.suspect_since:
        said.append("suspect: take another")
    if pick.item and pick.dead:
        said.append(f"good except {pick.item.excepts}: {pick.dead}")
    if pick.line.critical == Critical.CRITICAL:
        said.append("critical")
    if again:
        return "; ".join(said or ["as above"])
    if pick.line.lines:
        said.append(f"line {', '.join(pick.line.lines)}")
    return "; ".join([*said, *pick.line.reasons])
