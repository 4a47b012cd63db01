"""What gets used up, what is worn out, and what there is to buy: questions over the ledger, none a row."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, F, Max, Q, Sum
from django.http import HttpRequest

from company.templatetags.tape import day, metres
from inventory.calc.kinds import CountCondition, Kind
from inventory.calc.stock import UsedAShow, to_buy, used_a_show
from inventory.models import ConsumableFacts, CountedLine, CountMove, Item
from inventory.registries import LAST_SEEN, Wanted

Why = CountMove.Why
TO_BUY, TO_REPLACE, TO_FIND = "Running low", "Worn out and lost", "Missing: find it, or buy another"


@dataclass(frozen=True, kw_only=True)
class Consumable:
    """What a shop keeps of one consumable, and how fast it goes."""

    unit: str
    keep_at_least: int
    buy_by: int
    used: UsedAShow | None

    def buy(self, left: int) -> int:
        return to_buy(left=left, keep_at_least=self.keep_at_least, buy_by=self.buy_by)


def consumables(lines: Iterable[CountedLine]) -> dict[int, Consumable]:
    """Return, for each consumable line, its level and what a show uses up: two queries. Only shows that took any and owe
    nothing any more count."""
    kept = [line for line in lines if line.type.kind == Kind.CONSUMABLE]
    if not kept:
        return {}
    facts = {facts.type_id: facts for facts in ConsumableFacts.objects.filter(type__in={line.type_id for line in kept})}
    used: dict[int, list[int]] = defaultdict(list)
    rows = (
        CountMove.objects.filter(line__in=kept, show__isnull=False)
        .order_by()
        .values("line", "show")
        .annotate(
            took=-Sum("delta", filter=Q(why=Why.OUT) | Q(why=Why.UNDONE, note=Why.OUT)),
            still_out=-Sum("delta"),
            used=Sum("delta", filter=Q(why=Why.USED_UP) | Q(why=Why.UNDONE, note=Why.USED_UP), default=0),
        )
    )
    for row in rows:
        if (row["took"] or 0) > 0 and not row["still_out"]:
            used[row["line"]].append(row["used"])
    found = {}
    for line in kept:
        fact = facts.get(line.type_id)
        found[line.pk] = Consumable(
            unit=fact.unit if fact else "piece",
            keep_at_least=fact.keep_at_least if fact else 0,
            buy_by=fact.buy_by if fact else 1,
            used=used_a_show(used[line.pk]),
        )
    return found


def low_consumables() -> list[tuple[CountedLine, Consumable, int]]:
    """Return (line, what is kept of it, how many to buy) of consumables under their level."""
    lines = list(
        CountedLine.objects.filter(type__kind=Kind.CONSUMABLE, type__consumable_facts__keep_at_least__gt=0).described()
    )
    kept = consumables(lines)
    return [(line, kept[line.pk], buy) for line in lines if (buy := kept[line.pk].buy(line.on_shelf))]


def shopping_low(request: HttpRequest, at: datetime) -> Iterable[Wanted]:
    """Want every consumable that is under its level, in the packs it is sold in."""
    for line, kept, buy in low_consumables():
        why = f"{max(line.on_shelf, 0)} left, keep at least {kept.keep_at_least}"
        if line.out:
            why += f"; {line.out} are out"
        if kept.used:
            why += f"; a show uses {used_words(kept.used)}"
        yield Wanted(
            what=line.label,
            count=buy,
            unit=kept.unit,
            why=why,
            group=TO_BUY,
            url=line.get_absolute_url(),
            cents=line.type.replacement_cents,
            line_id=line.pk,
        )


def used_words(used: UsedAShow) -> str:
    """Write 2.3 (0 to 5, over 3 shows): a range, never a promise."""
    if used.shows == 1:
        return f"{used.most}, at the one show so far"
    return f"about {used.mean:g} ({used.least} to {used.most}, over {used.shows} shows)"


def shopping_worn(request: HttpRequest, at: datetime) -> Iterable[Wanted]:
    """Want what counted lines lost, threw away or found bad since any was last bought: what is fit to go out is so many
    fewer."""
    last_bought = dict(
        CountMove.objects.filter(why=Why.BOUGHT).order_by().values("line").annotate(last=Max("pk")).values_list("line", "last")
    )
    good_gone = Q(show=None, condition=CountCondition.GOOD)
    came_back_bad = Q(show__isnull=False, condition=CountCondition.BAD)
    rows = (
        CountMove.objects.filter(good_gone | came_back_bad)
        .exclude(line__type__kind=Kind.CONSUMABLE)
        .exclude(why__in=[Why.BOUGHT, Why.LABELLED])
        .exclude(why=Why.UNDONE, note__in=[Why.BOUGHT, Why.LABELLED])
        .values_list("pk", "line", "why", "note", "condition", "delta")
    )
    fewer: dict[int, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for pk, line, why, note, condition, delta in rows:
        if pk > last_bought.get(line, 0):
            gone = delta if condition == CountCondition.BAD else -delta
            fewer[line][note if why == Why.UNDONE else why] += gone
    wanted = {line: sum(reasons.values()) for line, reasons in fewer.items() if sum(reasons.values()) > 0}
    for line in CountedLine.objects.filter(pk__in=wanted).described():
        yield Wanted(
            what=line.label,
            count=wanted[line.pk],
            why=_worn_words(fewer[line.pk]),
            group=TO_REPLACE,
            url=line.get_absolute_url(),
            cents=line.type.replacement_cents,
            line_id=line.pk,
        )


_WORN = {
    Why.BACK: "{} came back bad",
    Why.FOUND_BAD: "{} found bad",
    Why.THROWN_AWAY: "{} good ones thrown away",
    Why.LOST: "{} lost",
    Why.RECOUNTED: "{} fewer at a recount",
    Why.USED_UP: "{} used up",
}


def _worn_words(reasons: dict[str, int]) -> str:
    said = [_WORN[Why(why)].format(count) for why, count in reasons.items() if count > 0 and why in _WORN]
    better = -sum(count for count in reasons.values() if count < 0)
    if better:
        said.append(f"{better} mended or found")
    return ", ".join(said) + ", since any were bought"


def shopping_missing(request: HttpRequest, at: datetime) -> Iterable[Wanted]:
    """Want one for every labelled thing that is missing: by type and length."""
    rows = (
        Item.objects.owned()
        .filter(missing_since__isnull=False, borrowed_from="")
        .order_by("type__name", "length_mm")
        .values("length_mm", called=F("type__name"), cents=F("type__replacement_cents"))
        .annotate(count=Count("pk"))
    )
    seen: dict[tuple[str, int], datetime] = {}
    lost = Item.objects.owned().filter(missing_since__isnull=False, borrowed_from="")
    for found in LAST_SEEN:
        for called, length_mm, at_last in found(lost):
            seen[called, length_mm] = max(at_last, seen.get((called, length_mm), at_last))
    for row in rows:
        last = seen.get((row["called"], row["length_mm"]))
        yield Wanted(
            what=" ".join(part for part in (row["called"], metres(row["length_mm"])) if part),
            count=row["count"],
            why=f"not seen since {day(last)}" if last else "never scanned",
            group=TO_FIND,
            cents=row["cents"],
        )
