"""What to do about cells before a show: rules first, then chances against the show's limit, and what to carry."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.calc.cell_fits import House, Labelled
from maintenance.calc.cell_forecast import fresh_chance, hard_rules, life, life_from_full
from maintenance.calc.cell_words import Advice, CellError, Life, Stakes
from maintenance.calc.swap_list import CELLS, MAINS, PHANTOM, DeviceAtShow, advised_of, swap_list
from tests.calc.cell_lab import BLOCK, KINDS, box, transmitter

LIMIT = 0.02
AA, LITHIUM, PAIR = KINDS["LR6"], KINDS["FR6"], KINDS["HR6"]


def a_box(**kw) -> DeviceAtShow:
    hours = kw.pop("hours", 20.0)
    given = {
        "key": "A",
        "name": "Active direct box A",
        "need_h": 5.0,
        "size": "9 V",
        "kind": BLOCK,
        "fresh": BLOCK,
        "draw": box(),
        "life": life(BLOCK, box(), hours=hours),
        **kw,
    }
    return DeviceAtShow(**given)


def a_transmitter(**kw) -> DeviceAtShow:
    given = {
        "key": "T",
        "name": "Hand-held transmitter",
        "need_h": 5.0,
        "size": "AA",
        "cells": 2,
        "kind": AA,
        "fresh": AA,
        "draw": transmitter(),
        "life": life(AA, transmitter(), hours=kw.pop("hours", 3.0)),
        **kw,
    }
    return DeviceAtShow(**given)


def said(device: DeviceAtShow, limit: float = LIMIT, *, house=None, sets=()):
    return advised_of(device, what="the ceilidh", limit=limit, house=House.of(house, sets))


def test_a_young_set_is_kept_and_the_sentence_gives_hours_left():
    told = said(a_box(hours=5))
    assert told.advice is Advice.KEEP and told.carry == 0
    assert "h left, likely" in told.why and "the ceilidh needs 5" in told.why and told.why.endswith(": keep")


def test_an_old_set_is_swapped_with_its_chance_and_one_set_is_carried():
    told = said(a_box(hours=90))
    assert told.advice is Advice.SWAP and told.carry == 1
    assert told.chance > LIMIT > told.worked
    assert "it dies: swap" in told.why


def test_a_set_near_its_limit_is_kept_with_a_spare():
    hours = next(h for h in range(5, 120) if said(a_box(hours=h)).advice is not Advice.KEEP)
    told = said(a_box(hours=hours))
    assert told.advice is Advice.SPARE and told.carry == 1 and told.worked == told.chance <= LIMIT
    assert told.why.endswith("keep, and carry a spare")


@settings(max_examples=30, deadline=None)
@given(hours=st.floats(0, 200), more=st.floats(0, 40), need=st.floats(0.5, 12))
def test_more_hours_used_or_needed_never_turns_swap_into_keep(hours, more, need):
    order = [Advice.KEEP, Advice.SPARE, Advice.SWAP]
    first = order.index(said(a_box(hours=hours, need_h=need)).advice)
    assert order.index(said(a_box(hours=hours + more, need_h=need)).advice) >= first
    assert order.index(said(a_box(hours=hours, need_h=need + more)).advice) >= first


def test_a_critical_line_is_swapped_before_a_normal_one():
    device = next(one for h in range(5, 120) if said(one := a_box(hours=h), 0.005).advice is Advice.SWAP)
    assert said(device, 0.02).advice is not Advice.SWAP


@pytest.mark.parametrize(
    ("broken", "words"),
    [
        ({"leaked": True}, "gloves"),
        ({"expired": True}, "Past its date"),
        ({"was_new": None}, "Nobody knows"),
        ({"fresh_every_show": True, "hours_used": 4.0}, "Fresh every show"),
    ],
)
def test_rules_come_before_the_sums(broken, words):
    told = said(a_box(hours=1, rulings=hard_rules(BLOCK, **broken)))
    assert told.advice is Advice.SWAP and told.carry == 1
    assert words in told.why and "the ceilidh needs 5" in told.why


def test_an_unused_set_that_cannot_last_is_not_swapped_for_another_like_it():
    told = said(a_transmitter(need_h=9.0, life=life(AA, transmitter()), unused=True))
    assert told.advice is Advice.SPARE and told.carry == 2
    assert "a fresh set is no better" in told.why and told.short


def test_an_unused_set_is_swapped_for_what_lasts():
    device = a_transmitter(need_h=8.0, life=life(AA, transmitter()), unused=True, others=(LITHIUM,))
    told = said(device)
    assert told.advice is Advice.SWAP and told.fit.kind is LITHIUM and not told.short
    assert "a fresh set is no better" not in told.why and "(to buy)" in told.why


def test_where_a_fresh_set_fails_what_would_do_is_what_one_tap_fits_and_what_is_carried():
    device = a_transmitter(need_h=8.0, hours=6.0, others=(LITHIUM, PAIR))
    told = said(device, house={"FR6": 4, "LR6": 40})
    assert fresh_chance(AA, device.draw, 8.0) > LIMIT
    assert told.advice is Advice.SWAP and told.carry == 2 and told.worked <= LIMIT and not told.short
    assert (told.fit.kind, told.fit.here) == (LITHIUM, True)
    assert f"Even a fresh set of {AA.name}" in told.why and f"What would do: fit {LITHIUM.name}" in told.why
    assert PAIR.name not in told.why  # nobody has a labelled set of it


def test_where_nothing_lasts_two_sets_are_carried_and_the_sentence_does_not_promise():
    told = said(a_transmitter(need_h=30.0, hours=6.0, rulings=hard_rules(AA, expired=True)))
    assert told.advice is Advice.SWAP and told.carry == 4 and told.short
    assert "What would do" not in told.why


def a_labelled(key="AA set C", **kw) -> Labelled:
    return Labelled(**{"key": key, "name": key, "size": "AA", "cells": 2, "kind": PAIR, "charged": True, **kw})


def test_a_charged_labelled_set_goes_in_where_the_usual_cells_do_not_last_and_none_better_lie_here():
    need = next(h / 2 for h in range(4, 40) if fresh_chance(AA, transmitter(), h / 2) > 0.2)
    assert fresh_chance(PAIR, transmitter(), need) <= 0.2
    device = a_transmitter(need_h=need, hours=6.0, others=(LITHIUM,))
    told = said(device, 0.2, sets=[a_labelled()])
    assert told.fit.labelled.key == "AA set C" and "fit AA set C, charged" in told.why
    first = said(device, 0.2, house={"FR6": 2}, sets=[a_labelled()])
    assert first.fit.kind is LITHIUM and "; or fit AA set C, charged" in first.why
    empty = said(device, 0.2, house={"FR6": 2}, sets=[a_labelled(charged=False)])
    assert "; or charge AA set C and fit it" in empty.why
    three = said(device, 0.2, sets=[a_labelled(cells=3)])
    assert "AA set C" not in three.why


def test_one_labelled_set_goes_into_one_device_and_the_last_cells_to_what_matters_most():
    need = next(h / 2 for h in range(4, 40) if fresh_chance(AA, transmitter(), h / 2) > 0.2)
    two = [
        a_transmitter(key=key, need_h=need, hours=6.0, stakes=stakes, others=(LITHIUM,))
        for key, stakes in (("normal", Stakes.NORMAL), ("lead", Stakes.CRITICAL))
    ]
    told = swap_list(two, what="it", limit=0.5, stock={"FR6": 2, "LR6": 20}, sets=[])
    normal, lead = told.advised
    assert lead.fit.kind is LITHIUM and lead.fit.here
    assert not (normal.fit.kind is LITHIUM and normal.fit.here)
    sets = [a_labelled(), a_labelled("AA set D")]
    rehearsed = [replace(one, stakes=Stakes.REHEARSAL) for one in two]
    both = swap_list(rehearsed, what="it", limit=0.5, sets=sets).advised
    assert len({one.fit.labelled.key for one in both}) == 2


def test_phantom_needs_nothing_and_says_what_happens_without():
    cell = said(a_box(feed=PHANTOM))
    assert cell.advice is Advice.NOTHING and cell.worked == 0
    assert cell.why.startswith("Behind phantom; alone the cell lasts about") and "line check" in cell.why
    bare = said(a_box(feed=PHANTOM, kind=None, life=None))
    assert bare.why.startswith("No cell: dead if phantom is off")
    unknown = said(a_box(feed=PHANTOM, kind=None, life=None, known=False))
    assert "never written down" in unknown.why and "No cell" not in unknown.why
    assert "Phantom was seen at this box" in said(a_box(feed=PHANTOM, phantom_seen=True)).why
    assert "Nobody said what feeds this line" in said(a_box(feed=PHANTOM, assumed=True)).why


def test_mains_needs_nothing():
    assert said(a_box(feed=MAINS)).advice is Advice.NOTHING


def test_an_empty_bay_is_filled_and_an_unknown_one_is_asked_about():
    empty = said(a_box(kind=None, life=None))
    assert empty.advice is Advice.SWAP and empty.chance == 1 and "No cells are in it" in empty.why
    unknown = said(a_box(kind=None, life=None, known=False))
    assert unknown.advice is Advice.ASK and unknown.chance is None and unknown.carry == 1
    assert "never written down" in unknown.why


def test_a_device_without_a_draw_is_asked_about_in_words():
    told = said(a_box(life=None, draw=None, trouble="What this device draws is not known: measure it once."))
    assert told.advice is Advice.ASK and told.worked is None
    assert told.why.startswith("What this device draws is not known") and "needs 5" in told.why


def test_packs_are_charged_the_night_before_and_kept_once_charged():
    flat = replace(a_box(), pack=True, life=life_from_full(8.0, hours=3.0))
    told = said(flat)
    assert told.advice is Advice.CHARGE and told.carry == 0 and "charge it the night before" in told.why
    full = replace(flat, charged=True, life=life_from_full(12.0))
    assert said(full).advice is Advice.KEEP and said(full).why.startswith("Charged:")
    nobody = replace(flat, life=None)
    assert "nobody has said" in said(nobody).why and said(nobody).advice is Advice.CHARGE
    small = replace(flat, life=life_from_full(4.0))
    assert "Even full" in said(small).why and said(small).short


def test_rechargeables_are_charged_not_swapped_unless_they_last():
    pair = KINDS["HR6"]
    fits = {"kind": pair, "fresh": pair}
    assert said(a_transmitter(**fits, need_h=3.0, life=life(pair, transmitter(), hours=0.5))).advice is Advice.KEEP
    spent = a_transmitter(**fits, life=life(pair, transmitter(), hours=6.0))
    assert said(spent).advice is Advice.CHARGE and said(spent).carry == 0
    ruled = a_transmitter(**fits, need_h=1.0, rulings=hard_rules(pair, fresh_every_show=True, hours_used=1.0))
    assert said(ruled).advice is Advice.CHARGE
    leaking = a_transmitter(**fits, rulings=hard_rules(pair, leaked=True))
    assert said(leaking).advice is Advice.SWAP and "gloves" in said(leaking).why


def test_devices_not_chosen_yet_are_counted_with_sets_to_carry():
    one = said(a_box(chosen=False, count=1, life=None, kind=None))
    assert one.why == "1 of them is not chosen yet: carry a set."
    told = said(a_transmitter(chosen=False, count=3, need_h=1.0, life=None, kind=None))
    assert told.why == "3 of them are not chosen yet: carry 3 sets." and told.carry == 6


def test_the_whole_show_keeps_its_limit_when_the_list_is_worked():
    boxes = [a_box(key=str(n), hours=10 * n, stakes=Stakes.CRITICAL if n < 4 else Stakes.NORMAL) for n in range(14)]
    told = swap_list(boxes, what="the ceilidh", limit=LIMIT)
    assert told.worked <= LIMIT < told.left
    assert sum(1 for one in told.advised if one.advice is Advice.SWAP) >= 5
    assert "With this list worked" in told.words and "left as it is" in told.words


def test_the_more_lines_the_less_each_may_lose():
    alone = swap_list([a_box()], what="it", limit=LIMIT).advised[0].limit
    many = swap_list([a_box(key=str(n)) for n in range(20)], what="it", limit=LIMIT).advised[0].limit
    assert many < alone == pytest.approx(LIMIT)


def test_rehearsals_may_die_and_are_not_counted_as_lost_channels():
    told = swap_list([a_box(hours=100, stakes=Stakes.REHEARSAL)], what="it", limit=LIMIT)
    assert told.left == 0 and told.words == "No channel of this show hangs on a cell."
    assert told.advised[0].limit == 0.20


def test_cells_are_added_up_by_size_against_stock_with_what_to_buy():
    devices = [
        *(a_box(key=f"b{n}", hours=150) for n in range(3)),
        a_transmitter(hours=6.0, need_h=1.0),
        a_transmitter(key="long", hours=6.0, need_h=6.0, others=(LITHIUM,)),
        a_transmitter(key="more", chosen=False, count=2, need_h=1.0, life=None, kind=None),
        a_box(key="phantom", feed=PHANTOM, hours=150),
    ]
    told = swap_list(devices, what="it", limit=LIMIT, stock={"6LR61": 1, "LR6": 4, "FR6": 0})
    carried = {one.key: one for one in told.carry}
    assert (carried["6LR61"].total, carried["6LR61"].stock, carried["6LR61"].buy) == (3, 1, 2)
    # alkaline on the shelf is no lithium
    assert (carried["LR6"].fit, carried["LR6"].unchosen, carried["LR6"].buy) == (2, 4, 2)
    assert (carried["FR6"].total, carried["FR6"].buy) == (2, 2) and "lithium" in carried["FR6"].name
    less = swap_list(devices, what="it", limit=LIMIT, done=["b0", "b1"]).carry
    assert next(one for one in less if one.size == "9 V").total == 1


def test_a_labelled_set_goes_along_and_is_never_bought():
    need = next(h / 2 for h in range(4, 40) if fresh_chance(AA, transmitter(), h / 2) > 0.2)
    device = a_transmitter(need_h=need, hours=6.0, stakes=Stakes.REHEARSAL)
    carried = swap_list([device], what="it", limit=LIMIT, sets=[a_labelled()]).carry
    assert [(one.name, one.total, one.buy) for one in carried] == [("AA set C", 2, 0)]


def test_devices_nobody_has_chosen_are_not_taken_for_none():
    waiting = a_transmitter(chosen=False, count=6, need_h=2.0, life=None, kind=None)
    assert swap_list([waiting], what="it", limit=LIMIT).words == (
        "6 devices that run on cells are not chosen yet: nobody can tell what hangs on them until they are."
    )
    assert "6 devices that run on cells are not chosen yet" in swap_list([a_box(), waiting], what="it", limit=LIMIT).words


def test_what_was_swapped_for_too_little_is_still_counted_as_likely_to_die():
    device = a_transmitter(need_h=8.0, life=life(AA, transmitter()), unused=True, others=(LITHIUM,))
    told = swap_list([device], what="it", limit=LIMIT, done=["T"])
    assert told.worked == told.left > 0.5 and told.advised[0].short and not told.carry
    assert "above the limit" in told.words


def test_what_nobody_can_tell_is_said():
    told = swap_list([a_box(hours=150), a_box(key="B", life=None, kind=None, known=False)], what="it", limit=LIMIT)
    assert told.untold == 1 and "at least" in told.words


@pytest.mark.parametrize("limit", [0, 1, -0.1, 7])
def test_a_limit_is_a_chance(limit):
    with pytest.raises(CellError, match="between 0 and 1"):
        swap_list([a_box()], what="it", limit=limit)


def test_every_sentence_fits_where_it_is_kept():
    worst = a_transmitter(need_h=40.0, hours=0.0, unused=True, others=tuple(KINDS.values()))
    told = advised_of(replace(worst, rulings=hard_rules(AA, mixed=True, in_series=2)), what="w" * 200, limit=LIMIT)
    assert len(told.why) <= 400 and isinstance(worst.life, Life) and worst.feed == CELLS
