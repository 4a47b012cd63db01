"""Between shows: cells left in stored gear, sets and stock past or near their date, labelled sets due a capacity test."""

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

from django.db.models import Exists, Max, OuterRef, Q, QuerySet, Subquery

from company.clock import today
from company.models import Company
from inventory.calc.kinds import Kind
from inventory.models import GearType, Item
from maintenance.calc.cell_words import Pool
from maintenance.cell_querysets import counting_capacity_tests, fitted_now, lots_counted, stock_of_types
from maintenance.models import CellLot, CellType, FittedSet, UseLedger
from maintenance.services.cell_types import plan_of

MOST = 200
SOON = timedelta(days=60)  # stock that expires so soon is used first, or given away
COMING = timedelta(days=14)  # cells may stay in what goes out again so soon
CAPACITY_EVERY = timedelta(days=182)  # our choice; sets are replaced after one to three years by common practice


@dataclass(frozen=True, kw_only=True)
class Stored:
    """A set in gear that lies in the shop: since when, and how long its type's plan lets it."""

    fitted: FittedSet
    since: date
    weeks: int


@dataclass(frozen=True, kw_only=True)
class Due:
    """A labelled set due a capacity test; `last` None: it never had one."""

    item: Item
    last: date | None


@dataclass(frozen=True, kw_only=True)
class BetweenShows:
    """What is to do with cells between shows, at most MOST of each, the longest overdue first."""

    stored: list[Stored] = field(default_factory=list)
    expired: list[FittedSet] = field(default_factory=list)
    expiring: list[CellLot] = field(default_factory=list)
    capacity: list[Due] = field(default_factory=list)

    def __bool__(self) -> bool:
        return bool(self.stored or self.expired or self.expiring or self.capacity)


def between_shows(at: datetime, most: int = MOST) -> BetweenShows:
    """Return what is to do with cells between shows, in a constant number of queries."""
    day = today(at)
    return BetweenShows(
        stored=stored_sets(at, most),
        expired=expired_sets(day, most),
        expiring=expiring_lots(day + SOON, most),
        capacity=capacity_due(day, most),
    )


def _here() -> QuerySet[FittedSet]:
    """Return what sits in gear that is in the shop."""
    here = fitted_now().filter(item__custody="", item__retired_on=None, item__gone_home_on=None, item__missing_since=None)
    return here.filter(item__lent_to="").select_related("item__type", "type", "lot")


def expired_sets(day: date, most: int = MOST) -> list[FittedSet]:
    """Return the sets in gear in the shop whose lot expired before a day, the longest ago first."""
    past = CellLot.objects.filter(expires_on__lt=day).order_by("expires_on").values_list("pk", flat=True)
    return list(_here().filter(lot__in=list(past[:most])).order_by("lot__expires_on", "pk")[:most])


def expiring_lots(until: date, most: int = MOST) -> list[CellLot]:
    """Return the new lots with something left that expire by a day, each with `left`, the soonest first."""
    lots = lots_counted(CellLot.objects.filter(pool=Pool.NEW, expires_on__lte=until)).filter(left__gt=0)
    return list(lots.select_related("type", "place").order_by("expires_on", "pk")[:most])


def types_low() -> list[tuple[CellType, int]]:
    """Return (type, left) of the cells that run low, where the shop has had such cells or owns gear that takes them."""
    types = list(CellType.objects.filter(keep_at_least__gt=0).order_by("size", "name"))
    stock = stock_of_types()
    had = set(CellLot.objects.filter(type__in=types, pool=Pool.NEW).values_list("type", flat=True))
    takes = set(Item.objects.owned().filter(type__bays__gt=0).order_by().values_list("type__cell_size", flat=True).distinct())
    left = [(type_, stock.get(type_.pk, 0)) for type_ in types if type_.pk in had or type_.key in takes]
    return [(type_, number) for type_, number in left if number < type_.keep_at_least]


def stored_sets(at: datetime, most: int = MOST) -> list[Stored]:
    """Return the sets that have sat unused in gear in the shop for longer than its type lets them, the longest first."""
    types = list(GearType.objects.filter(Q(bays__gt=0)))
    plans = plan_of(types)
    weeks: dict[int, list[int]] = {}
    for type_ in types:
        weeks.setdefault(plans[type_.pk].stored_weeks, []).append(type_.pk)
    if not weeks:
        return []
    used = UseLedger.objects.filter(item=OuterRef("item")).order_by()
    long, day = Q(), today(at)
    for number, of in weeks.items():
        before = at - timedelta(weeks=number)
        lately = Exists(used.filter(state="done", day__gte=day - timedelta(weeks=number)))
        long |= Q(item__type__in=of, fitted_at__lt=before) & ~Q(lately)
    soon = Exists(used.filter(state="planned", day__gte=day, day__lte=day + COMING))
    # oldest first by the index of what is fitted now, so that the database may stop once it has enough
    rows = list(_here().filter(long).exclude(soon).order_by("fitted_at", "pk")[:most])
    done = UseLedger.objects.filter(item__in=[row.item_id for row in rows], state="done").order_by()
    zone = Company.current().zone
    last = dict(done.values_list("item").annotate(d=Max("day")))
    found = [
        Stored(
            fitted=row,
            since=max(last.get(row.item_id, date.min), row.fitted_at.astimezone(zone).date()),
            weeks=plans[row.item.type_id].stored_weeks,
        )
        for row in rows
    ]
    return sorted(found, key=lambda one: (one.since, one.fitted.pk))


def capacity_due(day: date, most: int = MOST) -> list[Due]:
    """Return the labelled sets due a capacity test, those tested longest ago first."""
    tests = (
        counting_capacity_tests().filter(item=OuterRef("pk")).order_by().values("item").annotate(d=Max("done_at")).values("d")
    )
    before = day - CAPACITY_EVERY
    sets = Item.objects.owned().filter(type__kind=Kind.CELL_SET).select_related("type").annotate(last=Subquery(tests))
    due = sets.filter(Q(last__date__lt=before) | Q(last=None, added_at__date__lt=before))
    zone = Company.current().zone
    rows = due.order_by("last", "pk")[:most]
    return [Due(item=item, last=item.last.astimezone(zone).date() if item.last else None) for item in rows]
