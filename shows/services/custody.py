"""Bring the record in step with the fold: checkouts, contradictions, the items' custody, heads and the use ledger.

Everything written here is derived: delete it all and refold, and the same rows come back.
"""

from collections.abc import Iterable
from datetime import datetime
from operator import attrgetter

from django.db import transaction

from company.clock import now
from company.rows import rows_insert, rows_update
from inventory.models import Item, Label, Placement
from shows.calc import evidence as calc
from shows.models import Checkout, Contradiction, CustodyHead, PullRow, Scan
from shows.services.history import STAY_FIELDS, Held, cases_ever, contents_ever, heads_lock, held_of, history_fold
from shows.services.ledger import ledger_write, occasion
from shows.services.programme import Programme

CHUNK = 2_000
HEAD_FIELDS = (
    "last_effective_at",
    "last_device",
    "last_seq",
    "last_uid",
    "seen_at",
    "seen_by_id",
    "evidence",
    "folds",
)
CHANGING = STAY_FIELDS[3:]  # what may change of a checkout while its opening stays what it is
stay_values = attrgetter(*(name.removesuffix("_id") for name in STAY_FIELDS))
changing_values = attrgetter(*(name.removesuffix("_id") for name in CHANGING))


def project(*, folded: calc.Folded, held: Held, whole: bool, at: datetime, programme: Programme) -> None:
    """Write what the fold says where it differs from what the record holds: the changed tail is rewritten, no more.

    `whole` says that the fold began at the items' birth and `held` has all their checkouts, not only the open one.
    """
    stale: list[int] = []
    fresh: list[tuple] = []
    changed: list[tuple[int, calc.Stay]] = []
    pairs: set[tuple[int, int]] = set()
    for item, custody in sorted(folded.items.items()):
        before = held.checkouts.get(item, [])
        same = 0
        while same < min(len(before), len(custody.stays)) and before[same][1] == custody.stays[same]:
            same += 1
        after = list(custody.stays[same:])
        if after and len(before) == same + 1 and _opened_alike(before[same][1], after[0]):
            changed.append((before[same][0], after.pop(0)))
            pairs.add((item, before[same][1].show))
        else:
            stale += [pk for pk, _stay in before[same:]]
            pairs |= {(item, stay.show) for _pk, stay in before[same:]}
        for stay in after:
            pairs.add((item, stay.show))
            fresh.append((item, stay.show, *stay_values(stay)))
    if stale:
        Checkout.objects.filter(pk__in=stale).delete()
    rows_update(Checkout, CHANGING, [(*changing_values(stay), pk) for pk, stay in changed])
    rows_insert(Checkout, ("item_id", "show_id", *STAY_FIELDS), fresh)
    _heads_write(folded, held)
    _items_write(folded, held)
    _contradictions_write(folded, whole=whole)
    ledger_write(pairs=pairs, whole=folded.items if whole else (), at=at, programme=programme)


def _opened_alike(one: calc.Stay, other: calc.Stay) -> bool:
    return (one.show, one.opened_uid, one.opened_at, one.opened_by) == (
        other.show,
        other.opened_uid,
        other.opened_at,
        other.opened_by,
    )


def _heads_write(folded: calc.Folded, held: Held) -> None:
    rows = []
    for item, custody in sorted(folded.items.items()):
        head = custody.head
        last_at, device, seq, uid = head.last or (None, "", 0, None)
        seen = [head.seen_at, head.seen_by, head.evidence]
        rows.append([last_at, device, seq, uid, *seen, held.folds.get(item, 0) + 1, item])
    rows_update(CustodyHead, HEAD_FIELDS, rows)


def _items_write(folded: calc.Folded, held: Held) -> None:
    rows = []
    for item, custody in sorted(folded.items.items()):
        stay = custody.head.stay
        where = "" if stay is None else "truck" if stay.truck_at else "show"
        now_held = (where, stay.show if stay else None, custody.head.since)
        if held.custody.get(item) != now_held:
            rows.append([*now_held, item])
    rows_update(Item, ("custody", "custody_show", "custody_since"), rows)


def _contradictions_write(folded: calc.Folded, *, whole: bool) -> None:
    rows = [
        Contradiction(
            item_id=c.item,
            scan_uid=c.uid,
            kind=c.kind,
            said=c.said,
            happened_at=c.happened_at,
            show_id=c.show,
            stands=True,
        )
        for c in folded.contradictions
    ]
    if whole:
        found = {(c.item, c.uid, str(c.kind)) for c in folded.contradictions}
        standing = Contradiction.objects.filter(item__in=list(folded.items), stands=True).order_by()
        gone = [
            pk
            for pk, item, uid, kind in standing.values_list("pk", "item_id", "scan_uid", "kind")
            if (item, uid, kind) not in found
        ]
        if gone:
            Contradiction.objects.filter(pk__in=gone).update(stands=False)
    if rows:
        Contradiction.objects.bulk_create(
            rows,
            update_conflicts=True,
            unique_fields=["item", "scan_uid", "kind"],
            update_fields=["said", "happened_at", "show", "stands"],
        )


def items_refold(*, item_ids: Iterable[int], at: datetime | None = None) -> None:
    """Fold these items, and all that ever lay in them, from their birth. Queries are constant for each 2,000 items."""
    at, programme = at or now(), Programme()
    every = sorted(contents_ever(item_ids))
    for start in range(0, len(every), CHUNK):
        part = every[start : start + CHUNK]
        with transaction.atomic():
            rows = heads_lock(part)
            held = held_of(part, rows, only_open=False)
            folded = history_fold(part, programme=programme)
            project(folded=folded, held=held, whole=True, at=at, programme=programme)


def show_refold(*, show_id: int, at: datetime | None = None) -> None:
    """Fold what went to a show again: for when its times or its state changed, or its pull list did."""
    items = set(Checkout.objects.filter(show=show_id).order_by().values_list("item_id", flat=True))
    items |= set(PullRow.objects.filter(show=show_id, item__isnull=False).order_by().values_list("item_id", flat=True))
    items |= set(Contradiction.objects.filter(show=show_id).order_by().values_list("item_id", flat=True))
    items |= set(Item.objects.filter(use__occasion=occasion(show_id)).order_by().values_list("pk", flat=True))
    if items:
        items_refold(item_ids=items, at=at)


def after_bind(item_ids: list[int]) -> None:
    """A label was bound: scans made with it before count from now on."""
    codes = Label.objects.filter(item__in=item_ids).values("code")
    if Scan.objects.filter(code__in=codes).exists():
        items_refold(item_ids=item_ids)


def after_placement(item: Item, _case: Item | None, placement: Placement) -> None:
    """A placement told late may change what the scan of a case vouched for since: of this case, or of one it lies in."""
    later = CustodyHead.objects.filter(pk=item.pk, last_effective_at__gte=placement.effective_at)
    if later.exists() or (_case is not None and _case_scanned(item, since=placement.effective_at)):
        items_refold(item_ids=[item.pk])


def _case_scanned(item: Item, *, since: datetime) -> bool:
    """Say whether any case this item ever lay in, however deep, was scanned since, by whatever label it bore then."""
    cases = cases_ever([item.pk]) - {item.pk}
    codes = Item.objects.filter(pk__in=cases).order_by().values_list("code", flat=True)
    labels = Label.objects.filter(item__in=cases).order_by().values_list("code", flat=True)
    return Scan.objects.filter(code__in=codes.union(labels), effective_at__gte=since).exists()
