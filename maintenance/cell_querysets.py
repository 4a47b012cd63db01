"""Questions about many cells: what is left of lots, what sits where, which swaps and readings count."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date

from django.db.models import F, IntegerField, OuterRef, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce

from maintenance.calc.cell_words import Pool
from maintenance.models import CapacityTest, CellLot, CellMove, CellReading, FittedSet, Swap


def lots_counted(lots: QuerySet[CellLot] | None = None) -> QuerySet[CellLot]:
    """Return lots with `left`: how many the moves leave in each."""
    sums = CellMove.objects.filter(lot=OuterRef("pk")).order_by().values("lot").annotate(n=Sum("delta")).values("n")
    rows = CellLot.objects.all() if lots is None else lots
    return rows.annotate(left=Coalesce(Subquery(sums, output_field=IntegerField()), 0))


def stock_of_types(pool: str = Pool.NEW) -> dict[int, int]:
    """Return {cell type: how many of it lie in that pool}, in one query."""
    rows = CellMove.objects.filter(lot__pool=pool).order_by().values_list("lot__type").annotate(n=Sum("delta"))
    return {type_: number for type_, number in rows if type_ is not None}


def lots_to_take(*, sizes: Iterable[str], on: date) -> dict[str, list[CellLot]]:
    """Return {size: new lots with something left that have not run out by a day}, the oldest first, in one query.

    Oldest is by its date of expiry, then by the day it was bought; a lot with neither comes last.
    """
    wanted = CellLot.objects.filter(type__size__in=set(sizes), pool=Pool.NEW).exclude(expires_on__lt=on)
    rows = lots_counted(wanted).filter(left__gt=0).select_related("type")
    found: dict[str, list[CellLot]] = defaultdict(list)
    for lot in rows.order_by(F("expires_on").asc(nulls_last=True), F("bought_on").asc(nulls_last=True), "pk"):
        found[lot.type.size].append(lot)
    return dict(found)


def counting_swaps() -> QuerySet[Swap]:
    """Return the swaps that count: neither taken back nor rows that take one back."""
    return Swap.objects.filter(taken_back_by=None, takes_back=None)


def counting_readings() -> QuerySet[CellReading]:
    """Return the readings that count."""
    return CellReading.objects.filter(taken_back_by=None, takes_back=None)


def counting_capacity_tests() -> QuerySet[CapacityTest]:
    """Return the capacity tests that count."""
    return CapacityTest.objects.filter(taken_back_by=None, takes_back=None)


def fitted_now() -> QuerySet[FittedSet]:
    """Return what sits in bays."""
    return FittedSet.objects.filter(removed_at=None)
