"""Is it good, in sentences: the standing of many items with its reasons, for the item's page and for the API."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from company.templatetags.tape import day as day_words
from company.templatetags.tape import moment
from inventory.models import Item
from inventory.registries import show_names
from maintenance.calc.symptoms import Symptom
from maintenance.models import Fault

SAYS = {
    Symptom.HUMS: "it hums",
    Symptom.CRACKLES: "it crackles",
    Symptom.THIN: "it sounds thin",
    Symptom.QUIET: "it is quiet",
    Symptom.DEAD: "it is dead",
    Symptom.INTERMITTENT: "it comes and goes",
    Symptom.NO_PHANTOM: "it gets no phantom power",
    Symptom.FADES: "it gets quieter",
    Symptom.DAMAGED: "it is damaged",
    Symptom.PARTS_MISSING: "parts are missing",
    Symptom.WET: "it got wet",
    Symptom.OTHER: "something is wrong with it",
}


@dataclass(frozen=True, kw_only=True)
class Told:
    """How an item stands: the fact, its reasons, and each open fault with what was said. All empty without a standing."""

    fact: str = ""
    reasons: list[str] = field(default_factory=list)
    faults: list[tuple[Fault, str]] = field(default_factory=list)

    @property
    def sentences(self) -> list[str]:
        """Return all of it in order, as the API tells it."""
        return [said for said in (self.fact, *self.reasons, *(words for _fault, words in self.faults)) if said]


def fault_words(fault: Fault, at_show: str = "") -> str:
    """Say what is wrong and who said so: It hums, said Jo on Fri 4 Dec, 18:30, on line 7 at the harvest ceilidh."""
    said = SAYS[Symptom(fault.symptom)]
    who = f", said {fault.person}" if fault.person else ""
    line = f", on line {fault.line}" if fault.line else ""
    show = f" at {at_show}" if at_show else ""
    return f"{said[0].upper()}{said[1:]}{who} on {moment(fault.opened_at)}{line}{show}."


def standing_told(items: Iterable[Item], day: date) -> dict[int, Told]:
    """Say in sentences whether each item is good on a day, and why. Needs `type`; queries are constant."""
    items = list(items)
    judged = [item for item in items if item.type.has_standing]
    told = {item.pk: Told() for item in items}
    if not judged:
        return told
    said = Fault.objects.filter(item__in=judged, withdrawn_at=None).order_by("opened_at", "pk")
    open_faults = list(said.filter(closed_at=None).select_related("person"))
    names = show_names(fault.show for fault in open_faults)
    faults: dict[int, list[tuple[Fault, str]]] = defaultdict(list)
    for fault in open_faults:
        faults[fault.item_id or 0].append((fault, fault_words(fault, names[fault.show][0] if fault.show else "")))
    closed = said.filter(closed_at__isnull=False).order_by("closed_at", "pk").select_related("closed_by")
    mended = {fault.item_id: fault for fault in closed}
    for item in judged:
        fact, reasons = _fact(item, day)
        last = mended.get(item.pk)
        if last is not None and item.pk not in faults:
            by = f" by {last.closed_by}" if last.closed_by else ""
            reasons.append(f"Last fault closed{by} on {day_words(last.closed_at)}: {last.closed_how.rstrip('.')}.")
        told[item.pk] = Told(fact=fact, reasons=reasons, faults=faults.get(item.pk, []))
    return told


def _fact(item: Item, day: date) -> tuple[str, list[str]]:
    """Return what an item's own columns say, in the precedence of inventory.querysets.standing_expression."""
    reasons: list[str] = []
    if item.retired_on:
        fact = f"Retired {day_words(item.retired_on)}."
        if item.retired_because:
            reasons.append(f"{item.retired_because.rstrip('.')}.")
    elif item.suspect_since:
        fact = f"Suspect since {moment(item.suspect_since)}."
        reasons.append("It is not offered for a show until a technician has seen to it.")
    elif item.test_by and item.test_by <= day:
        fact = f"Test due: its proof ran out {day_words(item.test_by)}."
    elif item.excepts:
        fact = f"Good except {item.excepts}."
    elif item.tested_on:
        fact = f"Known good until {day_words(item.test_by)}." if item.test_by else "Known good."
    else:
        fact = "Unproved."
        reasons.append("Never tested since it is on record. That is no alarm: most gear starts like this.")
    if item.tested_on and not item.retired_on:
        reasons.append(f"Last tested {day_words(item.tested_on)}.")
    if item.taken_as_good_on:
        reasons.append(f"Taken as good on {day_words(item.taken_as_good_on)}, without a test.")
    if item.excepts and not fact.startswith("Good except"):
        reasons.append(f"Dead channels: {item.excepts}.")
    return fact, reasons
