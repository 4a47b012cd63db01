"""Record scans: each stored once however often it is sent, each answered for good, none lost, never an exception for one.

One transaction a batch and a constant number of queries, whatever the number of scans; only what is counted or put in a bag
costs some each.
"""

import uuid
from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import IntegrityError, OperationalError, connection, transaction

from company.models import Person
from company.rows import rows_insert
from inventory.calc.codes import Read, spell
from inventory.calc.kinds import Evidence, Kind
from inventory.models import Item
from maintenance.calc.symptoms import Symptom
from maintenance.services.calls import Wet, wet_record
from maintenance.services.faults import Report, faults_open
from maintenance.wet import wet_things
from shows.calc import evidence as calc
from shows.calc.crew import refusal
from shows.calc.custody import fold
from shows.calc.finding import found_when
from shows.calc.words import Action, Condition, Outcome, Signal
from shows.models import PullRow, Scan
from shows.services.advising import Adviser
from shows.services.counting import Counter, counted_lines
from shows.services.custody import items_refold, project, show_refold
from shows.services.effects import (
    CALLED,
    Put,
    into_cases,
    item_changes,
    items_changed,
    put_words,
    scans_done_again,
    scans_taken_back,
    swap_pull_row,
    things_put,
)
from shows.services.history import (
    contents_ever,
    heads_lock,
    held_of,
    history_fold,
    items_of_codes,
    items_read,
    puts_about,
    undos_about,
)
from shows.services.lacking import OUT_OF, SAID_MISSING, case_lacks, lacking_turned
from shows.services.passes import limits_of
from shows.services.programme import Programme
from shows.services.reading import EARLIEST, Draft, draft_of, instant
from shows.services.telling import Listed, lacking_words, noted_words, undone_words

__all__ = ["ScanAnswer", "items_refold", "scans_record", "show_refold"]

TRIES = 20
UNDER_WAY = timedelta(seconds=30)  # the longest a batch takes to arrive: the page gives it up after 20
LAST = 20  # of a device's scans: what was held back for a question may have come after later ones
DEADLOCK = "40P01"  # PostgreSQL's code for it
SCAN_COLUMNS = (
    "uid",
    "batch",
    "device",
    "seq",
    "code_text",
    "code",
    "action",
    "show_id",
    "condition",
    "symptom",
    "note",
    "counted",
    "missing",
    "undoes",
    "replaces",
    "into",
    "said",
    "ticked",
    "happened_at",
    "received_at",
    "effective_at",
    "as_sent",
    "caused",
    "actor_id",
    "outcome",
    "signal",
    "reason",
)
DID: dict[str, str] = {
    Action.OUT: "out",
    Action.TRUCK: "on the truck",
    Action.BACK: "back",
    Action.INSPECT: "seen",
    Action.UNDO: "undo",
}


@dataclass(frozen=True, kw_only=True)
class ScanAnswer:
    """What a device is told of one scan, for good. `code` is the code that was read, empty if it was none of ours."""

    id: str
    outcome: str
    signal: str
    reason: str
    code: str


def scans_record(
    *, actor: Person | None, device: str, sent_at: datetime | None, scans: list[dict[str, Any]], received_at: datetime
) -> list[ScanAnswer]:
    """Record a batch and answer each scan, in order. Only an id that is no UUID raises (ValueError).

    A uid already on record answers what it was first answered, whatever else is sent with it now.
    """
    sent = instant(sent_at)
    drafts = [draft_of(scan, device=device, sent_at=sent, received_at=received_at) for scan in scans]
    if not drafts:
        return []
    for attempt in range(1, TRIES + 1):
        try:
            with transaction.atomic():
                return _Batch(actor=actor, received_at=received_at, drafts=drafts).record()
        except IntegrityError:
            # somebody else sent one of these scans at the same moment and got in first: now it is on record, look again
            if attempt == TRIES:
                raise
        except OperationalError as error:
            # two transactions waited for one another and the database gave up this one: nothing of it is written
            deadlock = getattr(error.__cause__, "sqlstate", "") == DEADLOCK
            if attempt == TRIES or not deadlock or connection.in_atomic_block:
                raise
    raise AssertionError


