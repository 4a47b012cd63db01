"""Sentences a device is told beside custody's own: what was noted, what is not in its case, where a thing is after an undo,
how much of the pull list a thing is."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from django.db.models import Sum

from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.calc.symptoms import Symptom
from maintenance.minding import CASE_WET_NOTED, WET_NOTED
from maintenance.wet import wet_things
from shows.calc.evidence import Head
from shows.calc.words import Condition
from shows.models import Checkout, PullRow
from shows.services.dock import BAG_NOTE
from shows.services.reading import Draft

NAMED = 3  # so many things by name in one sentence


def ill_words(draft: Draft) -> str:
    """Say in a word or two what a scan says is wrong: Hums; Damaged; Suspect where nothing more is known."""
    said = draft.symptom if draft.symptom and draft.symptom != Symptom.OTHER else draft.condition
    return f"{said[:1].upper()}{said[1:]}"


def noted_words(draft: Draft, item: Item | None = None) -> str:
    """Say what an inspection noted and what to do with the thing; empty when it noted nothing."""
    if draft.condition == Condition.LABEL_GONE:
        return "Label gone: noted. It wants a new label."
    if not draft.ill:
        return ""
    if draft.wet and item is not None and wet_things(item):
        return CASE_WET_NOTED if item.type.kind == Kind.CASE else WET_NOTED
    if draft.note == BAG_NOTE:
        return f"{ill_words(draft)}: noted, in the bench bag."
    return f"{ill_words(draft)}: noted. Put it in the bench bag."


def names_said(names: Sequence[str]) -> str:
    """Join names as a person says them: A, B and C; A, B, C and 2 more."""
    names = sorted(names)
    if len(names) > NAMED + 1:
        names = [*names[:NAMED], f"{len(names) - NAMED} more"]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def lacking_words(*, names: Sequence[str], counted: int | None) -> str:
    """Say what is not in its case: 7 of 8 counted; Body transmitter A is not in it."""
    said = f"{names_said(names)} {'is' if len(names) == 1 else 'are'} not in it."
    return said if counted is None else f"{counted} of {counted + len(names)} counted; {said}"


def undone_words(*, did: str, show: int | None, head: Head, shows: Mapping[int, str]) -> str:
    """Say where a thing is after a scan of it was taken back. `show` is the one that scan named."""
    stay = head.stay
    if stay is None:
        return f"Taken back: {did}. It is in the shop."
    there = shows[stay.show]
    if stay.truck_at is not None:
        earlier = " by an earlier scan" if did == "on the truck" and show in (None, stay.show) else ""
        return (
            f"Taken back{'' if earlier else f': {did}'}. It is {'still ' if earlier else ''}on the truck from {there}{earlier}."
        )
    if did == "out" and show == stay.show:
        return f"Taken back. It is still out to {there} by an earlier scan."
    return f"Taken back: {did}. It is out to {there}."


class Listed:
    """What pull lists say of things going out, one after the other: two questions for all of them together."""

    def __init__(self, *, going: Iterable[tuple[int, Item]]) -> None:
        going = [(show, item) for show, item in going if item.type.kind != Kind.CASE]
        self.named: set[tuple[int, int]] = set()
        self.wanted: dict[tuple[int, int, int], int] = defaultdict(int)
        self.out: dict[tuple[int, int], dict[int, int]] = defaultdict(dict)
        self.lists: set[int] = set()
        if not going:
            return
        shows, types = {show for show, _ in going}, {item.type_id for _, item in going}
        rows = PullRow.objects.filter(show__in=shows).order_by().values_list("show", "type", "length_mm", "item")
        for show, type_id, length_mm, item, count in rows.annotate(total=Sum("count")):
            self.lists.add(show)
            if item is not None:
                self.named.add((show, item))
            else:
                self.wanted[show, type_id, length_mm] += count
        if not self.lists:
            return
        stays = Checkout.objects.filter(show__in=self.lists, closed_at=None, item__type__in=types).order_by()
        for show, item, type_id, length_mm in stays.values_list("show", "item", "item__type", "item__length_mm"):
            if (show, item) not in self.named:
                self.out[show, type_id][item] = length_mm

    def words(self, *, show: int, item: Item) -> str:
        """Say that a thing is not on the list it goes out for, or is one too many; empty where it is wanted."""
        if show not in self.lists or item.type.kind == Kind.CASE or (show, item.pk) in self.named:
            return ""
        out = self.out[show, item.type_id]
        already = item.pk in out
        out[item.pk] = item.length_mm
        of_type = {mm: n for (of, kind, mm), n in self.wanted.items() if (of, kind) == (show, item.type_id)}
        if 0 in of_type:  # any length will do
            wanted, number = sum(of_type.values()), len(out)
        else:
            wanted, number = of_type.get(item.length_mm, 0), sum(mm == item.length_mm for mm in out.values())
        if not wanted:
            return "Not on its list."
        return f"That makes {number}; the list asks for {wanted}." if number > wanted and not already else ""
