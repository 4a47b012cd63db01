"""What the bench must know of things before testing them: their wiring or facts, what is said of them, their own first
figures. For many items at once, in a constant number of queries."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from django.db.models import Exists, F, Max, OuterRef, Q, Subquery

from inventory.calc.kinds import KINDS_WITH_CHANNELS, Kind
from inventory.models import FACTS_OF_KIND, Item
from maintenance.calc.bench import Procedure, Verdict
from maintenance.calc.symptoms import Found, Symptom
from maintenance.models import BenchFigure, BenchTest, Fault, Wiring
from maintenance.querysets import standing_repairs, standing_tests, telling_tests

if TYPE_CHECKING:
    from maintenance.calc.wiring import Lead

# A box's own first figures are what its later ones are held against; a lead's are held against its copper.
_GOLDEN = frozenset(Procedure) - {Procedure.WIRING, Procedure.WORD, Procedure.UNDO, Procedure.MAINS}

# A stage box of sockets and cores alone is wired as a multicore's channels are; its type has no wiring of its own.
PASSIVE_STAGE_BOX = "multicore"

_WITHOUT_GOLDEN = frozenset({Kind.LEAD, Kind.MULTICORE, Kind.POWER})


@dataclass(frozen=True, kw_only=True)
class Subject:
    """One item as the bench sees it.

    `procedures` come the likeliest first; `lead` is None without a wiring, and `no_lead` says why;
    `golden` are the figures of its first passing test by name, since it was last made as new; `channels` 0 where it has
    none; `last` is its newest test that counts.
    """

    item: Item
    kind: Kind
    procedures: tuple[Procedure, ...]
    facts: Mapping[str, Any]
    lead: "Lead | None" = None
    wiring: Wiring | None = None
    no_lead: str = ""
    golden: Mapping[str, float] = field(default_factory=dict)
    open_faults: tuple[Fault, ...] = ()
    last: BenchTest | None = None
    channels: int = 0

    @property
    def symptoms(self) -> tuple[str, ...]:
        """Return what people said is wrong with it, the newest first; what the bench measured itself is no symptom."""
        said = (
            fault.symptom
            for fault in reversed(self.open_faults)
            if fault.found != Found.BENCH or fault.symptom != Symptom.OTHER
        )
        return tuple(dict.fromkeys(said))


def subject_of(items: Iterable[Item]) -> dict[int, Subject]:
    """Return what the bench must know of each item, by key. Needs `type`."""
    from maintenance.calc.procedures import is_passive_stage_box, procedures_for

    items = list(items)
    if not items:
        return {}
    keys = [item.pk for item in items]
    facts = _facts(items)
    for item in items:
        known = facts.get(item.type_id, {})
        if item.type.kind == Kind.STAGE_BOX and is_passive_stage_box(known):
            facts[item.type_id] = {
                "wiring": PASSIVE_STAGE_BOX,
                "sends": known.get("inputs"),
                "returns": known.get("outputs"),
                **known,
            }
    wanted = {f["wiring"] for f in facts.values() if f.get("wiring")}
    wirings = {w.key: w for w in Wiring.objects.filter(key__in=wanted)} if wanted else {}
    faults: dict[int, list[Fault]] = defaultdict(list)
    opened = Fault.objects.filter(item__in=keys, closed_at=None, withdrawn_at=None).order_by("opened_at", "pk")
    for fault in opened.select_related("person", "found_by"):
        faults[fault.item_id or 0].append(fault)
    last = newest_tests(keys)
    golden = _golden([item.pk for item in items if item.type.kind not in _WITHOUT_GOLDEN])
    answer = {}
    for item in items:
        kind, known = Kind(item.type.kind), facts.get(item.type_id, {})
        channels = channels_of(kind, known)
        wiring = wirings.get(known.get("wiring", ""))
        lead, no_lead = lead_of(item, known, wiring, channels)
        answer[item.pk] = Subject(
            item=item,
            kind=kind,
            procedures=procedures_for(kind, known),
            facts=known,
            lead=lead,
            wiring=wiring,
            no_lead=no_lead,
            golden=golden.get(item.pk, {}),
            open_faults=tuple(faults.get(item.pk, ())),
            last=last.get(item.pk),
            channels=channels,
        )
    return answer


def newest_tests(keys: Iterable[int]) -> dict[int, BenchTest]:
    """Return each item's newest test that counts, by the item's key, with who did it; one query."""
    newest = standing_tests().filter(item=OuterRef("item")).order_by("-done_at", "-uid").values("pk")[:1]
    tests = BenchTest.objects.filter(item__in=list(keys), pk=Subquery(newest)).order_by()
    return {test.item_id: test for test in tests.defer("readings").select_related("person")}


def channels_of(kind: Kind, facts: Mapping[str, Any]) -> int:
    """Return how many channels a thing of these facts has; 0 where that means nothing or is not known."""
    if kind not in KINDS_WITH_CHANNELS:
        return 0
    names = ("sends", "returns") if kind == Kind.MULTICORE else ("inputs", "outputs")
    return sum(facts.get(name) or 0 for name in names)


def _facts(items: list[Item]) -> dict[int, dict[str, Any]]:
    """Return each type's facts as a mapping of its columns, a query a kind at most."""
    by_kind: dict[Kind, set[int]] = defaultdict(set)
    for item in items:
        by_kind[Kind(item.type.kind)].add(item.type_id)
    facts: dict[int, dict[str, Any]] = {}
    for kind, types in sorted(by_kind.items()):
        for row in FACTS_OF_KIND[kind]._default_manager.filter(type__in=types).order_by().values():
            facts[row.pop("type_id")] = {name: value for name, value in row.items() if name not in ("id", "source")}
    return facts


