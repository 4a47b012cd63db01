"""Whether a show is ready: each thing that keeps it from being so as a sentence, with the page where it is done.

Nothing here declares anything safe: what it says of supplies is what a person wrote down and did.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from django.urls import NoReverseMatch, reverse

from company.clock import today
from maintenance.cell_needs import listed
from shows.calc.lines import LineWay, PlaceSort, Whose
from shows.models import Promised, Show, VenueFeed
from shows.planning.advice import LineAdvice, ShowAdvice, advice_of
from shows.planning.making import making_of
from shows.planning.power import power_of
from shows.progress import PullLine, pull_progress
from shows.shortage import item_rivals, shortages_of, unmet

SAFETY = (
    "This page records what was written down and done; it declares nothing safe. Local codes and a licensed or competent "
    "person decide. Never lift or cut protective earth to cure hum: use isolation or an audio-shield lift."
)
NAMED = 4  # so many things in one sentence, then "and 3 more"


@dataclass(frozen=True, kw_only=True)
class Because:
    """One sentence of why a show is not ready: `grave` says that it does not work, hurts, or is missing; `url` is where it
    is done and `do` what is done there. `group` gathers what belongs together."""

    key: str
    words: str
    url: str
    do: str
    group: str
    grave: bool = False


@dataclass(frozen=True, kw_only=True)
class Readiness:
    """All that was found, the grave first, and what was looked at."""

    because: tuple[Because, ...]
    looked: tuple[str, ...]
    to_know: tuple[Because, ...] = ()

    @property
    def ready(self) -> bool:
        return not self.because

    @property
    def grave(self) -> tuple[Because, ...]:
        return tuple(one for one in self.because if one.grave)

    @property
    def plain(self) -> tuple[Because, ...]:
        return tuple(one for one in self.because if not one.grave)


def readiness_of(show: Show, at: datetime, *, progress: list[PullLine] | None = None) -> Readiness:
    """Look a show over; a constant number of queries."""
    lines = pull_progress(show, day=today(at)) if progress is None else progress
    advice = advice_of(show)
    looker = _Looker(show=show, advice=advice, lines=lines, at=at)
    found = list(looker.all())
    found.sort(key=lambda one: not one.grave)
    return Readiness(because=tuple(found), looked=tuple(looker.looked), to_know=tuple(looker.to_know))


def grave_of_plan(show: Show, at: datetime) -> list[Because]:
    """Return what is grave about a show's lines, phantom and supplies alone; fewer queries than looking it all over."""
    looker = _Looker(show=show, advice=advice_of(show), lines=[], at=at)
    parts = (looker.of_lines(), looker.of_patch(), looker.of_phantom(), looker.of_supplies())
    return [one for part in parts for one in part if one.grave]


def there(name: str, *args: object, anchor: str = "") -> str:
    """Return an address, or nothing where that room is not built."""
    try:
        return reverse(name, args=args) + anchor
    except NoReverseMatch:
        return ""


