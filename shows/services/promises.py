"""Give actual things to lines: over all overlapping shows at once, by hand, and back."""

from collections.abc import Callable, Sequence
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from company.clock import now
from company.jobs import job_progress
from company.models import Job
from inventory.models import Item
from shows.calc.allocation import Allocation, allocate
from shows.calc.words import ShowState
from shows.models import InputLine, Promised, Show
from shows.planning.promises import PROMISED, Asked, asked_of, shows_coming

JOB_KIND = "promises"
AT_ONCE = 60  # lines: more than that is worked out by the worker


def promises_make(
    *, shows: Sequence[Show], at: datetime, progress: Callable[[int, int], None] | None = None
) -> tuple[Asked, Allocation]:
    """Work out who gets what at some shows and write it; what was chosen by hand stays. Run twice it writes the same."""
    asked = asked_of(shows, at)
    found = allocate(asked.wants, asked.things, progress=progress)
    given = {one.want.key: one for one in found.given}
    for show in asked.shows:
        mine = {key: line for key, line in asked.lines.items() if line.show_id == show.pk}
        _write(show, [(line, given[key].thing, "; ".join(given[key].doubts)) for key, line in mine.items()], at)
    return asked, found


@transaction.atomic
def _write(show: Show, given: Sequence[tuple[InputLine, int | None, str]], at: datetime) -> None:
    """Write one show's promises; only what changed is written. What a person did since it was worked out stays."""
    Show.objects.select_for_update().get(pk=show.pk)
    given = _still(show, given)
    there = {one.line_id: one for one in Promised.objects.filter(line__show=show)}
    keep = {line.pk for line, thing, _doubts in given if thing is not None}
    gone = [one.pk for line, one in there.items() if not one.by_hand and line not in keep]
    Promised.objects.filter(pk__in=gone).delete()
    fresh = []
    for line, thing, doubts in given:
        held = there.get(line.pk)
        if thing is None or (held is not None and (held.by_hand or (held.item_id == thing and held.doubts == doubts[:300]))):
            continue
        if held is not None:
            Promised.objects.filter(pk=held.pk).delete()
        fresh.append(Promised(line=line, item_id=thing, doubts=doubts[:300], made_at=at))
    Promised.objects.bulk_create(fresh)


def _still(show: Show, given: Sequence[tuple[InputLine, int | None, str]]) -> list[tuple[InputLine, int | None, str]]:
    """Leave out lines removed and things chosen by hand for another line since it was worked out."""
    lines = set(InputLine.objects.filter(show=show).values_list("pk", flat=True))
    things = [thing for _line, thing, _doubts in given if thing is not None]
    chosen = dict(
        Promised.objects.filter(
            by_hand=True,
            item__in=things,
            line__show__hold_from__lte=show.hold_until,
            line__show__hold_until__gte=show.hold_from,
        )
        .exclude(line__show__state=ShowState.CANCELLED)
        .values_list("item", "line")
    )
    return [
        (line, thing if thing is None or chosen.get(thing, line.pk) == line.pk else None, doubts)
        for line, thing, doubts in given
        if line.pk in lines
    ]


@transaction.atomic
def promise_by_hand(*, line: InputLine, item: Item | None, at: datetime) -> None:
    """Give a line the thing a person chose, or (None) leave it to the program again."""
    Show.objects.select_for_update().get(pk=line.show_id)
    held = Promised.objects.filter(line=line)
    if item is None:
        held.delete()
        return
    if item.type.kind not in PROMISED:
        raise ValidationError(f"{item.label} comes off the pile: leads, stands and the like go to no line by themselves.")
    if item.retired_on or item.gone_home_on or item.missing_since:
        raise ValidationError(f"{item.label} is not ours to give any more, or missing.")
    show = line.show
    rivals = Promised.objects.filter(
        item=item, line__show__hold_from__lte=show.hold_until, line__show__hold_until__gte=show.hold_from
    ).exclude(line=line)
    for other in rivals.exclude(line__show__state=ShowState.CANCELLED).select_related("line__show"):
        if other.by_hand:
            at_show = "" if other.line.show_id == show.pk else f" at {other.line.show.name}"
            raise ValidationError(f"{item.label} goes to line {other.line.called}{at_show} already, chosen by hand.")
        other.delete()
    held.delete()
    Promised.objects.create(line=line, item=item, by_hand=True, doubts=_doubts(item, show), made_at=at)


def _doubts(item: Item, show: Show) -> str:
    said = []
    if item.suspect_since:
        said.append("it is suspect")
    if item.lent_to:
        said.append(f"it is lent to {item.lent_to}")
    if item.test_by and item.test_by <= show.hold_until:
        said.append("its proof runs out before the show is home")
    return "; ".join(said)[:300]


def promises_job(job: Job) -> None:
    """Work out all coming shows in the worker."""
    at = now()

    def tell(done: int, total: int) -> None:
        job_progress(job=job, done=done, total=total)

    asked, found = promises_make(shows=shows_coming(at), at=at, progress=tell)
    without = len(found.without)
    lacking = f"{without} without" if without else "none without"
    many = len(asked.wants)
    job_progress(job=job, done=many, total=many, said=f"{many} lines at {len(asked.shows)} shows, {lacking}.")
