"""What the record holds of items, and the whole fold of some: heads, stays, who lay in what, undos, scans from their birth."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import NamedTuple
from uuid import UUID

from django.db import connection

from inventory.calc.kinds import Evidence
from inventory.models import Item, Label, Placement
from maintenance.minding import with_call
from shows.calc import evidence as calc
from shows.calc.custody import fold
from shows.calc.words import Action, Outcome, Signal
from shows.models import Checkout, CustodyHead, Scan
from shows.services.programme import Programme

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
SCANNED = (
    "code",
    "type__name",
    "type__kind",
    "type__has_standing",
    "name",
    "length_mm",
    "borrowed_from",
    "gone_home_on",
    "lent_to",
    "lent_on",
    "lent_home_by",
    "retired_on",
    "suspect_since",
    "test_by",
    "tested_on",
    "excepts",
    "missing_since",
    "label_gone_since",
    "at__name",
    "at__sort",
    "in_case",
    "custody",
    "custody_show",
    "custody_since",
)

Written = tuple[str, int | None, datetime | None]  # custody, custody_show, custody_since of an item


class HeadRow(NamedTuple):
    """A custody head as it is read: how far an item is folded, who saw it last."""

    pk: int
    last_effective_at: datetime | None
    last_device: str
    last_seq: int
    last_uid: UUID | None
    seen_at: datetime | None
    seen_by_id: int | None
    evidence: str
    folds: int


@dataclass(kw_only=True)
class Held:
    """What the record holds of some items before a fold: heads, checkouts, and the custody written on the items."""

    heads: dict[int, calc.Head] = field(default_factory=dict)
    folds: dict[int, int] = field(default_factory=dict)
    checkouts: dict[int, list[tuple[int, calc.Stay]]] = field(default_factory=lambda: defaultdict(list))
    custody: dict[int, Written] = field(default_factory=dict)


def heads_lock(item_ids: Iterable[int]) -> dict[int, HeadRow]:
    """Make the heads that are missing and hold them all, in the order of the items, until the transaction ends.

    The items themselves are held before, as whoever packs one does. Making comes next and takes no lock on a head that is
    there: two transactions that each hold a head and wait to make the other's could otherwise wait for ever. Where the
    database has one writer at a time, nobody waits for a row.
    """
    ids = sorted(set(item_ids))
    heads = CustodyHead.objects.filter(pk__in=ids).order_by("pk")
    if not connection.features.has_select_for_update:
        held = _head_rows(heads)
        if len(held) == len(ids):
            return held
    list(Item.objects.select_for_update(no_key=True).filter(pk__in=ids).order_by("pk").values_list("pk"))
    there = set(heads.values_list("pk", flat=True))
    missing = [CustodyHead(item_id=item) for item in ids if item not in there]
    if missing:
        CustodyHead.objects.bulk_create(missing, ignore_conflicts=True)
    return _head_rows(heads.select_for_update())


def _head_rows(heads) -> dict[int, HeadRow]:
    return {row[0]: HeadRow(*row) for row in heads.values_list(*HeadRow._fields)}


def held_of(
    item_ids: Iterable[int],
    rows: Mapping[int, HeadRow],
    *,
    only_open: bool,
    custody: Mapping[int, Written] | None = None,
) -> Held:
    """Read what the record holds of items whose heads are locked; `custody` where that has been read since."""
    ids = sorted(set(item_ids))
    held = Held()
    checkouts = Checkout.objects.filter(item__in=ids)
    checkouts = checkouts.filter(closed_at=None).order_by() if only_open else checkouts.order_by("item", "opened_at", "pk")
    for pk, item, show, *rest in checkouts.values_list("pk", "item_id", "show_id", *STAY_FIELDS):
        held.checkouts[item].append((pk, _stay(show, rest)))
    if custody is None:
        written = Item.objects.filter(pk__in=ids).order_by().values_list("pk", "custody", "custody_show", "custody_since")
        custody = {pk: (where, show, since) for pk, where, show, since in written}
    for item in ids:
        row = rows[item]
        held.folds[item] = row.folds
        held.custody[item] = custody[item]
        last = None
        if row.last_effective_at is not None and row.last_uid is not None:
            last = (row.last_effective_at, row.last_device, row.last_seq, row.last_uid)
        stays = held.checkouts.get(item)
        held.heads[item] = calc.Head(
            stay=stays[-1][1] if stays and stays[-1][1].closed_at is None else None,
            evidence=row.evidence,
            seen_at=row.seen_at,
            seen_by=row.seen_by_id,
            last=last,
            since=custody[item][2],
        )
    return held


def _stay(show: int, fields: Sequence) -> calc.Stay:
    return calc.Stay(show=show, **{name.removesuffix("_id"): value for name, value in zip(STAY_FIELDS, fields, strict=True)})


def items_of_codes(codes: Iterable[str]) -> dict[str, tuple[int, str]]:
    """Return (item, kind) by code, of an item itself or of any label bound to one: a second question only for labels."""
    wanted = set(codes)
    if not wanted:
        return {}
    items = Item.objects.filter(code__in=wanted).order_by().values_list("code", "pk", "type__kind")
    found = {code: (item, kind) for code, item, kind in items}
    if others := wanted - set(found):
        labels = Label.objects.filter(code__in=others, item__isnull=False).order_by()
        for code, item, kind in labels.values_list("code", "item_id", "item__type__kind"):
            found[code] = (item, kind)
    return found


def items_read(item_ids: Iterable[int]) -> dict[int, Item]:
    """Read of these items what a scan must know: with few columns, since a batch has hundreds."""
    wanted = set(item_ids)
    return with_call(Item.objects.select_related("type", "at").only(*SCANNED)).in_bulk(wanted) if wanted else {}


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
    programme: Programme | None = None,
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
            "outcome",
            "signal",
            "reason",
            "said",
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
            told=reason if signal == Signal.STOP and outcome != Outcome.UNKNOWN else "",
            said=said,
            answered=signal,
        )
        for uid, at, device, seq, code, action, show, ticked, actor, counted, missing, outcome, signal, reason, said in rows
        if uid not in gone and (show is not None or action != Action.OUT)
    ]
    every = [*past, *(e for e in events if e.uid not in gone and e.item in around)]
    folded = fold(
        events=every,
        shows=(programme or Programme()).times({e.show for e in every}),
        puts=puts_about(cases) if cases else (),
        names=names_of(cases) if cases else {},
        only=wanted,
    )
    for item in wanted - set(folded.items):
        folded.items[item] = calc.Custody(head=calc.Head())
    return folded
