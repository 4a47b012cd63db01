"""Is it good, in sentences: the standing of many items with its reasons, for the item's page and for the API."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from company.templatetags.tape import day as day_words
from company.templatetags.tape import moment
from inventory.models import Item
from inventory.registries import show_names
from maintenance.bench_subject import newest_tests
from maintenance.calc.bench import HOW_WORDS, Depth, Procedure, Verdict, how_words
from maintenance.calc.symptoms import Symptom
from maintenance.minding import ran_out_words
from maintenance.models import BenchTest, Fault, Risk, TestCall
from maintenance.querysets import open_calls

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


_CAME_TO = {
    Verdict.PASS: "passed",
    Verdict.WATCH: "passed, to be watched",
    Verdict.FAIL: "failed",
    Verdict.CANNOT_TELL: "no verdict",
}


@dataclass(frozen=True, kw_only=True)
class Told:
    """How an item stands: the fact, its reasons, why it was called to be tested, and each open fault with what was said.

    All empty without a standing.
    """

    fact: str = ""
    reasons: list[str] = field(default_factory=list)
    faults: list[tuple[Fault, str]] = field(default_factory=list)
    calls: list[str] = field(default_factory=list)

    @property
    def sentences(self) -> list[str]:
        """Return all of it in order, as the API tells it."""
        said = (self.fact, *self.reasons, *self.calls, *(words for _fault, words in self.faults))
        return [sentence for sentence in said if sentence]


def fault_words(fault: Fault, at_show: str = "") -> str:
    """Say what is wrong and who said so: It hums, said Jo on Fri 4 Dec, 18:30, on line 7 at the harvest ceilidh."""
    if fault.found_by_id is not None:
        return f"It failed at the bench on {moment(fault.opened_at)}: {fault.note.rstrip('.')}."
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
    calls = list(open_calls().filter(item__in=judged).order_by("at", "pk").select_related("person"))
    names = show_names([*(fault.show for fault in open_faults), *(call.show for call in calls)])
    called = {call.item_id: call for call in reversed(calls)}
    tests = newest_tests(item.pk for item in judged)
    whys = dict(Risk.objects.filter(item__in=judged).exclude(why="").values_list("item", "why"))
    faults: dict[int, list[tuple[Fault, str]]] = defaultdict(list)
    for fault in open_faults:
        faults[fault.item_id or 0].append((fault, fault_words(fault, names[fault.show][0] if fault.show else "")))
    closed = said.filter(closed_at__isnull=False).order_by("closed_at", "pk").select_related("closed_by")
    mended = {fault.item_id: fault for fault in closed}
    for item in judged:
        fact, reasons = _fact(item, day, tests.get(item.pk), whys.get(item.pk, ""))
        call = None if item.retired_on else called.get(item.pk)
        words = [call_words(call, names[call.show][0] if call.show else "")] if call else []
        last = mended.get(item.pk)
        if last is not None and item.pk not in faults:
            by = f" by {last.closed_by}" if last.closed_by else ""
            reasons.append(f"Last fault closed{by} on {day_words(last.closed_at)}: {last.closed_how.rstrip('.')}.")
        told[item.pk] = Told(fact=fact, reasons=reasons, faults=faults.get(item.pk, []), calls=words)
    return told


def call_words(call: TestCall, at_show: str = "") -> str:
    """Say why a thing is to be tested though nobody said it is bad: It got wet at the harvest ceilidh on Fri 4 Dec."""
    show = f" at {at_show}" if at_show else ""
    if call.why == TestCall.Why.ASKED:
        return f"{call.person or 'Somebody'} asked on {day_words(call.at)}{show} that it be tested."
    return f"It {call.get_why_display()}{show} on {day_words(call.at)}: test it before it goes out."


def last_test_words(test: BenchTest) -> str:
    """Say what the newest test was and came to: Last tested Fri 4 Dec by Jo, by ohms while flexed: to be watched. Why."""
    who = f" by {test.person}" if test.person else ""
    how = "on the tester's word" if test.procedure == Procedure.WORD else f"by {how_words(test.procedure, Depth(test.depth))}"
    how = "figures noted" if test.procedure == Procedure.MAINS else how
    said = f"Last tested {day_words(test.done_at)}{who}, {how}: {_CAME_TO[Verdict(test.verdict)]}."
    if test.verdict == Verdict.PASS:
        left = [str(one) for one in test.not_measured] if test.procedure in HOW_WORDS else []
        return f"{said} Not measured: {'; '.join(left)}." if left else said
    titles = [str(finding.get("title", "")).rstrip(".") for finding in test.findings]
    why = "; ".join(dict.fromkeys(title for title in titles if title)) or (test.reasons[0].rstrip(".") if test.reasons else "")
    return f"{said} {why}." if why else said


def _still_open(test: BenchTest | None) -> list[str]:
    """Say why the newest test, which passed, leaves a thing suspect all the same."""
    if test is None or test.verdict not in {Verdict.PASS, Verdict.WATCH}:
        return []
    left = test.effects.get("said", {}).get("open_still", ())
    return [str(why) for why in dict.fromkeys(why for _fault, why in left if why)]


def _fact(item: Item, day: date, test: BenchTest | None, why: str) -> tuple[str, list[str]]:
    """Return what an item's own columns say, in the precedence of inventory.querysets.standing_expression."""
    reasons: list[str] = []
    if item.retired_on:
        fact = f"Retired {day_words(item.retired_on)}."
        if item.retired_because:
            reasons.append(f"{item.retired_because.rstrip('.')}.")
    elif item.suspect_since:
        fact = f"Suspect since {moment(item.suspect_since)}."
        reasons.append("It is not offered for a show until it passes, or a technician closes what is open.")
        reasons += _still_open(test)
    elif item.test_by and item.test_by <= day:
        ran_out = ran_out_words(item)
        fact = f"Test due: {ran_out[:1].lower()}{ran_out[1:]}."
    elif item.excepts:
        fact = f"Good except {item.excepts}."
    elif item.tested_on:
        fact = f"Known good until {day_words(item.test_by)}." if item.test_by else "Known good."
    else:
        fact = "Unproved."
        if test is None:
            reasons.append("Never tested since it is on record. That is no alarm: most gear starts like this.")
    if not item.retired_on and test is not None:
        reasons.append(last_test_words(test))
    elif item.tested_on and not item.retired_on:
        reasons.append(f"Last tested {day_words(item.tested_on)}.")
    if why and item.test_by and not item.retired_on and not item.suspect_since:
        reasons.append(why if why.endswith((".", "?")) else f"{why}.")
    if item.taken_as_good_on and (item.tested_on is None or item.tested_on < item.taken_as_good_on):
        reasons.append(f"Taken as good on {day_words(item.taken_as_good_on)}, without a test.")
    if item.excepts and not fact.startswith("Good except"):
        reasons.append(f"Dead channels: {item.excepts}.")
    return fact, reasons