class _Batch:
    """One envelope of scans, from lookup to answer."""

    def __init__(self, *, actor: Person | None, received_at: datetime, drafts: list[Draft]) -> None:
        self.actor, self.received_at, self.drafts = actor, received_at, drafts
        self.limits = limits_of(actor)
        self.batch = uuid.uuid4()
        self.answers: dict[uuid.UUID, tuple[str, str, str, str]] = {}
        self.fresh: list[Draft] = []
        self.caused: dict[uuid.UUID, dict[str, Any]] = defaultdict(dict)
        self.item_of: dict[str, int] = {}
        self.items: dict[int, Item] = {}
        self.fold_these: list[Draft] = []
        self.puts: dict[uuid.UUID, Put] = {}
        self.lacking: dict[uuid.UUID, list[str]] = {}
        self.wet: dict[uuid.UUID, Wet] = {}
        self.folds: list[tuple[calc.Folded, Any, bool]] = []

    def record(self) -> list[ScanAnswer]:
        self._replay()
        if self.fresh:
            self._keep_order()
            self._look_up()
            self._judge()
            self._lock()
            self._fold()
            self._count()
            self._swap()
            self._put()
            self._plan_changes()
            self._plan_calls()
            self._insert()
            self._write()
        return [
            ScanAnswer(id=d.id, outcome=o, signal=s, reason=r, code=c)
            for d in self.drafts
            for o, s, r, c in [self.answers[d.uid]]
        ]

    def _replay(self) -> None:
        uids = {d.uid for d in self.drafts}
        rows = Scan.objects.filter(uid__in=uids).order_by().values_list("uid", "outcome", "signal", "reason", "code")
        self.answers = {uid: (outcome, signal, reason, code) for uid, outcome, signal, reason, code in rows}
        first: dict[uuid.UUID, Draft] = {}
        for draft in self.drafts:
            if draft.uid not in self.answers:
                first.setdefault(draft.uid, draft)
        self.fresh = sorted(first.values(), key=lambda d: d.key)

    def _keep_order(self) -> None:
        """Keep a device's scans in the order it made them: a batch that was long under way looks like a clock that is behind,
        and would come after what was scanned later and arrived at once."""
        past = Scan.objects.filter(device=self.fresh[0].device).order_by("-received_at", "-seq")
        last = list(past.values_list("seq", "happened_at", "effective_at")[:LAST])
        for draft in self.fresh:
            happened = draft.happened_at or EARLIEST
            before = [at for seq, then, at in last if seq < draft.seq and then is not None and then <= happened]
            latest = max(before, default=draft.effective_at)
            if timedelta(0) < latest - draft.effective_at < UNDER_WAY:
                draft.effective_at = min(latest, self.received_at)
        self.fresh.sort(key=lambda d: d.key)

    def _look_up(self) -> None:
        codes = {c for d in self.fresh for c in (d.code, d.replaces, d.into, *d.missing) if c}
        found = items_of_codes(codes)
        self.item_of = {code: item for code, (item, _kind) in found.items()}
        self.kind_of = dict(found.values())
        self.bags = into_cases(self.item_of[d.into] for d in self.fresh if d.into in self.item_of)
        self.programme = Programme()
        self.shows = self.programme.times({d.show for d in self.fresh})
        for draft in self.fresh:
            if draft.show is not None and draft.show not in self.shows:
                draft.show, draft.unknown_show = None, True
        self._look_up_undos()
        self.lines = counted_lines({d.parsed.number for d in self.fresh if d.parsed.read is Read.COUNTED})
        self._look_up_rows()

    def _look_up_undos(self) -> None:
        """Find what the undos of this batch reach, and which scans of it are taken back already."""
        asked = [d for d in self.fresh if d.action == Action.UNDO and d.undoes]
        new = [calc.Undo(uid=d.uid, undoes=d.undoes, key=d.key) for d in asked if d.undoes]
        by_uid = {d.uid: d for d in self.fresh}
        self.targets: dict[uuid.UUID, Scan] = {}
        edge = {u.undoes for u in new}
        followed: set[uuid.UUID] = set()
        while edge:
            followed |= edge
            rows = Scan.objects.filter(uid__in=edge)
            self.targets.update({scan.uid: scan for scan in rows})
            onward = {s.undoes for s in self.targets.values() if s.uid in edge and s.undoes}
            onward |= {by_uid[uid].undoes for uid in edge if uid in by_uid and by_uid[uid].undoes}  # type: ignore[misc]
            edge = onward - followed
        new = [u for u in new if not self._is_anothers(self.targets.get(u.undoes))]
        old = undos_about({d.uid for d in self.fresh} | followed)
        self.old_undone = calc.undone(old)
        self.undos = new
        self.undone = frozenset(calc.undone([*old, *new]))
        turned = {uid for uid in self.targets if (uid in self.undone) != (uid in self.old_undone)}
        self.turned = [s for uid, s in sorted(self.targets.items()) if uid in turned and s.action != Action.UNDO]
        found = items_of_codes({s.code for s in self.targets.values() if s.code} - set(self.item_of))
        self.item_of.update((code, item) for code, (item, _kind) in found.items())
        self.kind_of.update(found.values())

    def _look_up_rows(self) -> None:
        """Read the pull rows that say which line an item is on, and which item is on a line."""
        self.line_of: dict[tuple[int, int], str] = {}
        self.on_line: dict[tuple[int, str], int] = {}
        self.named: dict[int, Item] = {}
        ill = [d for d in self.fresh if d.show and (d.ill or d.parsed.read is Read.CHANNEL)]
        if not ill:
            return
        rows = (
            PullRow.objects.filter(show__in={d.show for d in ill}, item__isnull=False).exclude(line="").order_by("-rank", "-pk")
        )
        for show, item, line in rows.values_list("show_id", "item_id", "line"):
            self.line_of[show, item] = line
            self.on_line[show, line.strip().upper()] = item
        self.named = items_read(self.on_line.values())

    # judging what needs no fold

    def _judge(self) -> None:
        for draft in self.fresh:
            said = self._refusal(draft)
            if said:
                self._answer(draft, *said)
            elif draft.action == Action.UNDO:
                self._answer(draft, Outcome.ACCEPTED, Signal.FINE, self._undo_said(draft))
            elif draft.uid in self.undone:
                self._answer(
                    draft, Outcome.ACCEPTED, Signal.FINE, "It was taken back before it came in: kept, and counts for nothing."
                )
            elif draft.parsed.read is Read.CHANNEL:
                self._judge_channel(draft)
            elif draft.parsed.read is not Read.COUNTED:
                self.fold_these.append(draft)

    def _refusal(self, draft: Draft) -> tuple[Outcome, Signal, str] | None:
        """Say why a scan is refused or unknown; None when it counts."""
        refused, unknown = (Outcome.REFUSED, Signal.STOP), (Outcome.UNKNOWN, Signal.STOP)
        if not draft.action or (draft.action == Action.UNDO and draft.undoes is None):
            return *refused, draft.wrong[0]
        if beyond := self._beyond_pass(draft):
            return *refused, beyond
        if draft.action == Action.UNDO:
            return None
        read = draft.parsed.read
        if read in (Read.COMMAND, Read.SHOW_CARD):
            return *unknown, "A command card is read by the dock page: scan it there."
        if read is Read.NOTHING:
            return *unknown, draft.parsed.why
        if read is Read.COUNTED and draft.parsed.number not in self.lines:
            return *unknown, "Nothing is counted under that shelf label any more."
        if draft.action in (Action.OUT, Action.TRUCK) or read is Read.CHANNEL:
            if draft.unknown_show:
                return *refused, "No show of ours has that number. Choose the show and scan it again."
            if draft.show is None and (draft.action == Action.OUT or read is Read.CHANNEL):
                return *refused, "Say which show first, then scan it again."
            if draft.wrong:
                return *refused, draft.wrong[0]
        if read is Read.CODE and draft.code not in self.item_of:
            return *unknown, "Nothing has this label yet. The scan is kept and counts once the label is bound."
        return None

    def _beyond_pass(self, draft: Draft) -> str:
        """Say why a crew pass does not let this be scanned; empty for people with an account."""
        if self.limits is None:
            return ""
        if draft.undoes and self._is_anothers(self.targets.get(draft.undoes)):
            return "A pass takes back only what was scanned on it."
        happened, show = draft.effective_at, None if draft.unknown_show else draft.show
        return refusal(self.limits, action=draft.action, show=show, happened=happened, received=self.received_at)

    def _is_anothers(self, scan: Scan | None) -> bool:
        """Say whether a crew pass has no business taking this scan back."""
        return self.limits is not None and scan is not None and scan.actor_id != getattr(self.actor, "pk", None)

    def _undo_said(self, draft: Draft) -> str:
        target = self.targets.get(draft.undoes) if draft.undoes else None
        there = next((d for d in self.fresh if d.uid == draft.undoes), None)
        if target is None and there is None:
            return "Kept: it takes its scan back as soon as that scan comes in."
        action = target.action if target is not None else there.action if there is not None else ""
        did = DID.get(action, "a scan that counted for nothing")
        if target is not None and target.uid in self.old_undone:
            return f"That was taken back already: {did}."
        return "The undo is taken back: the scan counts again." if action == Action.UNDO else f"Taken back: {did}."

    def _undo_told(self, folded: calc.Folded) -> None:
        """Say of scans taken back where the thing is now, once that is known."""
        targets = {t.uid: t for t in self.turned if t.uid in self.undone and self.item_of.get(t.code) in folded.items}
        undos = [(d, targets[d.undoes]) for d in self.fresh if d.action == Action.UNDO and d.undoes in targets]
        heads = [folded.items[self.item_of[target.code]].head for _, target in undos]
        names = {pk: show.name for pk, show in self.programme.times(h.stay.show for h in heads if h.stay).items()}
        for (draft, target), head in zip(undos, heads, strict=True):
            if target.action in (Action.OUT, Action.TRUCK, Action.BACK):
                said = undone_words(did=DID[target.action], show=target.show_id, head=head, shows=names)
                self._answer(draft, Outcome.ACCEPTED, Signal.FINE, said)

    def _judge_channel(self, draft: Draft) -> None:
        channel, show = draft.parsed.channel, draft.show or 0
        item = self.named.get(self.on_line.get((show, channel), 0))
        says = f" {draft.symptom}" if draft.symptom and draft.symptom != Symptom.OTHER else ""
        then = "to be tested before it goes out again" if draft.wet and item and wet_things(item) else "suspect from now on"
        about = f"{item} is on it and is {then}." if item else "Nobody has said yet what is on it."
        self._answer(
            draft, Outcome.ACCEPTED, Signal.FINE, f"Channel {channel}{says}: noted for {self.shows[show].name}. {about}"
        )

    def _answer(self, draft: Draft, outcome: str, signal: str, reason: str) -> None:
        self.answers[draft.uid] = (str(outcome), str(signal), calc.shorten(reason), draft.code)

    # the fold

    def _lock(self) -> None:
        """Hold the heads of every item that this batch may move, and see which can go on from their heads."""
        moved = {self.item_of[d.code] for d in self.fold_these}
        redone = {self.item_of[s.code] for s in self.turned if s.code in self.item_of}
        cases = {item for item in moved | redone if self.kind_of[item] == Kind.CASE}
        self.cases = cases
        inside = {case: contents_ever([case]) for case in cases} if len(cases) <= 3 else {}
        every = contents_ever(cases) if cases else set()
        affected = moved | redone | every
        self.rows = heads_lock(affected) if affected else {}
        if self._unpack():
            self.rows = heads_lock(affected)
        self.items = items_read(moved)
        custody = {pk: (i.custody, i.custody_show, i.custody_since) for pk, i in self.items.items()}
        self.held = held_of(affected, self.rows, only_open=True, custody=custody if affected == moved else None)
        late = set(redone)
        for draft in self.fold_these:
            item = self.item_of[draft.code]
            reached = {item} | (inside.get(item, every) if item in cases else set())
            late |= {i for i in reached if (last := self.held.heads[i].last) is not None and last >= draft.key}
        self.late = contents_ever(late) & affected if late else late
        self.going_on = affected - self.late

    def _unpack(self) -> bool:
        """Take out of their cases, from the instant of each scan, what it says is not there; put back what a scan that is
        taken back had said so of. Says whether anything may have moved."""
        turned = [scan for scan in self.turned if OUT_OF in (scan.caused or {})]
        lacking_turned(scans=[s for s in turned if s.uid in self.undone], done=False, person=self.actor)
        lacking_turned(scans=[s for s in turned if s.uid not in self.undone], done=True, person=self.actor)
        told = [d for d in self.fold_these if d.missing and self.item_of[d.code] in self.cases]
        for draft in told:
            items = [self.item_of[code] for code in draft.missing if code in self.item_of]
            lacking = case_lacks(draft=draft, case=self.item_of[draft.code], items=items, person=self.actor)
            if lacking:
                self.lacking[draft.uid] = lacking.names
                self.caused[draft.uid][OUT_OF] = lacking.items
                if lacking.missing:
                    self.caused[draft.uid][SAID_MISSING] = lacking.missing
        return bool(told or turned)

    def _events(self) -> list[calc.Event]:
        scans = [(draft, self.item_of[draft.code]) for draft in self.fold_these]
        self.adviser = Adviser(items=self.items, scans=scans, programme=self.programme, received_at=self.received_at)
        actor = self.actor.pk if self.actor else None
        return [
            calc.Event(
                uid=d.uid,
                effective_at=d.effective_at,
                device=d.device,
                seq=d.seq,
                item=item,
                action=d.action,
                show=d.show,
                grade=Evidence.SAID if d.ticked else Evidence.SEEN,
                actor=actor,
                counted=d.counted,
                missing=frozenset(self.item_of[c] for c in d.missing if c in self.item_of),
                advice=self.adviser.against(d, item),
                mind=self.adviser.mind(d, item),
                said=d.said,
            )
            for d, item in scans
        ]

    def _fold(self) -> None:
        if not self.rows:
            return
        events = self._events()
        verdicts: dict[uuid.UUID, calc.Verdict] = {}
        onward = [e for e in events if e.item in self.going_on]
        if onward:
            shows = {**self.shows, **self.programme.times(h.stay.show for h in self.held.heads.values() if h.stay)}
            folded = fold(
                events=onward,
                shows=shows,
                puts=puts_about(contents_ever(self.cases)) if self.cases else (),
                heads={item: self.held.heads[item] for item in self.going_on},
                names={pk: item.label for pk, item in self.items.items() if pk in self.cases},
                only=frozenset(self.going_on),
            )
            for item in [i for i, c in folded.items.items() if c.head is self.held.heads.get(i)]:
                del folded.items[item]
            verdicts.update(folded.verdicts)
            self.folds.append((folded, self.held, False))
        if self.late:
            whole = history_fold(self.late, events=events, undos=self.undos, programme=self.programme)
            verdicts.update({e.uid: whole.verdicts[e.uid] for e in events if e.item in self.late})
            self.folds.append((whole, held_of(self.late, self.rows, only_open=False), True))
            self._undo_told(whole)
        self._tell(verdicts)

    def _tell(self, verdicts: dict[uuid.UUID, calc.Verdict]) -> None:
        """Answer what was folded: the fold's own words, and what else the hand should know or do."""
        outs = [(d.show, self.items[self.item_of[d.code]]) for d in self.fold_these if d.action == Action.OUT]
        listed = Listed(going=[(show, item) for show, item in outs if show is not None])
        for draft in self.fold_these:
            verdict, item = verdicts[draft.uid], self.items[self.item_of[draft.code]]
            said, signal = [verdict.reason], verdict.signal
            if draft.action == Action.BACK:
                said += self.adviser.welcome(draft, item.pk)
            elif draft.action == Action.INSPECT and not draft.into and (noted := noted_words(draft, item)):
                said, signal = [noted], Signal.LOOK
            elif draft.action == Action.OUT and draft.show is not None:
                on_list = listed.words(show=draft.show, item=item)
                if signal != Signal.STOP and not draft.replaces:
                    said.append(on_list)
            if draft.uid in self.lacking:
                counted = draft.counted if verdict.outcome == Outcome.ACCEPTED else None
                said.append(lacking_words(names=self.lacking[draft.uid], counted=counted))
                signal = Signal.STOP if signal == Signal.STOP else Signal.LOOK
            self._answer(draft, verdict.outcome, signal, " ".join(filter(None, said)))

    # counts, swaps and what else a scan changes

    def _count(self) -> None:
        counted = [d for d in self.fresh if d.parsed.read is Read.COUNTED and d.uid not in self.answers]
        counter = Counter(lines=self.lines, programme=self.programme, actor=self.actor)
        for draft in counted:
            told = counter.enter(draft)
            self._answer(draft, told.outcome, told.signal, told.reason)
            if told.entered:
                self.caused[draft.uid]["counted"] = True

    def _swap(self) -> None:
        for draft in self.fold_these:
            dead = self.item_of.get(draft.replaces)
            if not draft.replaces or draft.show is None:
                continue
            outcome, signal, reason, _code = self.answers[draft.uid]
            spare = self.items[self.item_of[draft.code]]
            kept = swap_pull_row(show=draft.show, dead=dead, spare=spare) if dead else None
            if kept:
                self.caused[draft.uid]["swap"] = kept
                said = "It takes the dead one's place on the pull list."
            else:
                said, reason = "the dead one is suspect.", f"{spell(draft.code)} goes in its place;"
            self._answer(draft, outcome, signal, f"{reason} {said}")

    def _put(self) -> None:
        for draft in self.fold_these:
            if not draft.into and not draft.into_unread:
                continue
            item, bag = self.items[self.item_of[draft.code]], self.bags.get(self.item_of.get(draft.into, 0))
            goes, said = put_words(item=item, into=bag)
            outcome, signal, reason, _code = self.answers[draft.uid]
            if goes and bag is not None:
                self.caused[draft.uid]["into"] = bag.pk
                self.puts[draft.uid] = Put(
                    scan=draft.uid,
                    item=item,
                    into=bag,
                    at=draft.effective_at,
                    device=draft.device,
                    seq=draft.seq,
                    ticked=draft.ticked,
                )
            elif signal == Signal.FINE:
                signal = Signal.LOOK
            self._answer(draft, outcome, signal, f"{reason} {said}".strip())

    def _plan_changes(self) -> None:
        for draft in self.fold_these:
            if draft.ticked and draft.action != Action.BACK:
                continue
            pk = self.item_of[draft.code]
            item = self.items[pk]
            was = self.held.heads[pk].stay
            back = draft.action == Action.BACK
            changes = item_changes(
                item,
                at=draft.effective_at,
                day=self.programme.day(draft.effective_at),
                back=back,
                came_home=back and was is not None,
                label_gone=draft.condition == Condition.LABEL_GONE,
            )
            if not changes:
                continue
            self.caused[draft.uid]["items"] = {str(pk): changes}
            for name in changes:  # a second scan of it in this batch finds it changed
                setattr(item, name, "" if name == "lent_to" else draft.effective_at if name == "label_gone_since" else None)

    def _plan_calls(self) -> None:
        """Let what got wet be called to be tested; what has no standing, and nothing in it, is reported as a fault."""
        for draft in self.fresh:
            if not self._reports(draft):
                continue
            item = self._item_reported(draft)
            things = self._judged(item) if item and draft.wet else []
            if things:
                self.caused[draft.uid][CALLED] = things
                self.wet[draft.uid] = Wet(
                    uid=draft.uid,
                    items=tuple(things),
                    at=draft.effective_at,
                    show=draft.show,
                    person=self.actor.pk if self.actor else None,
                )

    def _judged(self, key: int) -> list[int]:
        item = self.items.get(key) or self.named.get(key)
        return [thing.pk for thing in wet_things(item)] if item else []

    def _item_reported(self, draft: Draft) -> int | None:
        if draft.parsed.read is Read.CHANNEL:
            return self.on_line.get((draft.show or 0, draft.parsed.channel))
        return self.item_of[draft.code]

    # writing

    def _insert(self) -> None:
        actor = self.actor.pk if self.actor else None
        rows = [
            (
                draft.uid,
                self.batch,
                draft.device,
                draft.seq,
                draft.code_text,
                code,
                draft.action,
                draft.show,
                draft.condition,
                draft.symptom,
                draft.note,
                draft.counted,
                draft.missing,
                draft.undoes,
                draft.replaces,
                draft.into,
                draft.said,
                draft.ticked,
                draft.happened_at,
                self.received_at,
                draft.effective_at,
                draft.as_sent,
                self.caused.get(draft.uid) or None,
                actor,
                outcome,
                signal,
                reason,
            )
            for draft in sorted(self.fresh, key=lambda d: d.uid)
            for outcome, signal, reason, code in [self.answers[draft.uid]]
        ]
        rows_insert(Scan, SCAN_COLUMNS, rows)

    def _write(self) -> None:
        for folded, held, whole in self.folds:
            project(folded=folded, held=held, whole=whole, at=self.received_at, programme=self.programme)
        reports = self._reports_made()
        if reports:
            faults_open(reports=reports)
        if self.wet:
            wet_record(reports=self.wet.values(), at=self.received_at)
        items_changed(
            (int(pk), changes, draft.effective_at)
            for draft in self.fresh
            for pk, changes in self.caused.get(draft.uid, {}).get("items", {}).items()
        )
        things_put(puts=self.puts.values(), person=self.actor)
        gone = [s for s in self.turned if s.uid in self.undone]
        again = [s for s in self.turned if s.uid not in self.undone]
        if gone:
            scans_taken_back(scans=gone, at=self.received_at, person=self.actor)
        if again:
            scans_done_again(scans=again, at=self.received_at, person=self.actor)

    def _reports_made(self) -> list[Report]:
        """Report what is ill, once: what only says that a thing went in a bag adds nothing where it is suspect already."""
        reports: list[Report] = []
        told: set[int | None] = set()
        for draft in self.fresh:
            if not self._reports(draft) or draft.uid in self.wet:
                continue
            report = self._report(draft)
            if draft.into and report.item in self.items and report.symptom == Symptom.OTHER:
                item = self.items[report.item]
                if item.pk in told or item.suspect_since or not item.type.has_standing:
                    continue
            told.add(report.item)
            reports.append(report)
        return reports

    def _reports(self, draft: Draft) -> bool:
        if draft.uid in self.undone or draft.action in ("", Action.UNDO):
            return False
        if self.answers[draft.uid][0] in (Outcome.REFUSED, Outcome.UNKNOWN):
            return False
        return draft.parsed.read is Read.CHANNEL or (draft.ill and draft.parsed.read is Read.CODE)

    def _report(self, draft: Draft) -> Report:
        item = self._item_reported(draft)
        on_channel = draft.parsed.read is Read.CHANNEL
        line = draft.parsed.channel if on_channel else self.line_of.get((draft.show or 0, item or 0), "")
        return Report(
            uid=draft.uid,
            item=item,
            at=draft.effective_at,
            show=draft.show,
            line=line,
            symptom=draft.symptom or Symptom.OTHER,
            note=draft.note or (f"Put in {self.puts[draft.uid].into}" if draft.uid in self.puts else ""),
            person=self.actor.pk if self.actor else None,
            found=self._found(draft),
        )

    def _found(self, draft: Draft) -> str:
        """Say when what a scan reports came out, by the times of its show."""
        show = draft.show or 0
        use = self.programme.uses([show] if show else []).get(show)  # read already, with all shows of the batch
        if use is None or use.cancelled:
            return found_when(action=draft.action, at=draft.effective_at, load_in=None, start=None, end=None)
        return found_when(action=draft.action, at=draft.effective_at, load_in=use.load_in, start=use.start, end=use.end)