@dataclass(kw_only=True)
class _Looker:
    """What is looked at, once each."""

    show: Show
    advice: ShowAdvice
    lines: list[PullLine]
    at: datetime
    looked: list[str] = field(default_factory=list)
    to_know: list[Because] = field(default_factory=list)

    def all(self) -> Iterator[Because]:
        if self.advice.lines:
            yield from self.of_lines()
            yield from self.of_patch()
            yield from self.of_phantom()
            yield from self.of_places()
            yield from self.of_supplies()
            yield from self.of_promises()
            yield from self.of_list()
        else:
            self.looked.append("no input list is written, so no line was looked at")
        yield from self.of_things()
        yield from self.of_cells()
        yield from self.of_shortages()
        yield from self.of_packing()

    def _plan(self, room: str) -> str:
        return there(room, self.show.pk) or there("lines", self.show.pk) or self.show.get_absolute_url()

    def of_lines(self) -> Iterator[Because]:
        ins = [one for one in self.advice.lines if one.line.way == LineWay.IN]
        self.looked.append(f"{_count(len(ins), 'input line')} with {'its' if len(ins) == 1 else 'their'} mic/DI")
        without = [one for one in ins if one.line.type is None]
        if without:
            yield Because(
                key="kind",
                words=f"{_lines(without)} {_have(without)} no kind of source: nothing can be told of {_it(without)}.",
                url=self._plan("lines"),
                do="Say what kind",
                group="lines",
            )
        none = [one for one in ins if one.line.type and not one.pickup and one.shares is None and one.line.whose == Whose.OURS]
        if none:
            yield Because(
                key="pickup",
                words=f"{_lines(none)} {_have(none)} no mic/DI that works: {none[0].why.rstrip('.') or 'none is known'}.",
                url=self._plan("advice"),
                do="Choose one",
                group="lines",
                grave=True,
            )
        for one in ins:
            for mind in one.grave:
                yield Because(
                    key=f"mind:{one.line.pk}:{mind.key}",
                    words=f"Line {one.line.called} {one.line.source}: {_started(mind.words)}",
                    url=there("advice-line", self.show.pk, one.line.pk) or self._plan("advice"),
                    do="Look at the line",
                    group="lines",
                    grave=True,
                )

    def of_patch(self) -> Iterator[Because]:
        ins = [one for one in self.advice.lines if one.line.way == LineWay.IN]
        self.looked.append("their inputs at desk and stage boxes")
        for what, pairs in (
            ("input {n} of {at}", [((one.line.box_id, one.line.box_input), one) for one in ins if one.line.box_input]),
            ("desk input {n}", [((0, one.line.desk_input), one) for one in ins if one.line.desk_input]),
        ):
            times = Counter(place for place, _one in pairs)
            for place in [place for place, count in times.items() if count > 1]:
                both = [one for where, one in pairs if where == place]
                box = both[0].line.box
                said = what.format(n=place[1], at=box.name if box else "its box")
                yield Because(
                    key=f"twice:{place}",
                    words=f"{_lines(both)} are all on {said}." if len(both) > 2 else f"{_lines(both)} are both on {said}.",
                    url=self._plan("lines"),
                    do="Patch one elsewhere",
                    group="lines",
                    grave=True,
                )
        over = [one for one in ins if one.inputs.count and one.input_number and one.input_number > one.inputs.count]
        for name in dict.fromkeys(one.inputs.name for one in over):
            ones = [one for one in over if one.inputs.name == name]
            yield Because(
                key=f"inputs:{name}",
                words=f"{name} has {ones[0].inputs.count} inputs: {_lines(ones)} {_are(ones)} past the last.",
                url=self._plan("lines"),
                do="Patch elsewhere",
                group="lines",
                grave=True,
            )
        if self.advice.plan.desk is None and (self.show.venue is None or self.show.venue.house_desk_type is None):
            yield Because(
                key="desk",
                words="No desk is named: its inputs and phantom are taken as the usual ones.",
                url=self._plan("stage"),
                do="Name the desk",
                group="lines",
            )

    def of_phantom(self) -> Iterator[Because]:
        self.looked.append("phantom at each desk and stage box")
        for name, budget in self.advice.budgets:
            if budget.over:
                yield Because(
                    key=f"phantom:{name}",
                    words=f"{name} is asked for {budget.asked_ma:g} mA of phantom and gives {budget.budget_ma:g}.",
                    url=self._plan("advice"),
                    do="Feed some otherwise",
                    group="phantom",
                    grave=True,
                )
            for number, words in enumerate(budget.warnings):
                yield Because(
                    key=f"phantom:{name}:{number}",
                    words=_started(words),
                    url=self._plan("advice"),
                    do="Look at these lines",
                    group="phantom",
                    grave=True,
                )

    def of_places(self) -> Iterator[Because]:
        self.looked.append("places on the stage")
        unplaced = [place for place in self.advice.places if place.x_mm is None]
        if unplaced:
            named = _listed([place.name for place in unplaced])
            verb = "has" if len(unplaced) == 1 else "have"
            yield Because(
                key="places",
                words=f"{named} {verb} no place on the stage yet: leads to {_it(unplaced)} cannot be told.",
                url=self._plan("stage"),
                do="Place the crosses",
                group="stage",
            )
        if not any(place.sort == PlaceSort.MIX for place in self.advice.places):
            yield Because(
                key="mix",
                words="Nobody has said where the mix is: runs to it cannot be told.",
                url=self._plan("stage"),
                do="Place the mix",
                group="stage",
            )
        nowhere = [one for one in self.advice.lines if one.line.way == LineWay.IN and one.line.place is None]
        if nowhere:
            yield Because(
                key="nowhere",
                words=f"{_lines(nowhere)} {_are(nowhere)} nowhere on the stage: {_its(nowhere)} lead cannot be told.",
                url=self._plan("lines"),
                do="Say where",
                group="stage",
            )

    def of_supplies(self) -> Iterator[Because]:
        feeds = self.show.venue_id is not None and VenueFeed.objects.filter(venue=self.show.venue_id).exists()
        powered = [p for p in self.advice.places if p.feed_id is None and _on_mains(p)]
        if powered:
            named = _listed([place.name for place in powered])
            yield Because(
                key="unfed",
                words=f"Nobody has said what supply {named} {'hangs' if len(powered) == 1 else 'hang'} on.",
                url=self._plan("stage"),
                do="Say which supply",
                group="supplies",
            )
        if not feeds:
            return
        self.looked.append("supplies, what hangs on them, and their residual-current devices")
        power = power_of(self.show)
        for fed in power.feeds:
            if fed.feed is not None and (fed.over or fed.near):
                yield Because(
                    key=f"amps:{fed.feed.pk}",
                    words=f"{fed.name}: {fed.says} A competent person plans the supply.",
                    url=self._plan("stage"),
                    do="Plug some in elsewhere",
                    group="supplies",
                    grave=fed.over,
                )
        used = {place.feed_id for place in self.advice.places if place.feed_id}
        for fed in power.feeds:
            if fed.feed is None or fed.feed.pk not in used:
                continue
            if fed.feed.residual and fed.pressed is None:
                yield Because(
                    key=f"pressed:{fed.feed.pk}",
                    words=f"The test button of the residual-current device of {fed.name} was not pressed at this show.",
                    url=self._plan("stage") + "#power",
                    do="Press it, and tick it",
                    group="supplies",
                )
            elif fed.feed.residual is False:
                yield Because(
                    key=f"residual:{fed.feed.pk}",
                    words=f"{fed.name} has no residual-current device, by the venue's record: a competent person decides.",
                    url=there("venue-feeds", self.show.venue_id) or self._plan("stage"),
                    do="Look at the supply",
                    group="supplies",
                    grave=True,
                )
            elif fed.feed.residual is None:
                self.to_know.append(
                    Because(
                        key=f"unknown:{fed.feed.pk}",
                        words=f"Nobody wrote down whether {fed.name} has a residual-current device.",
                        url=there("venue-feeds", self.show.venue_id) or self._plan("stage"),
                        do="Write it down",
                        group="supplies",
                    )
                )

    def of_promises(self) -> Iterator[Because]:
        for one in Promised.objects.filter(line__show=self.show).exclude(doubts="").select_related("item__type", "line"):
            yield Because(
                key=f"promised:{one.line_id}",
                words=f"{one.item.label}, promised to line {one.line.called} {one.line.source}: {_started(one.doubts)}",
                url=self._plan("promised"),
                do="Promise another",
                group="things",
            )

    def of_list(self) -> Iterator[Because]:
        made = making_of(self.show)
        if made.added:
            named = _listed([f"{one.count} {one.name}" if one.count > 1 else one.name for one in made.added])
            yield Because(
                key="making",
                words=f"The pull list lacks what the plan asks for: {named}.",
                url=self._plan("make-pull"),
                do="Make the pull list",
                group="list",
            )
        elif made.changed or made.removed:
            count = len(made.changed) + len(made.removed)
            yield Because(
                key="making",
                words=f"The plan has changed since the pull list was made: {_count(count, 'row')} differ.".replace(
                    "1 row differ", "1 row differs"
                ),
                url=self._plan("make-pull"),
                do="Make it again",
                group="list",
            )

    def of_things(self) -> Iterator[Because]:
        rows = [line for line in self.lines if not line.is_extra]
        if rows:
            self.looked.append(f"{_count(sum(line.wanted for line in rows), 'thing')} on the pull list")
        seen: set[int] = set()
        unproved = 0
        for line in self.lines:
            named = [(line.item_id, line.name, line.item_code, line.item_standing)] if line.item_id else []
            for pk, label, code, standing in [
                *((i.item_id, i.label, i.code, i.standing) for i in line.items if i.state != "back"),
                *named,
            ]:
                if pk is None or pk in seen:
                    continue
                seen.add(pk)
                unproved += standing == "unproved"
                if standing in {"suspect", "test-due", "retired"}:
                    yield Because(
                        key=f"standing:{pk}",
                        words=f"{label}, {code}, is {standing.replace('-', ' ')}.",
                        url=there("item", code),
                        do={"suspect": "Prove it, or take another", "test-due": "Test it"}.get(standing, "Take another"),
                        group="things",
                        grave=standing != "test-due",
                    )
        rivals = item_rivals(self.show)
        for line in rows:
            for other in rivals.get(line.item_id, []) if line.item_id else []:
                yield Because(
                    key=f"rival:{line.item_id}:{other.pk}",
                    words=f"{line.name} is asked for by {other.name} too, on the same days.",
                    url=there("pull", self.show.pk),
                    do="Take another",
                    group="things",
                    grave=True,
                )
        if unproved:
            self.to_know.append(
                Because(
                    key="unproved",
                    words=f"{_count(unproved, 'thing')} of what goes {'was' if unproved == 1 else 'were'} never tested.",
                    url=there("bench") + f"?show={self.show.pk}",
                    do="Test some",
                    group="things",
                )
            )

    def of_cells(self) -> Iterator[Because]:
        swaps = listed(self.show.pk, self.at)
        if swaps is None or swaps.needs.over:
            return
        if swaps.rows:
            self.looked.append("cells of what runs on them")
        for row in swaps.rows:
            if row.to_do:
                device = row.advised.device
                yield Because(
                    key=f"cells:{device.code or device.name}",
                    words=f"{device.name}{f', {device.code}' if device.code else ''}: {row.advised.why.rstrip('.')}.",
                    url=there("swap-list", self.show.pk),
                    do="See the swap list",
                    group="cells",
                )

    def of_shortages(self) -> Iterator[Because]:
        left = unmet(shortages_of([self.show]).get(self.show.pk, {}), self.lines)
        names = {(line.type_id, line.length_mm): line.name for line in self.lines if not line.item_id}
        for key, worst in left.items():
            if worst.short:
                yield Because(
                    key=f"short:{key[0]}:{key[1]}",
                    words=f"Short {worst.short} {names.get(key, 'of a line')}: {worst.told}.",
                    url=there("borrow", self.show.pk) or there("pull", self.show.pk),
                    do="Borrow, hire or swap",
                    group="short",
                    grave=True,
                )

    def of_packing(self) -> Iterator[Because]:
        if not any(line.wanted for line in self.lines):
            yield Because(
                key="empty",
                words="The pull list asks for nothing yet.",
                url=there("pull", self.show.pk),
                do="Write it",
                group="list",
            )
        dock = f"{there('dock')}?show={self.show.pk}&way=out"
        for line in self.lines:
            if line.lacking:
                yield Because(
                    key=f"pack:{line.type_id}:{line.length_mm}:{line.item_id}",
                    words=f"{line.lacking} of {line.name} {'is' if line.lacking == 1 else 'are'} still in the shop.",
                    url=dock,
                    do="Scan it out",
                    group="packing",
                )