def _golden(keys: list[int]) -> dict[int, dict[str, float]]:
    """Return the figures of each item's first passing test since it was last made as new.

    A test done while it was suspect teaches nothing unless it answered every fault, nor does a figure held against nothing.
    """
    if not keys:
        return {}
    rebuilt = (
        standing_repairs().filter(item=OuterRef("item"), as_new=True).order_by().values("item").annotate(at=Max("done_at"))
    )
    passed = telling_tests().filter(item=OuterRef("pk"), verdict=Verdict.PASS, procedure__in=_GOLDEN)
    suspect = Fault.objects.filter(item=OuterRef("item"), withdrawn_at=None, opened_at__lte=OuterRef("done_at")).filter(
        Q(closed_at=None) | Q(closed_at__gt=OuterRef("done_at"))
    )
    first = (
        passed.filter(~Exists(suspect))
        .alias(rebuilt_at=Subquery(rebuilt.values("at")))
        .filter(Q(rebuilt_at=None) | Q(done_at__gte=F("rebuilt_at")))
        .order_by("done_at", "uid")
        .values("pk")[:1]
    )
    chosen = Item.objects.filter(pk__in=keys).order_by().annotate(first=Subquery(first)).values_list("first", flat=True)
    golden: dict[int, dict[str, float]] = defaultdict(dict)
    figures = BenchFigure.objects.filter(test__in=[pk for pk in chosen if pk], within=True).order_by("pk")
    for item, name, value in figures.values_list("test__item", "name", "value"):
        golden[item][name] = value
    return golden


def lead_of(item: Item, facts: Mapping[str, Any], wiring: Wiring | None, channels: int) -> "tuple[Lead | None, str]":
    """Return a lead or multicore as the computing takes it, or why there is none."""
    from maintenance.calc.wiring import Lead
    from maintenance.calc.wiring_effects import Family, family_of, holds_parts
    from maintenance.calc.wirings import WiringError, wiring_read

    if item.type.kind not in {Kind.LEAD, Kind.MULTICORE} and not facts.get("wiring"):
        return None, ""
    if wiring is None:
        named = facts.get("wiring", "")
        says = f"The wiring “{named}” of its type is not on record" if named else "Its type has no wiring yet"
        return None, f"{says}: choose one on the type's page, so that the program knows which pin goes to which."
    if wiring.per_channel and not channels:
        return None, "Its type does not say how many channels it has: enter sends and returns on the type's page."
    sends, returns = (facts.get("sends") or 0, facts.get("returns") or 0) if wiring.per_channel else (None, 0)
    try:
        read = wiring_read(ends=wiring.ends, nets=wiring.nets, channels=sends, returns=returns)
    except WiringError as wrong:
        return None, f"The wiring “{wiring.name}” cannot be read: {wrong}"
    return (
        Lead(
            wiring=read,
            length_m=(item.length_mm or 0) / 1000,
            core_mm2=facts.get("core_mm2"),
            core_awg=facts.get("core_awg"),
            tinned=bool(facts.get("tinned")),
            screen_mohm_per_m=facts.get("screen_mohm_per_m"),
            loudspeaker=family_of(read) is Family.LOUDSPEAKER,
            has_electronics=holds_parts(read),
        ),
        "",
    )
