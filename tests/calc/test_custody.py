"""The fold: each row of the table by name, evidence, undos, and that the order of arrival never matters."""

import random
from datetime import UTC, date, datetime, timedelta
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.kinds import Evidence
from shows.calc.custody import fold
from shows.calc.evidence import Advice, Custody, Event, Finding, Head, Put, ShowTimes, Undo, undone
from shows.calc.words import Action, Ended, Outcome, Signal

T0 = datetime(2026, 9, 25, 9, 0, tzinfo=UTC)
S, T, LATER, OLD = 1, 2, 3, 4
ITEM, CASE, INNER, OUTER = 1, 50, 51, 52


def at(hours: float) -> datetime:
    return T0 + timedelta(hours=hours)


SHOWS = {
    S: ShowTimes(id=S, name="Harvest ceilidh", load_in=at(0), strike=at(10)),
    T: ShowTimes(id=T, name="Quarry fair", load_in=at(-2), strike=at(8)),  # under way
    LATER: ShowTimes(id=LATER, name="Brass concert", load_in=at(100), strike=at(110)),  # not begun
    OLD: ShowTimes(id=OLD, name="Chapel supper", load_in=at(-50), strike=at(-40)),  # over
}


def scan(action, hours, show=None, *, n=None, item=ITEM, **kw) -> Event:
    scan.number += 1
    number = n if n is not None else scan.number
    return Event(
        uid=UUID(int=number),
        effective_at=at(hours),
        device=kw.pop("device", "phone"),
        seq=kw.pop("seq", 0),
        item=item,
        action=action,
        show=show,
        **kw,
    )


scan.number = 1000


def put(item, case, hours, n=0) -> Put:
    return Put(key=(at(hours), "", n, UUID(int=n)), item=item, case=case)


def told(*events, puts=(), heads=None):
    """Fold, and return the last event's verdict, its item's custody and everything found."""
    folded = fold(events=events, shows=SHOWS, puts=puts, heads=heads)
    last = events[-1]
    return folded.verdicts[last.uid], folded.items[last.item], folded.contradictions


OUT_S, OUT_T, OUT_LATER, OUT_OLD = (scan(Action.OUT, -20, show, n=show) for show in (S, T, LATER, OLD))

# record says, scan -> outcome, signal, words, (show it is then out to), ended of what was open, contradiction
TABLE = {
    "in the shop, out": ([], (Action.OUT, S), "accepted", "fine", "Out to Harvest ceilidh", S, "", None),
    "in the shop, truck": ([], (Action.TRUCK, S), "contradiction", "look", "Never scanned out", S, "", Finding.NEVER_OUT),
    "in the shop, back": ([], (Action.BACK, S), "accepted", "fine", "was already back", None, "", None),
    "in the shop, inspect": ([], (Action.INSPECT, None), "accepted", "fine", "in the shop", None, "", None),
    "out to S, out": ([OUT_S], (Action.OUT, S), "accepted", "fine", "Already out to Harvest ceilidh", S, "", None),
    "out to S, truck": ([OUT_S], (Action.TRUCK, S), "accepted", "fine", "On the truck from Harvest ceilidh", S, "", None),
    "out to S, back": ([OUT_S], (Action.BACK, S), "accepted", "fine", "Back from Harvest ceilidh", None, Ended.BACK, None),
    "out to S, inspect": ([OUT_S], (Action.INSPECT, S), "accepted", "fine", "out to Harvest ceilidh", S, "", None),
    "over, out": ([OUT_OLD], (Action.OUT, S), "accepted", "fine", "Straight on from Chapel supper", S, Ended.STRAIGHT_ON, None),
    "over, truck": (
        [OUT_OLD],
        (Action.TRUCK, S),
        "contradiction",
        "look",
        "Chapel supper",
        S,
        Ended.RECORD_YIELDED,
        Finding.TRUCK_ELSEWHERE,
    ),
    "over, back": ([OUT_OLD], (Action.BACK, S), "accepted", "fine", "Back from Chapel supper", None, Ended.BACK, None),
    "over, inspect": ([OUT_OLD], (Action.INSPECT, S), "accepted", "fine", "out to Chapel supper", OLD, "", None),
    "not begun, out": (
        [OUT_LATER],
        (Action.OUT, S),
        "accepted",
        "look",
        "Moved from Brass concert, which is now short",
        S,
        Ended.MOVED,
        None,
    ),
    "not begun, truck": (
        [OUT_LATER],
        (Action.TRUCK, S),
        "contradiction",
        "look",
        "Brass concert",
        S,
        Ended.RECORD_YIELDED,
        Finding.TRUCK_ELSEWHERE,
    ),
    "not begun, back": ([OUT_LATER], (Action.BACK, S), "accepted", "fine", "Back from Brass concert", None, Ended.BACK, None),
    "not begun, inspect": ([OUT_LATER], (Action.INSPECT, S), "accepted", "fine", "Brass concert", LATER, "", None),
    "under way, out": (
        [OUT_T],
        (Action.OUT, S),
        "contradiction",
        "look",
        "a technician is told",
        S,
        Ended.RECORD_YIELDED,
        Finding.OUT_ELSEWHERE,
    ),
    "under way, truck": (
        [OUT_T],
        (Action.TRUCK, S),
        "contradiction",
        "look",
        "Quarry fair",
        S,
        Ended.RECORD_YIELDED,
        Finding.TRUCK_ELSEWHERE,
    ),
    "under way, back": (
        [OUT_T],
        (Action.BACK, S),
        "accepted",
        "look",
        "Quarry fair, which is still under way",
        None,
        Ended.BACK,
        None,
    ),
    "under way, inspect": ([OUT_T], (Action.INSPECT, S), "accepted", "fine", "Quarry fair", T, "", None),
}


