"""Cases: put things in, take them out, and say what lay in a case at an instant. Placements are only ever added."""

import uuid
from collections.abc import Iterable
from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import Exists, OuterRef, Q

from company.models import Person
from inventory.calc.kinds import Evidence, Kind
from inventory.models import CaseCount, CasePlanLine, CountedLine, GearType, Item, Placement
from inventory.registries import AFTER_PLACEMENT, PLACEMENT_UNDONE

DEEPEST = 40  # cases in cases; nobody packs deeper, and a chain this long means a loop


class NotACase(ValueError):  # noqa: N818 (a word of the house)
    """Something was put into a thing that holds nothing."""


class CaseLoop(ValueError):  # noqa: N818 (a word of the house)
    """A case would lie in itself, at whatever depth."""


NEWEST_FIRST = ("-effective_at", "-device", "-seq", "-uid")


def placement_record(
    *,
    uid: uuid.UUID,
    item: Item,
    case: Item | None,
    effective_at: datetime,
    device: str = "",
    seq: int = 0,
    evidence: str = Evidence.SEEN,
    person: Person | None = None,
) -> Placement:
    """Record that an item lies in a case from an instant on (`case` None: in none), and let the newest placement by
    (effective_at, device, seq, uid) say where the item is.

    The same uid is recorded once. Raises NotACase when `case` holds nothing, CaseLoop when a case would lie in itself.
    """
    with transaction.atomic():
        known = Placement.objects.filter(uid=uid).first()
        if known:
            return known
        if case is not None and case.type.kind != Kind.CASE:
            raise NotACase(f"{case} is no case: nothing can be packed in it.")
        # the row that orders two people moving one thing in the same second
        list(Item.objects.select_for_update(no_key=True).filter(pk=item.pk).values_list("pk"))
        if case is not None and item.type.kind == Kind.CASE:
            _refuse_loop(item=item, case=case, at=effective_at)
        try:
            with transaction.atomic():
                placement = Placement.objects.create(
                    uid=uid,
                    item=item,
                    case=case,
                    effective_at=effective_at,
                    device=device,
                    seq=seq,
                    evidence=evidence,
                    person=person,
                )
        except IntegrityError:
            # the same scan, sent twice at once: the other one got in first
            return Placement.objects.get(uid=uid)
        newest = Placement.objects.filter(item_id=item.pk).order_by(*NEWEST_FIRST).values_list("case_id", flat=True).first()
        Item.objects.filter(pk=item.pk).update(in_case=newest)
        item.in_case_id = newest
        for answer in AFTER_PLACEMENT:
            answer(item, case, placement)
        return placement


def placement_undo(*, uid: uuid.UUID, undoes: uuid.UUID, at: datetime, person: Person | None = None) -> Placement | None:
    """Put a thing back where it lay before a placement; None when something newer has moved it since, or it is unknown."""
    with transaction.atomic():
        known = Placement.objects.filter(uid=uid).first()
        if known:
            return known
        undone = Placement.objects.select_related("item__type").filter(uid=undoes).first()
        if undone is None:
            return None
        newest, before = [*Placement.objects.filter(item=undone.item).order_by(*NEWEST_FIRST)[:2], None][:2]
        if newest is None or newest.pk != undone.pk:
            return None
        case = before.case if before else None
        for answer in PLACEMENT_UNDONE:
            answer(undone, at)
        return placement_record(
            uid=uid,
            item=undone.item,
            case=case,
            effective_at=max(at, undone.effective_at),
            device=undone.device,
            seq=undone.seq + 1,
            evidence=undone.evidence,
            person=person,
        )


def case_contents_at(case_ids: Iterable[int], at: datetime) -> dict[int, list[int]]:
    """Return the keys of the items that lay directly in each case at an instant: one query, cases in cases not opened.

    Every case asked for is in the answer, an empty one with an empty list.
    """
    contents: dict[int, list[int]] = {case_id: [] for case_id in case_ids}
    if not contents:
        return contents
    newer = Placement.objects.filter(
        item_id=OuterRef("item_id"), effective_at__gte=OuterRef("effective_at"), effective_at__lte=at
    ).filter(
        Q(effective_at__gt=OuterRef("effective_at"))
        | Q(device__gt=OuterRef("device"))
        | Q(device=OuterRef("device"), seq__gt=OuterRef("seq"))
        | Q(device=OuterRef("device"), seq=OuterRef("seq"), uid__gt=OuterRef("uid"))
    )
    rows = (
        Placement.objects.filter(~Exists(newer), case_id__in=list(contents), effective_at__lte=at)
        .order_by("item_id")
        .values_list("case_id", "item_id")
    )
    for case_id, item_id in rows:
        contents[case_id].append(item_id)
    return contents


