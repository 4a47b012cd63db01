"""What a device is told beside custody: what speaks against taking a thing out, and what its coming back settles."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta

from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.calc.symptoms import Found, Symptom
from maintenance.minding import WET_NOTED, contents_of, inside_words, mind_words
from maintenance.models import Fault, TestCall
from shows.calc.evidence import Advice
from shows.calc.words import Action
from shows.services.programme import Programme
from shows.services.reading import Draft
from shows.services.telling import ill_words

NOTHING = Advice()
LONGEST_SAID = 60  # characters of what a test found


def _short(note: str) -> str:
    """Return the first thing a test found, short enough to be heard at a dock."""
    first = note.split(";")[0].rstrip(".")
    return f"{first[:1].lower()}{first[1:]}" if len(first) <= LONGEST_SAID else f"{first[: LONGEST_SAID - 1].rstrip()}\u2026"


class Adviser:
    """Advice on the scans of one batch, as far as it was known when each was made."""

    def __init__(
        self, *, items: Mapping[int, Item], scans: Iterable[tuple[Draft, int]], programme: Programme, received_at: datetime
    ) -> None:
        self.items, self.programme, self.year = items, programme, received_at.year
        scans = list(scans)
        going = {item for draft, item in scans if draft.action in (Action.OUT, Action.TRUCK, Action.BACK)}
        self.suspect = self._symptoms([items[item] for item in going if items[item].suspect_since])
        self.wet: dict[int, datetime] = {}
        self.inside = self._contents({item for draft, item in scans if draft.action == Action.OUT})
        for draft, item in scans:
            if draft.wet and self.items[item].type.has_standing:
                self.wet[item] = min(self.wet.get(item, draft.effective_at), draft.effective_at)
            elif draft.ill:
                # just after it: the scan that says so is not itself against advice
                later = (draft.effective_at + timedelta(microseconds=1), draft.symptom)
                self.suspect[item] = min(self.suspect.get(item, later), later, key=lambda said: said[0])
        self.advice: dict[int, Advice] = {}

    @staticmethod
    def _symptoms(suspects: list[Item]) -> dict[int, tuple[datetime, str]]:
        """Return since when each is suspect, and what the first open report of it says."""
        if not suspects:
            return {}
        faults = Fault.objects.filter(item__in=suspects, closed_at=None, withdrawn_at=None).order_by("-opened_at", "-pk")
        symptoms = {
            item: f"at the bench: {_short(note)}" if found == Found.BENCH and symptom == Symptom.OTHER and note else symptom
            for item, symptom, note, found in faults.values_list("item_id", "symptom", "note", "found")
        }
        return {i.pk: (i.suspect_since, symptoms.get(i.pk, "")) for i in suspects if i.suspect_since}

    def against(self, draft: Draft, item: int) -> str:
        """Say what speaks against a scan out or on the truck; empty if nothing does."""
        if draft.action not in (Action.OUT, Action.TRUCK):
            return ""
        if item not in self.advice:
            self.advice[item] = self._advice(self.items[item])
        advice = self.advice[item]
        return "" if advice is NOTHING else advice.at(draft.effective_at, self.programme.day(draft.effective_at))

    def mind(self, draft: Draft, item: int) -> str:
        """Say in sentences what to look at before a thing goes out: of itself, and of what lies in it."""
        if draft.action != Action.OUT:
            return ""
        at, day = draft.effective_at, self.programme.day(draft.effective_at)
        wet = self.wet.get(item)
        said = mind_words(self.items[item], at=at, day=day, called=(TestCall.Why.WET, wet) if wet else None)
        left_out = set(draft.missing)
        held = [one for one in self.inside.get(item, []) if one.code not in left_out]
        return " ".join([*said, *inside_words(held, at=at, day=day)])

    def _contents(self, going: set[int]) -> dict[int, list[Item]]:
        """Return what lies in each case that goes out, its cases' contents too: a query a depth, none without a case."""
        cases = {item for item in going if self.items[item].type.kind == Kind.CASE}
        return contents_of(cases) if cases else {}

    def _advice(self, item: Item) -> Advice:
        since, symptom = self.suspect.get(item.pk, (None, ""))
        if not (since or item.retired_on or item.lent_to or item.gone_home_on):
            return NOTHING
        return Advice(
            suspect_since=since,
            suspect=f"suspect since {self._day(since)}{f' ({symptom})' if symptom else ''}" if since else "",
            retired_on=item.retired_on,
            retired=f"retired {self._day(item.retired_on)}",
            lent_on=(item.lent_on or date.min) if item.lent_to else None,
            lent=f"lent to {item.lent_to}",
            gone_home_on=item.gone_home_on,
            gone_home=f"given back to {item.borrowed_from or 'its owner'} on {self._day(item.gone_home_on)}",
        )

    def welcome(self, draft: Draft, item_id: int) -> list[str]:
        """Say what a scan back settles by itself."""
        item = self.items[item_id]
        said = self._suspect_words(draft, item)
        if not (item.lent_to or item.gone_home_on):
            return said
        day = self.programme.day(draft.effective_at)
        if item.lent_to and (item.lent_on is None or item.lent_on <= day):
            said.append(f"It was lent to {item.lent_to}; it is home again.")
        if item.gone_home_on is not None and item.gone_home_on <= day:
            said.append(f"It had been given back to {item.borrowed_from or 'its owner'}; it is here again.")
        return said

    def _suspect_words(self, draft: Draft, item: Item) -> list[str]:
        """Say where what is suspect goes: not back on its shelf."""
        if draft.ill:
            if draft.wet and item.pk in self.wet:
                return [WET_NOTED]
            return [f"{ill_words(draft)}: noted. It goes to the bench, not the shelf."]
        since, symptom = self.suspect.get(item.pk, (None, ""))
        if since is None or since > draft.effective_at:
            return []
        return [f"It is suspect{f' ({symptom})' if symptom else ''}: to the bench, not the shelf."]

    def _day(self, when: date | datetime | None) -> str:
        if when is None:
            return ""
        day = self.programme.day(when) if isinstance(when, datetime) else when
        year = "" if day.year == self.year else f" {day.year}"
        return f"{day:%a} {day.day} {day:%b}{year}"