@pytest.mark.parametrize("row", TABLE)
def test_table_row(row):
    before, (action, show), outcome, signal, words, then, ended, kind = TABLE[row]
    verdict, custody, found = told(*before, scan(action, 1, show, n=99))
    assert (verdict.outcome, verdict.signal) == (outcome, signal)
    assert words in verdict.reason
    assert (custody.head.stay.show if custody.head.stay else None) == then
    assert [s.ended for s in custody.stays if s.closed_at] == ([ended] if ended else [])
    assert [c.kind for c in found] == ([kind] if kind else [])
    assert all(c.uid == UUID(int=99) for c in found)


def test_truck_from_the_show_it_is_out_to_is_on_the_truck():
    _verdict, custody, _found = told(OUT_S, scan(Action.TRUCK, 1, S, n=99))
    assert custody.head.stay.truck_uid == UUID(int=99) and custody.head.since == at(1)


def test_a_cancelled_or_closed_show_is_over():
    cancelled = ShowTimes(id=T, name="Quarry fair", load_in=at(-2), strike=at(8), cancelled=True)
    closed = ShowTimes(id=T, name="Quarry fair", load_in=at(-2), strike=at(8), closed_at=at(0.5))
    for gone in (cancelled, closed):
        events = [OUT_T, scan(Action.OUT, 1, S, n=99)]
        folded = fold(events=events, shows={**SHOWS, T: gone})
        assert folded.verdicts[UUID(int=99)].signal == Signal.FINE
        assert folded.items[ITEM].stays[0].ended == Ended.STRAIGHT_ON


def test_against_advice_stops_is_kept_and_flagged_on_the_way_out_alone():
    advice = "suspect since Fri 18 Sep (hums)"
    out, custody, found = told(scan(Action.OUT, 1, S, advice=advice))
    assert (out.outcome, out.signal) == ("accepted", "stop")
    assert out.reason == ("It is out to Harvest ceilidh all the same. Suspect since Fri 18 Sep (hums): take another, or undo.")
    assert custody.head.stay.show == S and [c.kind for c in found] == [Finding.AGAINST_ADVICE]
    truck, _, found = told(OUT_S, scan(Action.TRUCK, 1, S, advice=advice))
    assert (truck.outcome, truck.signal) == ("accepted", "look") and not found
    for action in (Action.BACK, Action.INSPECT):
        verdict, _, found = told(OUT_S, scan(action, 1, S, advice=advice))
        assert (verdict.outcome, verdict.signal) == ("accepted", "fine") and not found


