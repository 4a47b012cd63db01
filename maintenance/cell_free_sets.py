"""Labelled rechargeable sets that sit in nothing and may go into a device for a show; constant queries."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.calc import cells
from maintenance.calc.cell_fits import Labelled
from maintenance.calc.cell_words import CellError, CellKind
from maintenance.cell_querysets import counting_capacity_tests
from maintenance.models import CellType, Charge, FittedSet
from maintenance.services.cell_types import kind_of

SYSTEMS = {"nickel-metal": ("nimh", "nickel", "hr"), "lithium-ion": ("liion", "lithium ion", "lithiumion")}


@dataclass(frozen=True, kw_only=True)
class FreeSet:
    """A labelled set in nothing, as an item and as the sums want it."""

    item: Item
    labelled: Labelled


def kind_or_none(row: CellType) -> CellKind | None:
    """Return a type as the sums want it; none where its figures cannot be read."""
    try:
        return kind_of(row)
    except (CellError, TypeError, ValueError, KeyError):
        return None


def sets_free(
    types: Sequence[CellType], kinds: Mapping[int, CellKind], shows: Iterable[int], at: datetime
) -> dict[str, FreeSet]:
    """Return {code: set} of those that sit in no device, are in the shop or out to these shows, and whose make-up is known."""
    here = Q(custody="") | Q(custody_show__in=list(shows))
    items = list(
        Item.objects.filter(here, type__kind=Kind.CELL_SET, retired_on=None, gone_home_on=None, missing_since=None, lent_to="")
        .exclude(pk__in=FittedSet.objects.filter(removed_at=None, cell_set__isnull=False).values("cell_set"))
        .select_related("type__cell_set_facts")
        .order_by("name", "code")
    )
    keys = [item.pk for item in items]
    measured = dict(
        counting_capacity_tests().filter(item__in=keys, done_at__lte=at).order_by("done_at", "pk").values_list("item", "mah")
    )
    charged = dict(Charge.objects.filter(item__in=keys, withdrawn_at=None, at__lte=at).order_by("at").values_list("item", "at"))
    out = dict(
        FittedSet.objects.filter(cell_set__in=keys, removed_at__isnull=False, removed_at__lte=at)
        .order_by("removed_at")
        .values_list("cell_set", "removed_at")
    )
    found = {}
    for item in items:
        facts = getattr(item.type, "cell_set_facts", None)
        row = made_of(item, types)
        kind = kinds.get(row.pk) if row is not None else None
        if row is None or kind is None or facts is None or not facts.cells:
            continue
        mah = measured.get(item.pk) or facts.capacity_mah
        full = charged.get(item.pk)
        labelled = Labelled(
            key=item.code,
            name=item.label,
            size=row.size,
            cells=facts.cells,
            kind=cells.rated(kind, mah) if mah else kind,
            charged=full is not None and ((came_out := out.get(item.pk)) is None or full >= came_out),
        )
        found[item.code] = FreeSet(item=item, labelled=labelled)
    return found


def made_of(item: Item, types: Sequence[CellType]) -> CellType | None:
    """Return what a labelled set is made of: the cell its type names, else the one rechargeable of its system and size."""
    named = next((row for row in types if row.key == item.type.cell_size), None)
    if named is not None:
        return named
    facts = getattr(item.type, "cell_set_facts", None)
    said = (facts.chemistry if facts else "").lower().replace("-", "")
    system = next((key for key, words in SYSTEMS.items() if any(word in said for word in words)), None)
    mine = [row for row in types if row.rechargeable and row.size == item.type.cell_size and system in (None, row.system)]
    return min(mine, key=lambda row: row.key, default=None)
