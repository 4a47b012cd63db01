"""Record scans: each stored once however often it is sent, each answered for good, none lost, never an exception for one.

One transaction a batch and a constant number of queries, whatever the number of scans; only counted lines cost some each.
"""

import uuid
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction

from company.models import Company, Person
from inventory.calc.codes import Read
from inventory.calc.kinds import Evidence, Kind
from inventory.models import CountedLine, Item, Label
from inventory.services.counted import Counted, CountRefused, count_back, count_out
from maintenance.calc.symptoms import Symptom
from maintenance.models import Fault
from maintenance.services import Report, faults_open
from shows.calc import custody as calc
from shows.calc.words import Action, Condition, Outcome, Signal
from shows.models import PullRow, Scan
from shows.services.custody import (
    contents_ever,
    heads_lock,
    held_of,
    history_fold,
    items_refold,
    project,
    puts_about,
    show_refold,
    show_times,
    undos_about,
)
from shows.services.effects import (
    counted_lines,
    counted_out,
    item_changes,
    items_changed,
    scans_done_again,
    scans_taken_back,
    swap_pull_row,
)
from shows.services.reading import Draft, draft_of, instant

__all__ = ["ScanAnswer", "items_refold", "scans_record", "show_refold"]

TRIES = 20
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


class _LostRace(Exception):  # noqa: N818 (not an error: the other sending of these scans got in first)
    pass


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
    for _attempt in range(TRIES):
        try:
            with transaction.atomic():
                return _Batch(actor=actor, received_at=received_at, drafts=drafts).record()
        except _LostRace:
            continue
    raise RuntimeError("These scans could not be written though nobody else holds them.")


