"""What maintenance adds to an item's page, to the start page and to the API: is it good, why, and who must see to it."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.db.models import Exists, OuterRef, Q
from django.http import HttpRequest
from django.urls import reverse

from company.calc.roles import Role
from company.clock import today
from company.registries import Found, Need
from company.templatetags.tape import code as spelled
from company.templatetags.tape import day as day_words
from company.templatetags.tape import moment
from inventory.calc.excepts import dead_words
from inventory.calc.kinds import KINDS_WITH_CHANNELS
from inventory.models import Item
from inventory.registries import ItemAction, LifeEntry, Panel, show_names
from inventory.search import asked
from maintenance.bench_found import calls_found, channels_found, excepts_found
from maintenance.bench_needs import before_shows
from maintenance.calc.symptoms import Found as FoundAt
from maintenance.calc.symptoms import Symptom
from maintenance.item_record import record_of
from maintenance.models import Fault
from maintenance.standing import SAYS, call_words, fault_words, standing_told
from maintenance.wet import got_wet

FEW = 25
AT_THE_BENCH = frozenset({"failed", "at", "the", "bench"})  # how people ask for what a test found


def standing(request: HttpRequest, item: Item, at: datetime) -> Panel | None:
    """Say in sentences whether it is good, and why."""
    if not item.type.has_standing:
        return None
    told = standing_told([item], today(at))[item.pk]
    calls = [] if item.retired_on else record_of(item).open_calls
    return Panel(
        title="Is it good",
        template="maintenance/_standing.html",
        context={
            "fact": told.fact,
            "reasons": told.reasons,
            "faults": told.faults,
            "calls": [(call, call_words(call, call.at_show[0] if call.at_show else "")) for call in calls],
            "may_get_wet": not (item.retired_on or item.gone_home_on),
            "dead": dead_words(item.excepts),
            "channels": item.type.kind in KINDS_WITH_CHANNELS,
            "mains": item.type.kind in ("power", "amplifier", "loudspeaker"),
        },
    )


def fault_life(item: Item, at: datetime) -> Iterable[LifeEntry]:
    """A fault tears the strip; its closing mends it."""
    # what the bench found, and what a test answered, its tests tell themselves
    for fault in Fault.objects.filter(item=item, withdrawn_at=None, found_by=None).select_related("person", "closed_by"):
        who = f"said {fault.person}" if fault.person else ""
        small = "; ".join(p for p in (who, fault.note, f"line {fault.line}" if fault.line else "") if p)
        yield LifeEntry(at=fault.opened_at, did=_did(fault.symptom), small=small, mark="question", bad=True)
        if fault.closed_at and fault.closed_by_test_id is None:
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
    """How each item stands and why, in a constant number of queries."""
    return {
        pk: {
            "reasons": told.sentences,
            "faults": [
                {"symptom": f.symptom, "note": f.note, "since": f.opened_at.isoformat(), "line": f.line}
                for f, _words in told.faults
            ],
        }
        for pk, told in standing_told(items, today(at)).items()
    }


def suspects(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name what somebody said is bad, longest first."""
    # asked this way round, items fetched afterwards: joined, the database walks every item to find the few with a fault
    retired = Item.objects.filter(pk=OuterRef("item_id"), retired_on__isnull=False)
    rows = Fault.objects.filter(~Exists(retired), item__isnull=False, closed_at=None, withdrawn_at=None)
    seen: set[int] = set()
    for fault in rows.select_related("person").prefetch_related("item__type").order_by("opened_at")[: 2 * FEW]:
        if fault.item_id in seen or fault.item is None or len(seen) >= FEW:
            continue
        seen.add(fault.item_id or 0)
        said, by_test = SAYS[Symptom(fault.symptom)], fault.found_by_id is not None
        who = f"{fault.person} {'tested it' if by_test else 'said so'}. " if fault.person else ""
        yield Need(
            key=f"fault:{fault.item.code}",
            name=fault.item.label,
            code=spelled(fault.item.code),
            url=fault.item.get_absolute_url(),
            fact=fault_words(fault) if by_test else f"Suspect since {day_words(fault.opened_at)}: {said}.",
            why=f"{who}{'Mend it, then test it again.' if by_test else 'Test it or see to it.'}",
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


def faults_found(request: HttpRequest, text: str, most: int) -> Iterable[Found]:
    """Answer with what has an open fault of these words: the symptom, or what was said with it."""
    words = asked(text).words
    if not words or max(len(word) for word in words) < 3:
        return
    rows = Fault.objects.filter(item__isnull=False, closed_at=None, withdrawn_at=None)
    for word in words:
        said = Q(symptom__icontains=word) | Q(note__icontains=word)
        rows = rows.filter(said | Q(found=FoundAt.BENCH) if word.casefold() in AT_THE_BENCH else said)
    seen: set[int] = set()
    for fault in rows.prefetch_related("item__type").order_by("-opened_at")[: 2 * most]:
        if fault.item is None or fault.item.pk in seen or fault.item.retired_on or len(seen) >= most:
            continue
        seen.add(fault.item.pk)
        yield Found(
            name=fault.item.label,
            url=fault.item.get_absolute_url(),
            code=spelled(fault.item.code),
            note="; ".join(part for part in (SAYS[Symptom(fault.symptom)], fault.note) if part),
            kind="Open faults",
            standing="suspect" if fault.item.type.has_standing else "",
        )


def register() -> None:
    """Fill the registries; called once, when the program starts."""
    from company.registries import NEEDS, SEARCH
    from inventory.registries import ITEM_ACTIONS, ITEM_API_FIELDS, ITEM_LIFE, ITEM_PANELS

    SEARCH.add("faults", faults_found, rank=15)
    SEARCH.add("channel reports", channels_found, rank=16)
    SEARCH.add("calls", calls_found, rank=17)
    SEARCH.add("excepts", excepts_found, rank=18)
    ITEM_PANELS.add("standing", standing, rank=10)
    ITEM_LIFE.add("faults", fault_life, rank=50)
    ITEM_ACTIONS.add("faults", actions, rank=30)
    ITEM_API_FIELDS.add("faults", api_fields, rank=50)
    NEEDS.add("suspect", suspects, rank=30)
    NEEDS.add("channels", channels, rank=31)
    NEEDS.add("wet", got_wet, rank=33)
    NEEDS.add("test-before", before_shows, rank=25)
