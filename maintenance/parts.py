"""What maintenance adds to an item's page, to the start page and to the API: is it good, why, and who must see to it."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.http import HttpRequest
from django.urls import reverse

from company.calc.roles import Role
from company.clock import today
from company.registries import Need
from company.templatetags.tape import code as spelled
from company.templatetags.tape import day as day_words
from company.templatetags.tape import moment
from inventory.calc.kinds import KINDS_WITH_CHANNELS
from inventory.models import Item
from inventory.registries import ItemAction, LifeEntry, Panel, show_names
from maintenance.calc.symptoms import Symptom
from maintenance.models import Fault

FEW = 25
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


def fault_words(fault: Fault, at_show: str = "") -> str:
    """Say what is wrong and who said so: It hums, said Jo on Fri 4 Dec, 18:30, on line 7 at the harvest ceilidh."""
    said = SAYS[Symptom(fault.symptom)]
    who = f", said {fault.person}" if fault.person else ""
    line = f", on line {fault.line}" if fault.line else ""
    show = f" at {at_show}" if at_show else ""
    return f"{said[0].upper()}{said[1:]}{who} on {moment(fault.opened_at)}{line}{show}."


def standing(request: HttpRequest, item: Item, at: datetime) -> Panel | None:
    """Say in sentences whether it is good, and why."""
    if not item.type.has_standing:
        return None
    day = today(at)
    faults = list(Fault.objects.filter(item=item, closed_at=None, withdrawn_at=None).select_related("person"))
    names = show_names(f.show for f in faults)
    mended = Fault.objects.filter(item=item, closed_at__isnull=False).order_by("-closed_at").first()
    reasons: list[str] = []
    if item.retired_on:
        fact = f"Retired {day_words(item.retired_on)}."
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
    if mended is not None and not faults:
        by = f" by {mended.closed_by}" if mended.closed_by else ""
        reasons.append(f"Last fault closed{by} on {day_words(mended.closed_at)}: {mended.closed_how.rstrip('.')}.")
    told = [(f, fault_words(f, names[f.show][0] if f.show else "")) for f in faults]
    return Panel(
        title="Is it good",
        template="maintenance/_standing.html",
        context={
            "fact": fact,
            "reasons": reasons,
            "faults": told,
            "channels": item.type.kind in KINDS_WITH_CHANNELS,
            "mains": item.type.kind in ("power", "amplifier", "loudspeaker"),
        },
    )


def fault_life(item: Item, at: datetime) -> Iterable[LifeEntry]:
    """A fault tears the strip; its closing mends it."""
    for fault in Fault.objects.filter(item=item, withdrawn_at=None).select_related("person", "closed_by"):
        who = f"said {fault.person}" if fault.person else ""
        small = "; ".join(p for p in (who, fault.note, f"line {fault.line}" if fault.line else "") if p)
        yield LifeEntry(at=fault.opened_at, did=_did(fault.symptom), small=small, mark="question", bad=True)
        if fault.closed_at:
            by = f"{fault.closed_by}: " if fault.closed_by else ""
            yield LifeEntry(at=fault.closed_at, did="seen to", small=f"{by}{fault.closed_how}", mark="tick", patched=True)


def _did(symptom: str) -> str:
    return "suspect" if symptom == Symptom.OTHER else str(symptom)


def actions(request: HttpRequest, item: Item) -> Iterable[ItemAction]:
    """Say it is bad; take it as good."""
    if item.retired_on or not item.type.has_standing:
        return
    yield ItemAction(name="Say it is bad", url=reverse("fault-report", args=[item.code]))
    yield ItemAction(name="Take it as good", url=reverse("taken-as-good", args=[item.code]), role=Role.TECHNICIAN)


def api_fields(items: list[Item], at: datetime) -> dict[int, dict[str, Any]]:
    """Why an item is suspect, in one query for all."""
    faults = Fault.objects.filter(item__in=[i.pk for i in items], closed_at=None, withdrawn_at=None).order_by("opened_at")
    told: dict[int, dict[str, Any]] = {item.pk: {"faults": []} for item in items}
    for fault in faults:
        if fault.item_id in told:
            told[fault.item_id]["faults"].append(
                {"symptom": fault.symptom, "note": fault.note, "since": fault.opened_at.isoformat(), "line": fault.line}
            )
    return told


def suspects(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name what somebody said is bad, longest first."""
    rows = Fault.objects.filter(item__isnull=False, closed_at=None, withdrawn_at=None, item__retired_on=None)
    seen: set[int] = set()
    for fault in rows.select_related("item__type", "person").order_by("opened_at")[: 2 * FEW]:
        if fault.item_id in seen or fault.item is None or len(seen) >= FEW:
            continue
        seen.add(fault.item_id or 0)
        said = SAYS[Symptom(fault.symptom)]
        yield Need(
            key=f"fault:{fault.item.code}",
            name=fault.item.label,
            code=spelled(fault.item.code),
            url=fault.item.get_absolute_url(),
            fact=f"Suspect since {day_words(fault.opened_at)}: {said}.",
            why=f"{fault.person} said so. Test it or see to it." if fault.person else "Test it or see to it.",
            mark="question",
            standing="suspect" if fault.item.type.has_standing else "",
            group="suspect",
        )


def channels(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name the reports on a channel whose item nobody knows yet."""
    rows = list(
        Fault.objects.filter(item=None, closed_at=None, withdrawn_at=None).select_related("person").order_by("opened_at")[:FEW]
    )
    names = show_names(f.show for f in rows)
    for fault in rows:
        show = names[fault.show][0] if fault.show else "a show"
        yield Need(
            key=f"channel:{fault.pk}",
            name=f"Channel {fault.line} {fault.symptom}",
            code=show,
            url=reverse("fault-close", args=[fault.pk]),
            fact=f"Said on {moment(fault.opened_at)}.",
            why="Nobody has said yet what was on it.",
            mark="question",
            group="channel reports",
        )


def register() -> None:
    """Fill the registries; called once, when the program starts."""
    from company.registries import NEEDS
    from inventory.registries import ITEM_ACTIONS, ITEM_API_FIELDS, ITEM_LIFE, ITEM_PANELS

    ITEM_PANELS.add("standing", standing, rank=10)
    ITEM_LIFE.add("faults", fault_life, rank=50)
    ITEM_ACTIONS.add("faults", actions, rank=30)
    ITEM_API_FIELDS.add("faults", api_fields, rank=50)
    NEEDS.add("suspect", suspects, rank=30)
    NEEDS.add("channels", channels, rank=31)