def test_a_flag_reads_the_same_when_it_is_folded_again():
    first = scan(Action.OUT, 1, S, n=7, advice="lent to the chapel")
    verdict, _, found = told(first)
    again = scan(Action.OUT, 1, S, n=7, told=verdict.reason)
    assert told(again)[2] == found


def test_advice_counts_from_the_day_it_was_known():
    advice = Advice(
        suspect_since=at(2),
        suspect="suspect",
        retired_on=date(2026, 9, 26),
        retired="retired",
        lent_on=date(2026, 9, 25),
        lent="lent",
    )
    assert advice.at(at(1), date(2026, 9, 24)) == ""
    assert advice.at(at(2), date(2026, 9, 25)) == "lent; suspect"
    assert advice.at(at(30), date(2026, 9, 26)) == "retired; lent; suspect"


# evidence


def test_a_case_takes_its_contents_along_as_vouched():
    puts = [put(ITEM, CASE, -30)]
    folded = fold(
        events=[scan(Action.OUT, 0, S, item=CASE), scan(Action.TRUCK, 5, S, item=CASE), scan(Action.BACK, 6, S, item=CASE)],
        shows=SHOWS,
        puts=puts,
    )
    (stay,) = folded.items[ITEM].stays
    assert (stay.show, stay.evidence, stay.truck_at, stay.closed_evidence) == (S, "vouched", at(5), "vouched")


def test_contents_are_read_as_of_the_scan():
    puts = [put(ITEM, CASE, -30), put(ITEM, None, 1)]
    folded = fold(events=[scan(Action.OUT, 0, S, item=CASE), scan(Action.BACK, 2, S, item=CASE)], shows=SHOWS, puts=puts)
    assert folded.items[ITEM].head.stay is not None, "it had been taken out before the case came back"


def test_cases_in_cases_vouch_all_the_way_down():
    puts = [put(ITEM, INNER, -30), put(INNER, OUTER, -29)]
    folded = fold(events=[scan(Action.OUT, 0, S, item=OUTER)], shows=SHOWS, puts=puts)
    assert folded.items[ITEM].head.stay.show == S and folded.items[INNER].head.evidence == "vouched"


@pytest.mark.parametrize(
    ("own", "case", "then"),
    [
        ([(Action.OUT, T)], [(Action.OUT, S)], T),  # its own scan put it elsewhere
        ([], [(Action.TRUCK, S)], None),  # never out: a case's truck scan opens nothing
        ([(Action.OUT, T)], [(Action.OUT, S), (Action.BACK, S)], T),
        ([(Action.OUT, OLD)], [(Action.OUT, OLD), (Action.OUT, S)], S),  # straight on with its case
        ([(Action.OUT, S), (Action.BACK, S)], [(Action.TRUCK, S)], None),
    ],
)
def test_what_a_case_says_yields_to_the_items_own_evidence(own, case, then):
    events = [scan(a, -20 + i, s) for i, (a, s) in enumerate(own)]
    events += [scan(a, -10 + i, s, item=CASE) for i, (a, s) in enumerate(case)]
    custody = fold(events=events, shows=SHOWS, puts=[put(ITEM, CASE, -40)]).items[ITEM]
    assert (custody.head.stay.show if custody.head.stay else None) == then


def test_what_was_missing_from_the_case_stays():
    puts = [put(ITEM, CASE, -30), put(2, CASE, -30, 1)]
    folded = fold(events=[scan(Action.OUT, 0, S, item=CASE, counted=1, missing=frozenset({2}))], shows=SHOWS, puts=puts)
    assert folded.items[ITEM].head.evidence == "vouched" and 2 not in folded.items
    assert not folded.contradictions


