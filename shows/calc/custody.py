"""Fold scans into who has what.

Custody is a fold of scans in the order of (effective_at, device, seq, uid): the same scans in any order of arrival give the
same stays, contradictions and verdicts. A scan of a case vouches for its contents, read as of the scan's instant.

How evidence yields:
- A direct scan (seen) always moves its own item: what was in the hand was in the hand.
- A case's scan (vouched, or doubtful when the count disagreed) moves a content only where that fits what is known of it: out
  from the shop, to the show it is out to anyway, or straight on with its case; on the truck only if out to that show; back only
  if out to the show the case came back from. Otherwise the item's own evidence stands, silently.
- A tick (said) counts like a scan where the record rests on nothing stronger than a tick. Against stronger evidence it only
  confirms, opens from the shop, goes straight on from a show that is over, or closes a stay with the show it names; what it
  cannot do is a contradiction, and what was seen stands.
- In an unchanged situation the strongest grade said of it is kept: a tick after a scan weakens nothing.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime
from uuid import UUID

from inventory.calc.kinds import EVIDENCE_RANK, Evidence
from shows.calc.evidence import Contradiction, Custody, Event, Finding, Folded, Head, Put, ShowTimes, Stay, Verdict, shorten
from shows.calc.words import Action, Ended, Outcome, Signal

RANK: dict[str, int] = {str(grade): rank for grade, rank in EVIDENCE_RANK.items()}
SIGNAL_RANK = {Signal.FINE: 0, Signal.LOOK: 1, Signal.STOP: 2}
NOWHERE = Head()


def fold(
    *,
    events: Iterable[Event],
    shows: Mapping[int, ShowTimes],
    puts: Iterable[Put] = (),
    heads: Mapping[int, Head] | None = None,
    names: Mapping[int, str] | None = None,
    only: frozenset[int] | None = None,
) -> Folded:
    """Fold events (undone ones left out by the caller) from the beginning, or on from `heads`.

    Going on from heads is right only for events later than every key those heads have folded. `only` keeps the answer to some
    items. `names` are used in sentences about cases.
    """
    run = _Run(shows=shows, puts=puts, heads=heads or {}, names=names or {}, only=only)
    for event in sorted(events, key=lambda e: e.key):
        run.scan(event)
    return run.answer()


class _Run:
    """One pass over events in order, for many items at once: cases may have held one another at different times."""

    def __init__(
        self,
        *,
        shows: Mapping[int, ShowTimes],
        puts: Iterable[Put],
        heads: Mapping[int, Head],
        names: Mapping[int, str],
        only: frozenset[int] | None,
    ) -> None:
        self.shows, self.names, self.only = shows, names, only
        self.heads = dict(heads)
        self.closed: dict[int, list[Stay]] = defaultdict(list)
        self.found: list[Contradiction] = []
        self.verdicts: dict[UUID, Verdict] = {}
        self.puts = sorted(puts, key=lambda p: p.key)
        self.next_put = 0
        self.case_of: dict[int, int | None] = {}
        self.contents: dict[int, set[int]] = defaultdict(set)

    def answer(self) -> Folded:
        items = {}
        for item, head in self.heads.items():
            if self.only is None or item in self.only:
                stays = (*self.closed[item], *([head.stay] if head.stay else []))
                items[item] = Custody(head=head, stays=stays)
        found = tuple(c for c in self.found if self.only is None or c.item in self.only)
        return Folded(items=items, contradictions=found, verdicts=self.verdicts)

    def scan(self, event: Event) -> None:
        """Apply one direct scan, then let it vouch for what was in the case at that instant."""
        self._pack_until(event.effective_at)
        head = self.heads.get(event.item, NOWHERE)
        step = _Step(head=head, event=event, shows=self.shows)
        if event.grade == Evidence.SEEN or RANK[head.evidence or Evidence.DOUBTFUL] <= RANK[Evidence.SAID]:
            step.direct()
        else:
            step.ticked()
        contents = sorted(self.contents[event.item] - event.missing)
        grade = event.grade if event.grade == Evidence.SAID else Evidence.VOUCHED
        if event.counted is not None and event.counted != len(contents) and event.action != Action.INSPECT:
            grade = Evidence.DOUBTFUL
            step.miscounted(len(contents), self.names.get(event.item, ""))
        self._keep(event.item, step)
        self.verdicts[event.uid] = step.verdict()
        self.found.extend(step.contradictions())
        if contents and step.applied and event.action != Action.INSPECT:
            self._vouch(replace(event, grade=grade), contents, step.from_show, {event.item})

    def _vouch(self, event: Event, contents: list[int], from_show: int | None, seen: set[int]) -> None:
        for item in contents:
            if item in seen:
                continue
            seen.add(item)
            if self.only is not None and item not in self.heads and item not in self.only and not self.contents[item]:
                continue
            step = _Step(head=self.heads.get(item, NOWHERE), event=replace(event, item=item), shows=self.shows)
            step.vouched(from_show)
            self._keep(item, step)
            if step.applied:
                self._vouch(event, sorted(self.contents[item] - event.missing), step.from_show, seen)

    def _keep(self, item: int, step: "_Step") -> None:
        self.heads[item] = step.after()
        self.closed[item].extend(step.closed)

    def _pack_until(self, instant: datetime) -> None:
        while self.next_put < len(self.puts) and self.puts[self.next_put].key[0] <= instant:
            put = self.puts[self.next_put]
            self.next_put += 1
            was = self.case_of.get(put.item)
            if was is not None:
                self.contents[was].discard(put.item)
            self.case_of[put.item] = put.case
            if put.case is not None:
                self.contents[put.case].add(put.item)


class _Step:
    """One event against one item's head."""

    def __init__(self, *, head: Head, event: Event, shows: Mapping[int, ShowTimes]) -> None:
        self.head, self.event, self.shows = head, event, shows
        self.stay = head.stay
        self.from_show = head.stay.show if head.stay else None
        self.closed: list[Stay] = []
        self.applied = True
        self.changed = False
        self.outcome, self.signal, self.reason = Outcome.ACCEPTED, Signal.FINE, ""
        self.kinds: list[tuple[Finding, str]] = []

    # what a scan of the thing itself does

    def direct(self) -> None:
        if self.event.action == Action.OUT:
            self._direct_out()
        elif self.event.action == Action.TRUCK:
            self._direct_truck()
        elif self.event.action == Action.BACK:
            self._direct_back()
        else:
            self._confirm()
            self.reason = f"Seen. It is out to {self._name(self.stay.show)}." if self.stay else "Seen. It is in the shop."

    def _direct_out(self) -> None:
        show = self.event.show
        if show is None:
            raise ValueError("A scan out names a show; what does not is left out by the caller.")
        there = self._name(show)
        if self.stay is None:
            self._open(show)
            self.reason = f"Out to {there}."
        elif self.stay.show == show:
            on_truck = self.stay.truck_at is not None
            self.stay = replace(self.stay, truck_uid=None, truck_at=None)
            self.changed = on_truck
            self._confirm()
            self.reason = f"Off the truck again: still out to {there}." if on_truck else f"Already out to {there}."
        else:
            other = self._name(self.stay.show)
            ended = self._ending()
            self._close(ended)
            self._open(show)
            if ended == Ended.STRAIGHT_ON:
                self.reason = f"Straight on from {other} to {there}."
            elif ended == Ended.MOVED:
                self._answer(Outcome.ACCEPTED, Signal.LOOK, f"Moved from {other}, which is now short, to {there}.")
            else:
                said = f"The record says it is at {other}, which is under way. Now out to {there}; a technician is told."
                self._contradict(Finding.OUT_ELSEWHERE, said)

    def _direct_truck(self) -> None:
        show = self.event.show if self.event.show is not None else self.from_show
        if show is None:
            self._confirm()
            self._contradict(Finding.NEVER_OUT, "Never scanned out, and no show was named: it stays in the shop on the record.")
            return
        if self.stay is None:
            self._open(show)
            self._contradict(Finding.NEVER_OUT, f"Never scanned out. Now on the truck from {self._name(show)}.")
        elif self.stay.show != show:
            other = self._name(self.stay.show)
            self._close(self._ending(yielded=True))
            self._open(show)
            self._contradict(
                Finding.TRUCK_ELSEWHERE, f"The record says it is out to {other}. Now on the truck from {self._name(show)}."
            )
        else:
            again = self.stay.truck_at is not None
            self.reason = f"{'Already on' if again else 'On'} the truck from {self._name(show)}."
        self._load()

    def _direct_back(self) -> None:
        if self.stay is None:
            self._confirm()
            self.reason = "It was already back."
            return
        here = self.shows[self.stay.show]
        at = self.event.effective_at
        under_way = here.begun_at(at) and not here.over_at(at)
        self._close(Ended.BACK)
        if self.event.show not in (None, here.id) and under_way:
            self._answer(Outcome.ACCEPTED, Signal.LOOK, f"Back from {here.name}, which is still under way.")
        else:
            self.reason = f"Back from {here.name}."

    # what a tick does against stronger evidence

    def ticked(self) -> None:
        show = self.event.show
        at = self.event.effective_at
        if self.event.action == Action.INSPECT or self.stay is None:
            if self.event.action == Action.TRUCK and self.stay is None:
                self.applied = False
                self._tick_yields("on the truck", "in the shop")
                return
            self.direct()
        elif self.event.action == Action.OUT:
            if self.stay.show == show:
                self._confirm()
                self.reason = f"Already out to {self._name(self.stay.show)}."
            elif self.shows[self.stay.show].over_at(at):
                self.direct()
            else:
                self.applied = False
                self._tick_yields(f"out to {self._name(show)}", f"out to {self._name(self.stay.show)}")
        elif show in (None, self.stay.show):
            self.direct()
        else:
            self.applied = False
            what = "on the truck" if self.event.action == Action.TRUCK else "back"
            self._tick_yields(f"{what} from {self._name(show)}", f"out to {self._name(self.stay.show)}")

    def _tick_yields(self, ticked: str, record: str) -> None:
        self._contradict(Finding.TICKED, f"Ticked as {ticked}, but it was scanned {record}: what was scanned stands.")

    # what a case's scan does to its contents

    def vouched(self, from_show: int | None) -> None:
        stay, action = self.stay, self.event.action
        show = self.event.show if self.event.show is not None else from_show
        if action == Action.OUT and show is not None:
            if stay is None:
                self._open(show)
            elif stay.show == show:
                self._confirm()
            elif stay.show == from_show:
                self._close(self._ending())
                self._open(show)
            else:
                self.applied = False
        elif action == Action.TRUCK and stay is not None and stay.show == show:
            self._load()
        elif action == Action.BACK and stay is not None and stay.show == from_show:
            self._close(Ended.BACK)
        else:
            self.applied = False

    def miscounted(self, expected: int, name: str) -> None:
        case = name or "this case"
        said = f"{self.event.counted} of {expected} were counted in {case}: scan what is in it."
        self.kinds.append((Finding.COUNT, said))
        self.outcome = Outcome.CONTRADICTION
        if self.signal == Signal.FINE:
            self.signal = Signal.LOOK
        self.reason = f"{self.reason} {said}".strip()

    # the answer

    def after(self) -> Head:
        head, event = self.head, self.event
        if not self.applied:
            return replace(head, last=event.key)
        heard = RANK[event.grade]
        held = RANK[head.evidence] if head.evidence else -1
        seen_at: datetime | None
        if self.changed or heard >= held:
            evidence, seen_at, seen_by = str(event.grade), event.effective_at, event.actor
        else:
            evidence, seen_at, seen_by = head.evidence, head.seen_at, head.seen_by
        since = event.effective_at if self.changed else head.since
        return Head(stay=self.stay, evidence=evidence, seen_at=seen_at, seen_by=seen_by, last=event.key, since=since)

    def verdict(self) -> Verdict:
        outcome, signal, reason = self.outcome, self.signal, self.reason
        advice = self.event.advice
        if advice and self.event.action == Action.OUT:
            if reason == f"Out to {self._name(self.event.show)}.":
                reason = f"It is out to {self._name(self.event.show)} all the same."
            signal, reason = Signal.STOP, f"{reason} {advice[:1].upper()}{advice[1:]}: take another, or undo."
        elif self.event.mind and self.event.action == Action.OUT:
            signal, reason = max(signal, Signal.LOOK, key=SIGNAL_RANK.__getitem__), f"{reason} {self.event.mind}"
        elif advice and self.event.action == Action.TRUCK:
            signal, reason = max(signal, Signal.LOOK, key=SIGNAL_RANK.__getitem__), f"{reason} Mind: {advice}."
        return Verdict(outcome=outcome, signal=signal, reason=shorten(reason))

    def contradictions(self) -> list[Contradiction]:
        event = self.event
        kinds: list[tuple[Finding, str]] = list(self.kinds)
        if event.action == Action.OUT and (event.told or event.advice):
            kinds.append((Finding.AGAINST_ADVICE, event.told or self.verdict().reason))
        elif event.said and SIGNAL_RANK[Signal(event.answered or self.verdict().signal)] > SIGNAL_RANK[Signal(event.said)]:
            # the hand went on with what the phone knew without signal: once it is known better, somebody must look
            kinds.append((Finding.SAID_OTHERWISE, f"Without signal the phone said {event.said}. {self.verdict().reason}"))
        return [
            Contradiction(
                item=event.item,
                uid=event.uid,
                kind=kind,
                said=shorten(said),
                happened_at=event.effective_at,
                show=event.show,
            )
            for kind, said in kinds
        ]

    # the parts

    def _held(self) -> Stay:
        if self.stay is None:
            raise ValueError("Nothing is open.")
        return self.stay

    def _name(self, show: int | None) -> str:
        return self.shows[show].name if show is not None else "no show"

    def _ending(self, *, yielded: bool = False) -> Ended:
        leaving, at = self.shows[self._held().show], self.event.effective_at
        if yielded:
            return Ended.RECORD_YIELDED
        if leaving.over_at(at):
            return Ended.STRAIGHT_ON
        return Ended.RECORD_YIELDED if leaving.begun_at(at) else Ended.MOVED

    def _open(self, show: int) -> None:
        event = self.event
        self.changed = True
        self.stay = Stay(
            show=show,
            opened_uid=event.uid,
            opened_at=event.effective_at,
            opened_by=event.actor,
            evidence=event.grade,
        )

    def _close(self, ended: Ended) -> None:
        event = self.event
        self.changed = True
        self.closed.append(
            replace(
                self._held(),
                closed_uid=event.uid,
                closed_at=event.effective_at,
                closed_by=event.actor,
                closed_evidence=event.grade,
                ended=ended,
            )
        )
        self.stay = None

    def _load(self) -> None:
        if self._held().truck_at is None:
            self.changed = True
            self.stay = replace(self._held(), truck_uid=self.event.uid, truck_at=self.event.effective_at)
        self._confirm()

    def _confirm(self) -> None:
        if self.stay is not None and RANK[self.event.grade] > RANK[self.stay.evidence]:
            self.stay = replace(self.stay, evidence=self.event.grade)

    def _answer(self, outcome: Outcome, signal: Signal, reason: str) -> None:
        self.outcome, self.signal, self.reason = outcome, signal, reason

    def _contradict(self, kind: Finding, said: str) -> None:
        self.kinds.append((kind, said))
        self._answer(Outcome.CONTRADICTION, Signal.LOOK, said)
