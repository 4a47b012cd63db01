"""What lies in cases and how it compares with their plans: questions for many cases at once, none a row."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Count, F, Q, Window
from django.db.models.functions import Lag

from company.templatetags.tape import metres
from inventory.calc.kinds import unseen_words
from inventory.calc.packing import Packed, PackLine, Sort, pack_compare
from inventory.models import CasePlanLine, CountedLine, GearType, Item, Placement
from inventory.services.cases import case_counts

TOGETHER = timedelta(minutes=5)


@dataclass(frozen=True, kw_only=True)
class NamedLine:
    """One type and length of a case, in words."""

    name: str
    line: PackLine


@dataclass(frozen=True, kw_only=True)
class CaseReport:
    """A case against its plan, with the names of what is short and extra."""

    packed: Packed
    short: tuple[NamedLine, ...] = ()
    extra: tuple[NamedLine, ...] = ()
    suspect: int = 0

    @property
    def says(self) -> str:
        """Say in a few words whether it is packed as planned."""
        if not self.packed.has_plan:
            return "no plan"
        parts = []
        if self.packed.short:
            parts.append(f"{self.packed.short} short")
        if self.packed.extra:
            parts.append(f"{self.packed.extra} extra")
        return ", ".join(parts) or "as planned"


def contents_by_sort(case_ids: Iterable[int]) -> dict[int, Counter[Sort]]:
    """Return how many of each type and length lie in each case now, labelled and counted alike: three queries."""
    ids = list(case_ids)
    packed: dict[int, Counter[Sort]] = {case_id: Counter() for case_id in ids}
    rows = (
        Item.objects.owned()
        .filter(in_case_id__in=ids)
        .order_by()
        .values("in_case_id", "type_id", "length_mm")
        .annotate(held=Count("pk"))
    )
    for row in rows:
        packed[row["in_case_id"]][(row["type_id"], row["length_mm"])] += row["held"]
    counts = case_counts(ids)
    line_ids = {line_id for lines in counts.values() for line_id in lines}
    sorts = {
        pk: (type_id, mm)
        for pk, type_id, mm in CountedLine.objects.filter(pk__in=line_ids).values_list("pk", "type_id", "length_mm")
    }
    for case_id, lines in counts.items():
        for line_id, count in lines.items():
            packed[case_id][sorts[line_id]] += count
    return packed


@dataclass(kw_only=True)
class Passage:
    """Things of one sort that went into a case, or left it, together: at one minute, by one hand."""

    at: datetime
    said: str
    who: str
    what: str
    items: list[Item]
    other: Item | None = None

    @property
    def count(self) -> int:
        return len(self.items)


def case_history(case: Item, most: int) -> list[Passage]:
    """Return what went into a case, left it, and where the case itself was packed, the newest first: one query."""
    ever_in = Placement.objects.filter(case=case).values("item")
    moves = (
        Placement.objects.filter(Q(item__in=ever_in) | Q(item=case))
        .annotate(
            before=Window(
                Lag("case_id"),
                partition_by="item",
                order_by=[F("effective_at").asc(), F("device").asc(), F("seq").asc(), F("uid").asc()],
            )
        )
        .filter(Q(case=case) | Q(before=case.pk) | Q(item=case))
        .select_related("item__type", "case__type", "person")
        .order_by("-effective_at", "-pk")[: most * 10]
    )
    passages: list[Passage] = []
    for move in moves:
        if move.item_id == case.pk:
            said, other = ("this case was packed in" if move.case else "this case came out of its case"), move.case
        elif move.case_id == case.pk:
            said, other = ("counted again" if move.before == case.pk else "in"), None
        else:
            said, other = ("moved to" if move.case else "out"), move.case
        who = ", ".join(part for part in (str(move.person or ""), unseen_words(move.evidence)) if part)
        last = passages[-1] if passages else None
        same = (said, who, move.item.label, other and other.pk)
        if (
            last
            and abs(last.at - move.effective_at) < TOGETHER
            and same == (last.said, last.who, last.what, last.other and last.other.pk)
        ):
            last.items.append(move.item)
            continue
        if len(passages) == most:
            break
        passages.append(Passage(at=move.effective_at, said=said, who=who, what=move.item.label, items=[move.item], other=other))
    return passages


def case_reports(case_ids: Iterable[int]) -> dict[int, CaseReport]:
    """Return every case's contents against its plan: six queries however many cases."""
    ids = list(case_ids)
    packed = contents_by_sort(ids)
    plans: dict[int, dict[Sort, int]] = {case_id: {} for case_id in ids}
    for case_id, type_id, length_mm, count in CasePlanLine.objects.filter(case_id__in=ids).values_list(
        "case_id", "type_id", "length_mm", "count"
    ):
        plans[case_id][(type_id, length_mm)] = count
    suspects = dict(
        Item.objects.owned()
        .filter(in_case_id__in=ids, suspect_since__isnull=False)
        .order_by()
        .values("in_case_id")
        .annotate(held=Count("pk"))
        .values_list("in_case_id", "held")
    )
    compared = {case_id: pack_compare(plan=plans[case_id], packed=packed[case_id]) for case_id in ids}
    type_ids = {line.type_id for report in compared.values() for line in report.lines}
    names = dict(GearType.objects.filter(pk__in=type_ids).order_by().values_list("pk", "name"))

    def named(lines: Iterable[PackLine]) -> tuple[NamedLine, ...]:
        return tuple(
            NamedLine(name=" ".join(part for part in (names[line.type_id], metres(line.length_mm)) if part), line=line)
            for line in lines
        )

    return {
        case_id: CaseReport(
            packed=report,
            short=named(report.short_lines),
            extra=named(report.extra_lines),
            suspect=suspects.get(case_id, 0),
        )
        for case_id, report in compared.items()
    }
