"""Packing: scan the case, scan what goes in, close. Each scan is answered with a signal and a sentence."""

import uuid
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from company.clock import today
from company.models import Person
from inventory.calc import codes
from inventory.calc.kinds import STANDING_WORDS, WHERE_WORDS, Kind, Standing, Where
from inventory.models import CasePlanLine, CountedLine, Item, Label, Placement
from inventory.registries import show_names
from inventory.services.cases import CaseLoop, NotACase, placement_record, placement_undo

FINE, LOOK, STOP = "fine", "look", "stop"
DEVICE = "packing"


@dataclass(frozen=True, kw_only=True)
class PackAnswer:
    """What a scan did: `signal` fine, look or stop, one sentence, and what the page does next.

    `opens` is a case to pack from now on, `closes` ends this one, `counts` is a counted line to give a number for.
    """

    signal: str
    said: str
    item: Item | None = None
    opens: Item | None = None
    closes: bool = False
    counts: CountedLine | None = None


def item_of_text(text: str) -> tuple[Item | None, codes.Parsed]:
    """Return the item whose label says this, if any, and what the text was read as."""
    read = codes.parse(text)
    if read.read is not codes.Read.CODE:
        return None, read
    label = Label.objects.filter(code=read.code, item__isnull=False).values_list("item_id", flat=True).first()
    found = Item.objects.select_related("type", "in_case__type", "at")
    return (found.filter(pk=label) if label else found.filter(code=read.code)).first(), read


def pack_scan(
    *, uid: uuid.UUID, case: Item | None, text: str, taking_out: bool = False, at: datetime, person: Person | None
) -> PackAnswer:
    """Take one scan while packing. Without a case the scan must be a case; with one, whatever is scanned goes in (or, when
    taking out, comes out); the open case itself, or the close card, closes it."""
    item, read = item_of_text(text)
    if read.read is codes.Read.COMMAND:
        return _command(read.word, uid=uid, case=case, at=at, person=person)
    if read.read is codes.Read.COUNTED:
        return _counted(read.number, case)
    if read.read is not codes.Read.CODE:
        return PackAnswer(signal=STOP, said=read.why or "That card says nothing here. Scan a label.")
    if item is None:
        return PackAnswer(
            signal=STOP,
            said=f"{codes.spell(read.code)} is a good code, but on nothing yet. Say what it is first, then pack it.",
        )
    if case is None:
        if item.type.kind != Kind.CASE:
            return PackAnswer(signal=STOP, said=f"{item} is no case. Scan the case first.", item=item)
        return PackAnswer(signal=FINE, said=f"{item} is open: scan what goes in.", item=item, opens=item)
    if item.pk == case.pk:
        return PackAnswer(signal=FINE, said=f"{case} is closed.", item=item, closes=True)
    return _move(uid=uid, case=case, item=item, taking_out=taking_out, at=at, person=person)


def _move(*, uid: uuid.UUID, case: Item, item: Item, taking_out: bool, at: datetime, person: Person | None) -> PackAnswer:
    was_in = item.in_case
    if taking_out:
        if was_in is None or was_in.pk != case.pk:
            lies = f"the record has it in {was_in}" if was_in else "the record has it in no case"
            return PackAnswer(signal=LOOK, said=f"{item} was not in here: {lies}.", item=item)
        placement_record(uid=uid, item=item, case=None, effective_at=at, device=DEVICE, person=person)
        return PackAnswer(signal=FINE, said=f"{item} is out of the case.", item=item)
    again = was_in is not None and was_in.pk == case.pk
    if not again:
        try:
            with transaction.atomic():
                placement_record(uid=uid, item=item, case=case, effective_at=at, device=DEVICE, person=person)
                if item.at_id:
                    # what goes in a case is no longer at the bench or the repairer
                    Item.objects.filter(pk=item.pk).update(at=None)
        except (CaseLoop, NotACase) as refused:
            return PackAnswer(signal=STOP, said=str(refused), item=item)
    said = f"{item} was already in." if again else f"{item} is in."
    if not again and was_in is not None:
        said = f"{item} moved here from {was_in}."
    if beware := _beware(item, case, at):
        return PackAnswer(signal=LOOK, said=f"{said} {beware}", item=item)
    return PackAnswer(signal=FINE, said=said, item=item)


def _beware(item: Item, case: Item, at: datetime) -> str:
    """Say what a person should know of a thing that goes in a case: it is packed all the same."""
    facts = getattr(case.type, "case_facts", None)
    row = Item.objects.described(today(at)).get(pk=item.pk)
    if facts and facts.bench_bag:
        return "It is suspect from now on, and gets sorted at the shop." if item.type.has_standing else ""
    if row.standing in (Standing.SUSPECT, Standing.RETIRED, Standing.TEST_DUE):
        return f"Look: it is {STANDING_WORDS[row.standing]}."
    if row.where in (Where.SHOW, Where.TRUCK):
        name = show_names([row.custody_show])[row.custody_show][0]
        return f"The record has it {WHERE_WORDS[row.where]}, {name}: scan it back when it is home."
    if row.where in (Where.LENT, Where.MISSING, Where.GONE_HOME):
        return f"The record has it as {WHERE_WORDS[row.where]}."
    plan = {
        (type_id, mm): count
        for type_id, mm, count in CasePlanLine.objects.filter(case=case).values_list("type_id", "length_mm", "count")
    }
    if not plan:
        return ""
    planned = plan.get((item.type_id, item.length_mm), 0)
    held = Item.objects.owned().filter(in_case=case, type_id=item.type_id, length_mm=item.length_mm).count()
    if not planned:
        return "It is extra: the plan has none of these."
    return f"It is extra: the plan has {planned}, here are {held}." if held > planned else ""


def _command(word: str, *, uid: uuid.UUID, case: Item | None, at: datetime, person: Person | None) -> PackAnswer:
    if case is None:
        return PackAnswer(signal=STOP, said="Scan the case first.")
    if word == "CLOSE":
        return PackAnswer(signal=FINE, said=f"{case} is closed.", item=case, closes=True)
    if word == "UNDO":
        return pack_undo(uid=uid, case=case, at=at, person=person)
    return PackAnswer(signal=STOP, said="That card is for the dock; here a case is packed.")


def pack_undo(*, uid: uuid.UUID, case: Item, at: datetime, person: Person | None) -> PackAnswer:
    """Take back this person's last scan into or out of a case."""
    undone = last_move(case=case, person=person)
    if undone is None or placement_undo(uid=uid, undoes=undone.uid, at=at, person=person) is None:
        return PackAnswer(signal=LOOK, said="There is nothing of yours to take back here.")
    return PackAnswer(signal=FINE, said=f"Taken back: {undone.item} is where it was before.", item=undone.item)


def last_move(*, case: Item, person: Person | None) -> Placement | None:
    """Return this person's newest placement into a case, if it is what the record still says of that thing."""
    moves = Placement.objects.filter(case=case, person=person, item__in_case=case).select_related("item__type")
    return moves.order_by("-effective_at", "-pk").first()


def _counted(number: int, case: Item | None) -> PackAnswer:
    line = CountedLine.objects.select_related("type").filter(pk=number).first()
    if case is None:
        return PackAnswer(signal=STOP, said="Scan the case first.")
    if line is None:
        return PackAnswer(signal=STOP, said="That shelf label is for a counted line that is no more.")
    return PackAnswer(signal=FINE, said=f"{line}: say how many lie in the case.", counts=line)
