"""A device's sets as pictures: what was read, where earlier sets came out, what its next show needs; and hours as tape."""

from datetime import datetime

from company.templatetags.tape import day as day_words
from maintenance.calc.cell_advice import hours_up
from maintenance.calc.cell_doubt import doubt_words, doubted
from maintenance.calc.cell_forecast import curve_points
from maintenance.calc.cell_plots import SetPicture
from maintenance.calc.cell_words import CellError, SwapReason
from maintenance.cell_fleet import FleetRow
from maintenance.cell_hours import book_of
from maintenance.cell_querysets import counting_readings
from maintenance.models import FittedSet
from maintenance.services.cell_told import read_of

EARLIER = 5  # sets whose end is drawn, however they ended
LOOKED_AT = 40  # so far back a death is drawn still
FURTHEST = 1.15  # of the likely end and the need: beyond that the band is a long thin tail


def picture_of(row: FleetRow, at: datetime) -> SetPicture | None:
    """Return what a set's curve shows; none where nothing is known of its life. Three queries."""
    state = row.state
    life = state.life
    if life is None or state.fitted is None or state.since is None:
        return None
    since = state.since
    book = book_of([state.item.pk], at)
    read = counting_readings().filter(item=state.item, bay=state.bay, read_at__gte=since, read_at__lte=at).order_by("read_at")
    rows = list(read)
    readings = tuple(
        (
            state.before_h + book.between(state.item.pk, since, one.read_at).hours,
            one.volts,
            f"{one.volts:g} V, {day_words(one.read_at)}",
        )
        for one in rows
    )
    seen = [read_of(one, state.kind, state.draw) for one in rows]
    doubts = tuple(doubted(state.kind, seen, state.fitted.cells)) if state.kind is not None and state.kind.curve else ()
    earlier = FittedSet.objects.filter(item=state.item, bay=state.bay, type=state.fitted.type, removed_at__isnull=False)
    ends = tuple(
        (one.hours_used, f"{_ended(one)} at {one.hours_used:.0f} h", one.removed_because == SwapReason.DIED)
        for one in _worth_drawing(list(earlier.filter(hours_used__gt=0).order_by("-removed_at")[:LOOKED_AT]))
    )
    need_h = row.need_h
    reach = max([life.hours + life.high_h, life.hours + (need_h or 0), *(end[0] for end in ends)])
    try:
        points = curve_points(state.kind, state.draw, life, until_h=reach, age_years=state.age_years)
    except CellError:
        return None
    return SetPicture(
        points=points,
        now_h=life.hours,
        readings=readings,
        ends=ends,
        need_h=need_h,
        need_words=f"{row.next.show.name} needs {hours_up(need_h)} h" if row.next and need_h else "",
        doubted=doubts,
        doubt=doubt_words([seen[n] for n in doubts], seen[-1]) if doubts else "",
        stops_v=(state.plan.stops_below_v or None) if state.kind is not None else None,
    )


def _worth_drawing(ended: list[FittedSet]) -> list[FittedSet]:
    """Return the newest few sets, and any that died before them: a death tells more than ten swaps."""
    died = [one for one in ended[EARLIER:] if one.removed_because == SwapReason.DIED]
    return [*ended[:EARLIER], *died]


def _ended(one: FittedSet) -> str:
    if one.removed_because == SwapReason.DIED:
        return "one died"
    return "one leaked" if one.removed_because == SwapReason.LEAKED else "one came out"


def picture_json(picture: SetPicture) -> dict[str, object]:
    """Return a picture as numbers, for the script that lets it be pointed at."""
    points = picture.points
    return {
        "hours": [round(p.hours, 3) for p in points],
        "volts": [[_round(p.volts_low), _round(p.volts), _round(p.volts_high)] for p in points] if picture.has_volts else [],
        "left": [[round(p.left_low_h, 2), round(p.left_h, 2), round(p.left_high_h, 2)] for p in points],
        "now": picture.now_h,
        "need": picture.need_h,
        "need_words": picture.need_words,
        "readings": [list(one) for one in picture.readings],
        "doubted": list(picture.doubted),
        "ends": [list(one) for one in picture.ends],
        "stops": picture.stops_v,
    }


def _round(value: float | None) -> float | None:
    return None if value is None else round(value, 3)