def test_a_wrong_count_moves_all_as_doubtful_and_is_one_contradiction_on_the_case():
    puts = [put(n, CASE, -30, n) for n in (1, 2, 3)]
    count = scan(Action.OUT, 0, S, item=CASE, n=5, counted=2)
    folded = fold(events=[count], shows=SHOWS, puts=puts, names={CASE: "Lead trunk 1"})
    assert {folded.items[n].head.evidence for n in (1, 2, 3)} == {"doubtful"}
    assert all(folded.items[n].head.stay.show == S for n in (1, 2, 3))
    assert [(c.item, c.kind) for c in folded.contradictions] == [(CASE, Finding.COUNT)]
    assert "2 of 3 were counted in Lead trunk 1" in folded.contradictions[0].said
    assert folded.verdicts[count.uid].outcome == Outcome.CONTRADICTION
    seen = scan(Action.INSPECT, 1, S, item=2)
    again = fold(events=[count, seen], shows=SHOWS, puts=puts)
    assert again.items[2].head.evidence == "seen" and again.items[1].head.evidence == "doubtful"


def test_a_tick_never_moves_what_was_scanned_elsewhere():
    verdict, custody, found = told(OUT_T, scan(Action.OUT, 1, S, grade=Evidence.SAID))
    assert custody.head.stay.show == T and verdict.outcome == "contradiction" and found[0].kind == Finding.TICKED
    verdict, custody, _ = told(OUT_T, scan(Action.BACK, 1, S, grade=Evidence.SAID))
    assert custody.head.stay.show == T and "what was scanned stands" in verdict.reason


def test_a_tick_counts_where_nothing_stronger_is_known():
    ticked_out = scan(Action.OUT, 0, T, grade=Evidence.SAID)
    _, custody, _ = told(ticked_out, scan(Action.OUT, 1, S, grade=Evidence.SAID))
    assert custody.head.stay.show == S
    _, custody, _ = told(OUT_S, scan(Action.BACK, 1, S, grade=Evidence.SAID))
    assert custody.head.stay is None and custody.head.evidence == "said"


def test_a_tick_after_a_scan_weakens_nothing():
    _, custody, _ = told(OUT_S, scan(Action.OUT, 1, S, grade=Evidence.SAID, actor=9))
    assert custody.head.evidence == "seen" and custody.head.seen_by is None and custody.stays[0].evidence == "seen"


def test_a_later_scan_strengthens_a_vouched_stay():
    puts = [put(ITEM, CASE, -30)]
    folded = fold(events=[scan(Action.OUT, 0, S, item=CASE), scan(Action.OUT, 1, S, actor=3)], shows=SHOWS, puts=puts)
    head = folded.items[ITEM].head
    assert (head.evidence, head.seen_by, head.stay.evidence, head.stay.opened_at) == ("seen", 3, "seen", at(0))


# undos


def undo(n, target, hours=0.0):
    uid = UUID(int=n)
    return Undo(uid=uid, undoes=UUID(int=target), key=(at(hours), "", 0, uid))


def gone(*undos):
    return {uid.int for uid in undone(undos)}


def test_an_undo_takes_its_scan_back():
    assert gone(undo(10, 1)) == {1}


def test_an_undo_of_an_undo_brings_the_scan_back():
    assert gone(undo(10, 1), undo(11, 10)) == {10}
    assert gone(undo(10, 1), undo(11, 10), undo(12, 11)) == {1, 11}
    assert gone(undo(10, 1), undo(13, 1), undo(11, 10)) == {1, 10}, "another undo still holds"


def test_undos_that_take_each_other_back_let_the_last_speak():
    assert gone(undo(10, 11, 1), undo(11, 10, 2)) == {10}
    assert gone(undo(10, 11, 2), undo(11, 10, 1)) == {11}
    assert gone(undo(10, 10)) == set()
    assert gone(undo(10, 1, 1), undo(11, 10, 2), undo(12, 11, 3), undo(10 + 3, 12, 4)) == {12, 10}


@given(st.lists(st.tuples(st.integers(0, 7), st.integers(0, 9), st.integers(0, 3)), max_size=8), st.randoms())
def test_undos_mean_the_same_in_any_order(pairs, rng):
    undos = [undo(n, target, hours) for n, target, hours in {p[0]: p for p in pairs}.values()]
    mixed = list(undos)
    rng.shuffle(mixed)
    result = undone(undos)
    assert undone(mixed) == result
    if not turns_round(undos):  # of those that take each other back in a ring, the last speaks: see above
        holding = {u.uid for u in undos if u.undoes != u.uid} - result
        assert {u.undoes for u in undos if u.uid in holding} == result, "what is taken back is what a holding undo names"