def _on_mains(place) -> bool:  # type: ignore[no-untyped-def]
    digital = bool(place.type and getattr(place.type.facts, "digital", False))
    return place.sort == PlaceSort.MIX or (place.sort == PlaceSort.BOX and digital)


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _listed(words: Iterable[str]) -> str:
    words = list(dict.fromkeys(words))
    if len(words) > NAMED + 1:
        return f"{', '.join(words[:NAMED])} and {len(words) - NAMED} more"
    return f"{', '.join(words[:-1])} and {words[-1]}" if len(words) > 1 else "".join(words)


def _lines(ones: Sequence[LineAdvice]) -> str:
    named = _listed([f"{one.line.called} {one.line.source}" for one in ones])
    return f"Line {named}" if len(ones) == 1 else f"Lines {named}"


def _have(ones: Sequence[object]) -> str:
    return "has" if len(ones) == 1 else "have"


def _are(ones: Sequence[object]) -> str:
    return "is" if len(ones) == 1 else "are"


def _it(ones: Sequence[object]) -> str:
    return "it" if len(ones) == 1 else "them"


def _its(ones: Sequence[object]) -> str:
    return "its" if len(ones) == 1 else "their"


def _started(words: str) -> str:
    words = words.strip().rstrip(".")
    return f"{words[:1].upper()}{words[1:]}." if words else ""