def case_count_set(
    *, uid: uuid.UUID, case: Item, line: CountedLine, count: int, at: datetime, person: Person | None = None
) -> CaseCount:
    """Record how many of a counted line lie in a case; the newest count holds, the same uid is recorded once."""
    if case.type.kind != Kind.CASE:
        raise NotACase(f"{case} is no case: nothing can be packed in it.")
    counted, _made = CaseCount.objects.get_or_create(
        uid=uid, defaults={"case": case, "line": line, "count": count, "effective_at": at, "person": person}
    )
    return counted


def case_counts(case_ids: Iterable[int]) -> dict[int, dict[int, int]]:
    """Return, for each case, how many of each counted line lie in it now ({case: {line: count}}), in one query."""
    newer = CaseCount.objects.filter(case_id=OuterRef("case_id"), line_id=OuterRef("line_id")).filter(
        Q(effective_at__gt=OuterRef("effective_at")) | Q(effective_at=OuterRef("effective_at"), pk__gt=OuterRef("pk"))
    )
    counts: dict[int, dict[int, int]] = {case_id: {} for case_id in case_ids}
    rows = CaseCount.objects.filter(~Exists(newer), case_id__in=list(counts), count__gt=0).order_by("line")
    for case_id, line_id, count in rows.values_list("case_id", "line_id", "count"):
        counts[case_id][line_id] = count
    return counts


def plan_line_set(*, case: Item, type: GearType, length_mm: int, count: int) -> None:
    """Let a case's plan ask for so many of a type and length; 0 takes the line off the plan."""
    with transaction.atomic():
        if case.type.kind != Kind.CASE:
            raise NotACase(f"{case} is no case: it has no plan.")
        if count:
            CasePlanLine.objects.update_or_create(case=case, type=type, length_mm=length_mm, defaults={"count": count})
        else:
            CasePlanLine.objects.filter(case=case, type=type, length_mm=length_mm).delete()


def plan_copy(*, case: Item, source: Item) -> int:
    """Give a case the plan of another in place of its own; return how many lines it has now."""
    with transaction.atomic():
        for held in (case, source):
            if held.type.kind != Kind.CASE:
                raise NotACase(f"{held} is no case: it has no plan.")
        lines = list(source.plan.all())
        if case.pk != source.pk:
            case.plan.all().delete()
            CasePlanLine.objects.bulk_create(
                CasePlanLine(case=case, type_id=line.type_id, length_mm=line.length_mm, count=line.count) for line in lines
            )
        return len(lines)


def plan_from_contents(*, case: Item) -> int:
    """Make what lies in a case now its plan; return how many lines that is."""
    from inventory.packing import contents_by_sort

    with transaction.atomic():
        packed = contents_by_sort([case.pk])[case.pk]
        case.plan.all().delete()
        CasePlanLine.objects.bulk_create(
            CasePlanLine(case=case, type_id=type_id, length_mm=length_mm, count=count)
            for (type_id, length_mm), count in packed.items()
        )
        return len(packed)


def _refuse_loop(*, item: Item, case: Item, at: datetime) -> None:
    """Refuse a case in itself, at the instant and at every later one until the item moves again: what a late scan says of
    the past must not close a loop that newer scans half made."""
    # cases move into cases seldom: one lock for all of them, so that two moves that share no case make no loop together
    list(GearType.objects.select_for_update(no_key=True).filter(kind=Kind.CASE).order_by("pk").values_list("pk")[:1])
    moves_again = (
        Placement.objects.filter(item=item, effective_at__gt=at).order_by("effective_at").values_list("effective_at", flat=True)
    ).first()
    later = Placement.objects.filter(item__type__kind=Kind.CASE, case__isnull=False, effective_at__gt=at).exclude(item=item)
    if moves_again:
        later = later.filter(effective_at__lt=moves_again)
    for instant in [at, *later.order_by("effective_at").values_list("effective_at", flat=True).distinct()]:
        _refuse_loop_at(item=item, case=case, at=instant)


def _refuse_loop_at(*, item: Item, case: Item, at: datetime) -> None:
    holder: int | None = case.pk
    for _depth in range(DEEPEST):
        if holder is None:
            return
        if holder == item.pk:
            if case.pk == item.pk:
                raise CaseLoop(f"{item} cannot be packed in itself.")
            raise CaseLoop(f"{item} cannot go in {case}: {case} is packed in {item}.")
        holder = (
            Placement.objects.filter(item_id=holder, effective_at__lte=at)
            .order_by(*NEWEST_FIRST)
            .values_list("case_id", flat=True)
            .first()
        )
    raise CaseLoop(f"{item} cannot go in {case}: cases are packed in cases {DEEPEST} deep.")