class _Batch:
    """One envelope of scans, from lookup to answer."""

    def __init__(self, *, actor: Person | None, received_at: datetime, drafts: list[Draft]) -> None:
        self.actor, self.received_at, self.drafts = actor, received_at, drafts
        self.batch = uuid.uuid4()
        self.answers: dict[uuid.UUID, tuple[str, str, str, str]] = {}
        self.fresh: list[Draft] = []
        self.caused: dict[uuid.UUID, dict[str, Any]] = defaultdict(dict)
        self.item_of: dict[str, int] = {}
        self.items: dict[int, Item] = {}
        self.fold_these: list[Draft] = []
        self.folds: list[tuple[calc.Folded, Any, bool]] = []

    def record(self) -> list[ScanAnswer]:
        self._replay()
        if self.fresh:
            self._look_up()
            self._judge()
            self._lock()
            self._fold()
            self._count()
            self._swap()
            self._plan_changes()
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

    def _look_up(self) -> None:
        codes = {c for d in self.fresh for c in (d.code, d.replaces, *d.missing) if c}
        if codes:
            self.item_of = dict(Item.objects.filter(code__in=codes).order_by().values_list("code", "pk"))
            bound = Label.objects.filter(code__in=codes, item__isnull=False).order_by()
            self.item_of.update(bound.values_list("code", "item_id"))
        direct = {self.item_of[c] for d in self.fresh for c in (d.code,) if c in self.item_of}
        self.items = Item.objects.select_related("type", "at").in_bulk(direct) if direct else {}
        self.shows = show_times({d.show for d in self.fresh})
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
        old = undos_about({d.uid for d in self.fresh} | followed)
        self.old_undone = calc.undone(old)
        self.undos = new
        self.undone = frozenset(calc.undone([*old, *new]))
        turned = {uid for uid in self.targets if (uid in self.undone) != (uid in self.old_undone)}
        self.turned = [s for uid, s in sorted(self.targets.items()) if uid in turned and s.action != Action.UNDO]
        codes = {s.code for s in self.targets.values() if s.code} - set(self.item_of)
        if codes:
            self.item_of.update(Item.objects.filter(code__in=codes).order_by().values_list("code", "pk"))
            bound = Label.objects.filter(code__in=codes, item__isnull=False).order_by()
            self.item_of.update(bound.values_list("code", "item_id"))

    def _look_up_rows(self) -> None:
        """Read the pull rows that say which line an item is on, and which item is on a line."""
        self.line_of: dict[tuple[int, int], str] = {}
        self.on_line: dict[tuple[int, str], int] = {}
        ill = [d for d in self.fresh if d.show and (d.ill or d.parsed.read is Read.CHANNEL)]
        if not ill:
            return
        rows = (
            PullRow.objects.filter(show__in={d.show for d in ill}, item__isnull=False).exclude(line="").order_by("-rank", "-pk")
        )
        for show, item, line in rows.values_list("show_id", "item_id", "line"):
            self.line_of[show, item] = line
            self.on_line[show, line.strip().upper()] = item
        named = {item for item in self.on_line.values() if item not in self.items}
        self.items.update(Item.objects.select_related("type", "at").in_bulk(named) if named else {})

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

    def _judge_channel(self, draft: Draft) -> None:
        channel, show = draft.parsed.channel, draft.show or 0
        item = self.items.get(self.on_line.get((show, channel), 0))
        says = draft.symptom or Symptom.OTHER
        about = f"{item} is on it and is suspect from now on." if item else "Nobody has said yet what is on it."
        self._answer(
            draft, Outcome.ACCEPTED, Signal.FINE, f"Noted for {self.shows[show].name}: channel {channel} {says}. {about}"
        )

    def _answer(self, draft: Draft, outcome: str, signal: str, reason: str) -> None:
        self.answers[draft.uid] = (str(outcome), str(signal), calc.shorten(reason), draft.code)

    # the fold

    def _lock(self) -> None:
        """Hold the heads of every item that this batch may move, and see which can go on from their heads."""
        moved = {self.item_of[d.code] for d in self.fold_these}
        redone = {self.item_of[s.code] for s in self.turned if s.code in self.item_of}
        kinds = dict(Item.objects.filter(pk__in=redone - set(self.items)).values_list("pk", "type__kind")) if redone else {}
        kinds.update({pk: item.type.kind for pk, item in self.items.items()})
        cases = {item for item in moved | redone if kinds.get(item) == Kind.CASE}
        self.cases = cases
        inside = {case: contents_ever([case]) for case in cases} if len(cases) <= 3 else {}
        every = contents_ever(cases) if cases else set()
        affected = moved | redone | every
        self.rows = heads_lock(affected) if affected else {}
        self.held = held_of(affected, self.rows, only_open=True)
        late = set(redone)
        for draft in self.fold_these:
            item = self.item_of[draft.code]
            reached = {item} | (inside.get(item, every) if item in cases else set())
            late |= {i for i in reached if (last := self.held.heads[i].last) is not None and last >= draft.key}
        self.late = contents_ever(late) & affected if late else late
        self.going_on = affected - self.late

    def _events(self) -> list[calc.Event]:
        self._advise()
        return [
            calc.Event(
                uid=d.uid,
                effective_at=d.effective_at,
                device=d.device,
                seq=d.seq,
                item=self.item_of[d.code],
                action=d.action,
                show=d.show,
                grade=Evidence.SAID if d.ticked else Evidence.SEEN,
                actor=self.actor.pk if self.actor else None,
                counted=d.counted,
                missing=frozenset(self.item_of[c] for c in d.missing if c in self.item_of),
                advice=self._advice(d),
            )
            for d in self.fold_these
        ]

    def _advise(self) -> None:
        """Write what speaks against taking each item out, as far as it was known when the scan was made."""
        self.zone = Company.current().zone
        suspects = [i for i in self.items.values() if i.suspect_since]
        symptoms: dict[int, str] = {}
        if suspects and any(d.action in (Action.OUT, Action.TRUCK) for d in self.fold_these):
            faults = Fault.objects.filter(item__in=suspects, closed_at=None, withdrawn_at=None).order_by("-opened_at", "-pk")
            symptoms = {item: symptom for item, symptom in faults.values_list("item_id", "symptom") if item}
        self.advice: dict[int, calc.Advice] = {}
        said: dict[int, tuple[datetime, str]] = {}
        for pk, item in self.items.items():
            if item.suspect_since:
                said[pk] = (item.suspect_since, symptoms.get(pk, ""))
        for draft in self.fold_these:
            if draft.ill:
                pk = self.item_of[draft.code]
                told = (draft.effective_at, draft.symptom)
                # just after it: the scan that says so is not itself against advice
                later = (told[0] + timedelta(microseconds=1), told[1])
                said[pk] = min(said.get(pk, later), later, key=lambda s: s[0])
        for pk, item in self.items.items():
            since, symptom = said.get(pk, (None, ""))
            self.advice[pk] = calc.Advice(
                suspect_since=since,
                suspect=f"suspect since {self._day(since)}{f' ({symptom})' if symptom else ''}" if since else "",
                retired_on=item.retired_on,
                retired=f"retired {self._day(item.retired_on)}",
                lent_on=(item.lent_on or date.min) if item.lent_to else None,
                lent=f"lent to {item.lent_to}",
                gone_home_on=item.gone_home_on,
                gone_home=f"given back to {item.borrowed_from or 'its owner'} on {self._day(item.gone_home_on)}",
            )

    def _advice(self, draft: Draft) -> str:
        if draft.action not in (Action.OUT, Action.TRUCK):
            return ""
        day = draft.effective_at.astimezone(self.zone).date()
        return self.advice[self.item_of[draft.code]].at(draft.effective_at, day)

    def _day(self, when: date | datetime | None) -> str:
        if when is None:
            return ""
        day = when.astimezone(self.zone).date() if isinstance(when, datetime) else when
        year = "" if day.year == self.received_at.year else f" {day.year}"
        return f"{day:%a} {day.day} {day:%b}{year}"

    def _fold(self) -> None:
        if not self.rows:
            return
        events = self._events()
        verdicts: dict[uuid.UUID, calc.Verdict] = {}
        onward = [e for e in events if e.item in self.going_on]
        if onward:
            shows = {**self.shows, **show_times({h.stay.show for h in self.held.heads.values() if h.stay} - set(self.shows))}
            folded = calc.fold(
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
            whole = history_fold(self.late, events=events, undos=self.undos)
            verdicts.update({e.uid: whole.verdicts[e.uid] for e in events if e.item in self.late})
            self.folds.append((whole, held_of(self.late, self.rows, only_open=False), True))
        for draft in self.fold_these:
            verdict = verdicts[draft.uid]
            reason = verdict.reason
            if draft.action == Action.BACK:
                reason = " ".join([reason, *self._welcome(draft)])
            self._answer(draft, verdict.outcome, verdict.signal, reason)

    def _welcome(self, draft: Draft) -> list[str]:
        """Say what a scan back settles by itself."""
        item = self.items[self.item_of[draft.code]]
        day = draft.effective_at.astimezone(self.zone).date()
        said = []
        if item.lent_to and (item.lent_on is None or item.lent_on <= day):
            said.append(f"It was lent to {item.lent_to}; it is home again.")
        if item.gone_home_on is not None and item.gone_home_on <= day:
            said.append(f"It had been given back to {item.borrowed_from or 'its owner'}; it is here again.")
        return said

    # counts, swaps and what else a scan changes

    def _count(self) -> None:
        counted = [d for d in self.fresh if d.parsed.read is Read.COUNTED and d.uid not in self.answers]
        if not counted:
            return
        out = counted_out(self.lines)
        names = {**self.shows, **show_times({show for _line, show in out} - set(self.shows))}
        for draft in counted:
            line = self.lines[draft.parsed.number]
            if draft.action in (Action.OUT, Action.BACK):
                self._count_one(draft, line, out, names)
            else:
                self._answer(
                    draft, Outcome.ACCEPTED, Signal.FINE, f"Seen: {line}. Counted things move when they go out and come back."
                )

    def _count_one(
        self, draft: Draft, line: CountedLine, out: dict[tuple[int, int], int], names: dict[int, calc.ShowTimes]
    ) -> None:
        if draft.counted is None or (draft.counted == 0 and draft.action == Action.OUT):
            self._answer(draft, Outcome.REFUSED, Signal.STOP, f"Say how many: {line}.")
            return
        show, count = draft.show, draft.counted
        if show is None:
            there = sorted(
                (key[1] for key, left in out.items() if key[0] == line.pk and left > 0), key=lambda s: names[s].load_in
            )
            if not there:
                self._answer(
                    draft, Outcome.CONTRADICTION, Signal.LOOK, f"None of {line} is out to any show. Kept: tell a technician."
                )
                return
            show = there[0]
        shared: dict[str, Any] = {
            "uid": draft.uid,
            "line": line,
            "show": show,
            "at": draft.effective_at,
            "person": self.actor,
            "note": draft.note[:200],
        }
        try:
            moved: Counted
            if draft.action == Action.OUT:
                moved = count_out(count=count, **shared)
            else:
                good, bad = (0, count) if draft.ill else (count, 0)
                moved = count_back(good=good, bad=bad, **shared)
        except CountRefused as refused:
            self._answer(draft, Outcome.REFUSED, Signal.STOP, str(refused))
            return
        self.caused[draft.uid]["counted"] = True
        name = names[show].name
        before = out.get((line.pk, show), 0)
        left = before + count if draft.action == Action.OUT else before - count
        out[line.pk, show] = left
        if draft.action == Action.OUT:
            said = f"{count} × {line} out to {name}."
            signal = Signal.LOOK if moved.warning else Signal.FINE
            self._answer(draft, Outcome.ACCEPTED, signal, f"{said} {moved.warning}".strip())
            return
        ill = ", bad" if draft.ill else ""
        if left < 0:
            said = f"{count} × {line} back from {name}{ill}: that is {-left} more than went out. Kept: tell a technician."
            self._answer(draft, Outcome.CONTRADICTION, Signal.LOOK, said)
        else:
            still = f" {left} still out." if left and line.type.kind != Kind.CONSUMABLE else ""
            self._answer(draft, Outcome.ACCEPTED, Signal.FINE, f"{count} × {line} back from {name}{ill}.{still}")

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
                said = "The dead one has no place on that pull list to take over."
            self._answer(draft, outcome, signal, f"{reason} {said}")

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
                day=draft.effective_at.astimezone(self.zone).date(),
                back=back,
                came_home=back and was is not None,
                label_gone=draft.condition == Condition.LABEL_GONE,
            )
            if not changes:
                continue
            self.caused[draft.uid]["items"] = {str(pk): changes}
            for name in changes:  # a second scan of it in this batch finds it changed
                setattr(item, name, "" if name == "lent_to" else draft.effective_at if name == "label_gone_since" else None)

    # writing

    def _insert(self) -> None:
        rows = []
        for draft in sorted(self.fresh, key=lambda d: d.uid):
            outcome, signal, reason, code = self.answers[draft.uid]
            rows.append(
                Scan(
                    uid=draft.uid,
                    batch=self.batch,
                    device=draft.device,
                    seq=draft.seq,
                    code_text=draft.code_text,
                    code=code,
                    action=draft.action,
                    show_id=draft.show,
                    condition=draft.condition,
                    symptom=draft.symptom,
                    note=draft.note,
                    counted=draft.counted,
                    missing=draft.missing,
                    undoes=draft.undoes,
                    replaces=draft.replaces,
                    ticked=draft.ticked,
                    happened_at=draft.happened_at,
                    received_at=self.received_at,
                    effective_at=draft.effective_at,
                    as_sent=draft.as_sent,
                    caused=self.caused.get(draft.uid) or None,
                    actor=self.actor,
                    outcome=outcome,
                    signal=signal,
                    reason=reason,
                )
            )
        Scan.objects.bulk_create(rows, ignore_conflicts=True)
        if Scan.objects.filter(uid__in=[row.uid for row in rows], batch=self.batch).count() != len(rows):
            raise _LostRace

    def _write(self) -> None:
        for folded, held, whole in self.folds:
            project(folded=folded, held=held, whole=whole, at=self.received_at)
        reports = [self._report(d) for d in self.fresh if self._reports(d)]
        if reports:
            faults_open(reports=reports)
        items_changed(
            (int(pk), changes, draft.effective_at)
            for draft in self.fresh
            for pk, changes in self.caused.get(draft.uid, {}).get("items", {}).items()
        )
        undo = next((u.uid for u in self.undos), self.batch)
        gone = [s for s in self.turned if s.uid in self.undone]
        again = [s for s in self.turned if s.uid not in self.undone]
        if gone:
            scans_taken_back(scans=gone, undo=undo, at=self.received_at, person=self.actor)
        if again:
            scans_done_again(scans=again, at=self.received_at, person=self.actor)

    def _reports(self, draft: Draft) -> bool:
        if draft.uid in self.undone or draft.action in ("", Action.UNDO):
            return False
        if self.answers[draft.uid][0] in (Outcome.REFUSED, Outcome.UNKNOWN):
            return False
        return draft.parsed.read is Read.CHANNEL or (draft.ill and draft.parsed.read is Read.CODE)

    def _report(self, draft: Draft) -> Report:
        if draft.parsed.read is Read.CHANNEL:
            line = draft.parsed.channel
            item = self.on_line.get((draft.show or 0, line))
        else:
            item = self.item_of[draft.code]
            line = self.line_of.get((draft.show or 0, item), "")
        return Report(
            uid=draft.uid,
            item=item,
            at=draft.effective_at,
            show=draft.show,
            line=line,
            symptom=draft.symptom or Symptom.OTHER,
            note=draft.note,
            person=self.actor.pk if self.actor else None,
        )
