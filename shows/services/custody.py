"""Bring the record in step with the fold: checkouts, contradictions, the items' custody, heads and the use ledger.

Everything written here is derived: delete it all and refold, and the same rows come back.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import connection, models, transaction

from company.clock import now
from inventory.calc.kinds import Evidence
from inventory.models import Item, Label, Placement
from shows.calc import custody as calc
from shows.calc.words import Action, Outcome, ShowState, Signal
from shows.models import Checkout, Contradiction, CustodyHead, PullRow, Scan, Show
from shows.services.ledger import ledger_write, occasion

CHUNK = 2_000
MOST_KEYS = 20_000  # in one question; databases have a limit
FOLDED = (Action.OUT, Action.TRUCK, Action.BACK, Action.INSPECT)
STAY_FIELDS = (
    "opened_uid",
    "opened_at",
    "opened_by_id",
    "evidence",
    "truck_uid",
    "truck_at",
    "closed_uid",
    "closed_at",
    "closed_by_id",
    "closed_evidence",
    "ended",
)
HEAD_FIELDS = [
    "last_effective_at",
    "last_device",
    "last_seq",
    "last_uid",
    "seen_at",
    "seen_by_id",
    "evidence",
    "folds",
]
CHANGING = STAY_FIELDS[3:]  # what may change of a checkout while its opening stays what it is


@dataclass(kw_only=True)
class Held:
    """What the record holds of some items before a fold: heads, checkouts, and the custody written on the items."""

    heads: dict[int, calc.Head] = field(default_factory=dict)
    folds: dict[int, int] = field(default_factory=dict)
    checkouts: dict[int, list[tuple[int, calc.Stay]]] = field(default_factory=lambda: defaultdict(list))
    custody: dict[int, tuple[str, int | None, datetime | None]] = field(default_factory=dict)


def heads_lock(item_ids: Iterable[int]) -> dict[int, CustodyHead]:
    """Make the heads that are missing and hold them all, in the order of the items, until the transaction ends.

    Making comes first and takes no lock on a head that is there: two transactions that each hold a head and wait to make
    the other's could otherwise wait for ever.
    """
    ids = sorted(set(item_ids))
    there = set(CustodyHead.objects.filter(pk__in=ids).values_list("pk", flat=True))
    missing = [CustodyHead(item_id=item) for item in ids if item not in there]
    if missing:
        CustodyHead.objects.bulk_create(missing, ignore_conflicts=True)
    return {h.pk: h for h in CustodyHead.objects.select_for_update().filter(pk__in=ids).order_by("pk")}


def held_of(item_ids: Iterable[int], rows: dict[int, CustodyHead], *, only_open: bool) -> Held:
    """Read what the record holds of items whose heads are locked."""
    ids = sorted(set(item_ids))
    held = Held()
    checkouts = Checkout.objects.filter(item__in=ids)
    if only_open:
        checkouts = checkouts.filter(closed_at=None)
    for pk, item, show, *rest in checkouts.order_by("item", "opened_at", "pk").values_list(
        "pk", "item_id", "show_id", *STAY_FIELDS
    ):
        held.checkouts[item].append((pk, _stay(show, rest)))
    for pk, where, show, since in Item.objects.filter(pk__in=ids).values_list("pk", "custody", "custody_show", "custody_since"):
        held.custody[pk] = (where, show, since)
    for item in ids:
        row = rows[item]
        held.folds[item] = row.folds
        last = None
        if row.last_effective_at is not None and row.last_uid is not None:
            last = (row.last_effective_at, row.last_device, row.last_seq, row.last_uid)
        stays = held.checkouts[item]
        held.heads[item] = calc.Head(
            stay=stays[-1][1] if stays and stays[-1][1].closed_at is None else None,
            evidence=row.evidence,
            seen_at=row.seen_at,
            seen_by=row.seen_by_id,
            last=last,
            since=held.custody[item][2] if item in held.custody else None,
        )
    return held


def _stay(show: int, fields: Sequence) -> calc.Stay:
    return calc.Stay(show=show, **{name.removesuffix("_id"): value for name, value in zip(STAY_FIELDS, fields, strict=True)})


def show_times(show_ids: Iterable[int | None]) -> dict[int, calc.ShowTimes]:
    """Read what the fold needs of shows."""
    wanted = {show for show in show_ids if show is not None}
    if not wanted:
        return {}
    rows = Show.objects.filter(pk__in=wanted).order_by().values_list("pk", "name", "load_in", "strike", "closed_at", "state")
    return {
        pk: calc.ShowTimes(
            id=pk,
            name=name,
            load_in=load_in,
            strike=strike,
            closed_at=closed_at,
            cancelled=state == ShowState.CANCELLED,
        )
        for pk, name, load_in, strike, closed_at, state in rows
    }


# who lay in what, ever


def contents_ever(item_ids: Iterable[int]) -> set[int]:
    """Return these items and everything that ever lay in them, at any depth: one query a depth."""
    reached, edge = set(item_ids), set(item_ids)
    while edge:
        inside = Placement.objects.filter(case__in=edge).order_by().values_list("item_id", flat=True).distinct()
        edge = set(inside) - reached
        reached |= edge
    return reached


def cases_ever(item_ids: Iterable[int]) -> set[int]:
    """Return these items and every case they ever lay in, at any depth: one query a depth."""
    reached, edge = set(item_ids), set(item_ids)
    while edge:
        around = Placement.objects.filter(item__in=edge, case__isnull=False).order_by()
        edge = set(around.values_list("case_id", flat=True).distinct()) - reached
        reached |= edge
    return reached


def puts_about(case_ids: Iterable[int]) -> list[calc.Put]:
    """Return every placement of everything that ever lay directly in these cases."""
    inside = Placement.objects.filter(case__in=list(case_ids)).order_by().values("item_id")
    rows = Placement.objects.filter(item__in=inside).order_by()
    return [
        calc.Put(key=(at, device, seq, uid), item=item, case=case)
        for at, device, seq, uid, item, case in rows.values_list("effective_at", "device", "seq", "uid", "item_id", "case_id")
    ]


def names_of(item_ids: Iterable[int]) -> dict[int, str]:
    """Return what people call these items."""
    return {item.pk: item.label for item in Item.objects.filter(pk__in=list(item_ids)).select_related("type").order_by()}


# undos


def undos_about(uids: Iterable[UUID]) -> list[calc.Undo]:
    """Return every undo of these scans, undos of those undos and so on: one query a depth."""
    found: dict[UUID, calc.Undo] = {}
    edge = sorted(set(uids))
    while edge:
        onward: list[UUID] = []
        for start in range(0, len(edge), MOST_KEYS):
            part = edge[start : start + MOST_KEYS]
            rows = Scan.objects.filter(undoes__in=part, action=Action.UNDO).exclude(outcome=Outcome.REFUSED).order_by()
            for undo in _undos(rows):
                if undo.uid not in found:
                    found[undo.uid] = undo
                    onward.append(undo.uid)
        edge = onward
    return list(found.values())


def _undos(rows) -> list[calc.Undo]:
    return [
        calc.Undo(uid=uid, undoes=undoes, key=(at, device, seq, uid))
        for uid, undoes, at, device, seq in rows.values_list("uid", "undoes", "effective_at", "device", "seq")
    ]


# the whole fold of some items


def history_fold(
    item_ids: Iterable[int],
    *,
    events: Sequence[calc.Event] = (),
    undos: Sequence[calc.Undo] = (),
) -> calc.Folded:
    """Fold these items from their birth: their own scans and those of every case they ever lay in.

    `events` and `undos` are about to be written and are not on record yet.
    """
    wanted = frozenset(item_ids)
    around = cases_ever(wanted)
    cases = around - wanted | set(Item.objects.filter(pk__in=wanted, type__kind="case").order_by().values_list("pk", flat=True))
    item_of = dict(Item.objects.filter(pk__in=around).order_by().values_list("code", "pk"))
    item_of.update(Label.objects.filter(item__in=around).order_by().values_list("code", "item_id"))
    scans = Scan.objects.filter(code__in=list(item_of), action__in=FOLDED).exclude(outcome=Outcome.REFUSED).order_by()
    rows = list(
        scans.values_list(
            "uid",
            "effective_at",
            "device",
            "seq",
            "code",
            "action",
            "show_id",
            "ticked",
            "actor_id",
            "counted",
            "missing",
            "signal",
            "reason",
        )
    )
    told = undos_about({row[0] for row in rows} | {e.uid for e in events} | {u.uid for u in undos})
    gone = calc.undone([*told, *undos])
    lacking = {code for row in rows for code in row[10]} - set(item_of)
    missing_of = (
        dict(Label.objects.filter(code__in=lacking, item__isnull=False).values_list("code", "item_id")) if lacking else {}
    )
    missing_of.update(item_of)
    past = [
        calc.Event(
            uid=uid,
            effective_at=at,
            device=device,
            seq=seq,
            item=item_of[code],
            action=action,
            show=show,
            grade=Evidence.SAID if ticked else Evidence.SEEN,
            actor=actor,
            counted=counted,
            missing=frozenset(missing_of[code] for code in missing if code in missing_of),
            told=reason if signal == Signal.STOP and reason.startswith("Against advice") else "",
        )
        for uid, at, device, seq, code, action, show, ticked, actor, counted, missing, signal, reason in rows
        if uid not in gone and (show is not None or action != Action.OUT)
    ]
    every = [*past, *(e for e in events if e.uid not in gone and e.item in around)]
    folded = calc.fold(
        events=every,
        shows=show_times({e.show for e in every}),
        puts=puts_about(cases) if cases else (),
        names=names_of(cases) if cases else {},
        only=wanted,
    )
    for item in wanted - set(folded.items):
        folded.items[item] = calc.Custody(head=calc.Head())
    return folded


def project(*, folded: calc.Folded, held: Held, whole: bool, at: datetime) -> None:
    """Write what the fold says where it differs from what the record holds: the changed tail is rewritten, no more.

    `whole` says that the fold began at the items' birth and `held` has all their checkouts, not only the open one.
    """
    stale: list[int] = []
    fresh: list[Checkout] = []
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
            fields = {name: getattr(stay, name.removesuffix("_id")) for name in STAY_FIELDS}
            fresh.append(Checkout(item_id=item, show_id=stay.show, **fields))
    if stale:
        Checkout.objects.filter(pk__in=stale).delete()
    if changed:
        _update(Checkout, CHANGING, [[*(getattr(s, n.removesuffix("_id")) for n in CHANGING), pk] for pk, s in changed])
    if fresh:
        Checkout.objects.bulk_create(fresh)
    _heads_write(folded, held)
    _items_write(folded, held)
    _contradictions_write(folded, whole=whole)
    ledger_write(pairs=pairs, whole=folded.items if whole else (), at=at)


def _opened_alike(one: calc.Stay, other: calc.Stay) -> bool:
    return (one.show, one.opened_uid, one.opened_at, one.opened_by) == (
        other.show,
        other.opened_uid,
        other.opened_at,
        other.opened_by,
    )


def _update(model: type[models.Model], names: Sequence[str], rows: list[list[Any]]) -> None:
    """Set columns of many rows, each [*values, key], by one prepared statement: a CASE over thousands of keys, or an upsert
    of rows known to be there, takes several times as long."""
    fields: dict[str, Any] = {f.attname: f for f in model._meta.concrete_fields}
    key: Any = model._meta.pk
    ready = [
        [
            *(fields[n].get_db_prep_value(v, connection) for n, v in zip(names, row[:-1], strict=True)),
            row[-1],
        ]
        for row in rows
    ]
    quote = connection.ops.quote_name
    sets = ", ".join(f"{quote(fields[n].column)} = %s" for n in names)
    where = f"{quote(key.column)} = %s"
    with connection.cursor() as cursor:
        cursor.executemany(f"UPDATE {quote(model._meta.db_table)} SET {sets} WHERE {where}", ready)  # noqa: S608


def _heads_write(folded: calc.Folded, held: Held) -> None:
    rows = []
    for item, custody in sorted(folded.items.items()):
        head = custody.head
        last_at, device, seq, uid = head.last or (None, "", 0, None)
        seen = [head.seen_at, head.seen_by, head.evidence]
        rows.append([last_at, device, seq, uid, *seen, held.folds.get(item, 0) + 1, item])
    if rows:
        _update(CustodyHead, HEAD_FIELDS, rows)


def _items_write(folded: calc.Folded, held: Held) -> None:
    rows = []
    for item, custody in sorted(folded.items.items()):
        stay = custody.head.stay
        where = "" if stay is None else "truck" if stay.truck_at else "show"
        now_held = (where, stay.show if stay else None, custody.head.since)
        if held.custody.get(item) != now_held:
            rows.append([*now_held, item])
    if rows:
        _update(Item, ("custody", "custody_show", "custody_since"), rows)


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
    at = at or now()
    every = sorted(contents_ever(item_ids))
    for start in range(0, len(every), CHUNK):
        part = every[start : start + CHUNK]
        with transaction.atomic():
            rows = heads_lock(part)
            held = held_of(part, rows, only_open=False)
            project(folded=history_fold(part), held=held, whole=True, at=at)


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
    """A placement told late may change what a case's scan vouched for since."""
    later = CustodyHead.objects.filter(pk=item.pk, last_effective_at__gte=placement.effective_at)
    scanned = Scan.objects.filter(code=_case.code, effective_at__gte=placement.effective_at) if _case else None
    if later.exists() or (scanned is not None and scanned.exists()):
        items_refold(item_ids=[item.pk])
