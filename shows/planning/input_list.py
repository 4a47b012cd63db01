"""A show's input list between rows and text: what it may name, its lines as the grid knows them, what is advised for each."""

from collections.abc import Iterable

from django.db.models import Q

from inventory.calc.kinds import Kind
from inventory.models import GearType
from shows.calc.input_list import Row, grid_read, grid_write
from shows.calc.line_changes import line_row
from shows.calc.line_judging import BoxKnown, Judged, Known, Line, lines_judge
from shows.calc.lines import LineWay, PhantomWish, PlaceSort, Side, Whose
from shows.calc.source_words import SourceWords
from shows.calc.words import Critical, Feed
from shows.models import InputLine, Show, SourceType, StagePlace
from shows.planning.advice import advice_of
from shows.planning.facts import PLAIN

PICKS_UP = (Kind.INTERFACE_BOX, Kind.MICROPHONE)


def kinds_known() -> tuple[SourceWords, ...]:
    """Read every kind of source by the words it goes by."""
    rows = SourceType.objects.values_list("key", "name", "family", "also", "lines")
    return tuple(
        SourceWords(
            key=key, name=name, family=family, lines=lines, also=tuple(word.strip() for word in also.split(",") if word.strip())
        )
        for key, name, family, also, lines in rows
    )


def known_of(show: Show) -> Known:
    """Read what a show's input list may name; a constant number of queries."""
    pickups, stands = {}, {}
    # what stands on a line already may stay there, whatever it is
    on_lines = GearType.objects.filter(picks_up__show=show).values("pk")
    types = GearType.objects.filter(Q(kind__in=[*PICKS_UP, Kind.STAND]) | Q(key__in=PLAIN.values()) | Q(pk__in=on_lines))
    for key, name, kind in types.values_list("key", "name", "kind"):
        names = stands if kind == Kind.STAND else pickups
        names[name.casefold()] = name
        if key:
            names.setdefault(key, name)
    places = StagePlace.objects.filter(show=show).select_related(
        "type__stage_box_facts", "type__multicore_facts", "type__desk_facts"
    )
    boxes = [_box(place) for place in places if place.sort == PlaceSort.BOX]
    return Known(
        kinds=kinds_known(), pickups=pickups, stands=stands, places=tuple(place.name for place in places), boxes=tuple(boxes)
    )


def _box(place: StagePlace) -> BoxKnown:
    facts = place.type.facts if place.type else None
    inputs = getattr(facts, "inputs", None) or getattr(facts, "sends", None)
    outputs = getattr(facts, "outputs", None) or getattr(facts, "returns", None)
    return BoxKnown(name=place.name, inputs=inputs, outputs=outputs)


def lines_of(show: Show) -> list[InputLine]:
    """Read a show's lines with all their names, in one query."""
    return list(InputLine.objects.filter(show=show).select_related("type", "place", "pickup", "stand", "box"))


def line_of(row: InputLine) -> Line:
    """Return a stored line as the grid knows it."""
    return Line(
        number=row.number,
        way=LineWay(row.way),
        source=row.source,
        kind=row.type.key if row.type else "",
        side=Side(row.side),
        player=row.player,
        where=row.place.name if row.place else "",
        pickup=row.pickup.name if row.pickup else "",
        stand=row.stand.name if row.stand else "",
        desk=row.desk_input,
        box=row.box.name if row.box else "",
        box_input=row.box_input,
        phantom=PhantomWish(row.phantom),
        feed=Feed(row.feed),
        whose=Whose(row.whose),
        critical=Critical(row.critical),
        notes=row.notes,
    )


def rows_of(lines: Iterable[Line], kinds: Iterable[SourceWords]) -> list[Row]:
    """Return lines as rows of the grid, kinds by their names."""
    names = {kind.key: kind.name for kind in kinds}
    return [line_row(line, names) for line in lines]


def judged_of(text: str, known: Known, *, strangers_to_notes: bool = False) -> tuple[Judged, tuple[str, ...]]:
    """Read a text as an input list: what it holds, and sentences about how it was read. Raises GridError."""
    grid = grid_read(text)
    judged = lines_judge(grid, known, strangers_to_notes=strangers_to_notes)
    said = list(grid.said)
    if judged.empty:
        said.append(f"Left out, because they have a number and nothing else: {', '.join(judged.empty[:12])}.")
    return judged, tuple(said)


def text_of(rows: Iterable[Row]) -> str:
    """Return rows as the text the page sends."""
    return grid_write(rows)


def advised_of(show: Show) -> dict[tuple[str, int], str]:
    """Return what is advised for each line by (way, number): the type taken, or what keeps it from being worked out."""
    answer = {}
    for one in advice_of(show).lines:
        if one.shares is not None:
            answer[(one.line.way, one.line.number)] = f"with line {one.shares.number}"
        elif one.pickup is not None:
            answer[(one.line.way, one.line.number)] = one.pickup.name
    return answer