def turns_round(undos):
    onward = {u.uid: u.undoes for u in undos if u.undoes != u.uid}
    for uid in onward:
        seen = set()
        while uid in onward and uid not in seen:
            seen.add(uid)
            uid = onward[uid]
        if uid in seen:
            return True
    return False


# any order, and on from a head

events_drawn = st.lists(
    st.builds(
        lambda action, hours, show, item, grade, device, seq, actor: {
            "action": action,
            "hours": hours,
            "show": show,
            "item": item,
            "grade": grade,
            "device": device,
            "seq": seq,
            "actor": actor,
        },
        st.sampled_from([Action.OUT, Action.TRUCK, Action.BACK, Action.INSPECT]),
        st.integers(-60, 120),
        st.sampled_from([S, T, LATER, OLD]),
        st.sampled_from([1, 2, 3, CASE, INNER]),
        st.sampled_from([Evidence.SEEN, Evidence.SEEN, Evidence.SAID]),
        st.sampled_from(["a", "b", "c"]),
        st.integers(0, 2),
        st.integers(1, 3),
    ),
    max_size=14,
)
puts_drawn = st.lists(
    st.tuples(st.sampled_from([1, 2, 3, INNER]), st.sampled_from([CASE, INNER, None]), st.integers(-80, 120)), max_size=10
)


def built(drawn) -> list[Event]:
    more = ("item", "grade", "device", "seq", "actor")
    return [scan(d["action"], d["hours"], d["show"], n=n, **{k: d[k] for k in more}) for n, d in enumerate(drawn)]


def placed(drawn) -> list[Put]:
    return [put(item, case, hours, n) for n, (item, case, hours) in enumerate(drawn) if item != case]


@given(events_drawn, puts_drawn, st.randoms())
def test_the_order_of_arrival_changes_nothing(drawn, packed, rng):
    events, puts = built(drawn), placed(packed)
    mixed, packed_mixed = list(events), list(puts)
    rng.shuffle(mixed)
    rng.shuffle(packed_mixed)
    first, second = fold(events=events, shows=SHOWS, puts=puts), fold(events=mixed, shows=SHOWS, puts=packed_mixed)
    assert first.items == second.items and first.verdicts == second.verdicts
    assert first.contradictions == second.contradictions
    for custody in first.items.values():
        assert sum(stay.closed_at is None for stay in custody.stays) <= 1
        assert all(
            a.closed_at == b.opened_at or a.closed_at < b.opened_at
            for a, b in zip(custody.stays, custody.stays[1:], strict=False)
        )


@given(events_drawn, puts_drawn, st.integers(0, 14))
def test_going_on_from_a_head_is_the_whole_fold(drawn, packed, cut):
    events, puts = sorted(built(drawn), key=lambda e: e.key), placed(packed)
    whole = fold(events=events, shows=SHOWS, puts=puts)
    before = fold(events=events[:cut], shows=SHOWS, puts=puts)
    heads = {item: custody.head for item, custody in before.items.items()}
    after = fold(events=events[cut:], shows=SHOWS, puts=puts, heads=heads)
    for item, custody in whole.items.items():
        assert after.items[item].head == custody.head
        earlier = before.items.get(item, Custody(head=Head())).stays
        closed = [s for s in earlier if s.closed_at is not None]
        assert (*closed, *after.items[item].stays) == custody.stays
    assert (*before.contradictions, *after.contradictions) == whole.contradictions
    assert {**before.verdicts, **after.verdicts} == whole.verdicts


def test_keys_break_ties_by_device_then_seq_then_uid():
    same = [scan(Action.OUT, 0, S, n=2, device="a", seq=2), scan(Action.BACK, 0, S, n=1, device="b", seq=1)]
    random.Random(1).shuffle(same)
    assert fold(events=same, shows=SHOWS).items[ITEM].head.stay is None
