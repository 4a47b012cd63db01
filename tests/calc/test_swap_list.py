"""What to do about cells before a show: rules first, then chances against the show's limit, and what to carry."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maintenance.calc.cell_forecast import fresh_chance, hard_rules, life, life_from_full
from maintenance.calc.cell_words import Advice, CellError, Life, Stakes
from maintenance.calc.swap_list import CELLS, MAINS, PHANTOM, DeviceAtShow, advised_of, swap_list
from tests.calc.cell_lab import BLOCK, KINDS, box, transmitter

LIMIT = 0.02
AA = KINDS["LR6"]


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


def said(device: DeviceAtShow, limit: float = LIMIT):
    return advised_of(device, what="the ceilidh", limit=limit)


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
    device = a_transmitter(need_h=9.0, life=life(AA, transmitter()), unused=True, others=(KINDS["FR6"],))
    told = said(device)
    assert told.advice is Advice.SPARE and told.carry == 2
    assert "a fresh set is no better" in told.why and told.short
    assert any(one.enough for one in told.remedies) and "What would do" in told.why


def test_where_even_a_fresh_set_fails_it_says_what_would_do_and_two_sets_are_carried():
    device = a_transmitter(need_h=8.0, hours=6.0, others=(KINDS["FR6"],))
    told = said(device)
    assert fresh_chance(AA, device.draw, 8.0) > LIMIT
    assert told.advice is Advice.SWAP and told.carry == 4 and told.short
    assert "Even a fresh set" in told.why and "What would do" in told.why


def test_phantom_needs_nothing_and_says_what_happens_without():
    cell = said(a_box(feed=PHANTOM))
    assert cell.advice is Advice.NOTHING and cell.worked == 0
    assert cell.why.startswith("Behind phantom; alone the cell lasts about") and "line check" in cell.why
    bare = said(a_box(feed=PHANTOM, kind=None, life=None))
    assert bare.why.startswith("No cell: dead if phantom is off")
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
    told = said(a_transmitter(chosen=False, count=3, life=None, kind=None))
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
        a_transmitter(hours=6.0, need_h=4.0),
        a_transmitter(key="more", chosen=False, count=2, life=None, kind=None),
        a_box(key="phantom", feed=PHANTOM, hours=150),
    ]
    carried = {one.size: one for one in swap_list(devices, what="it", limit=LIMIT, stock={"9 V": 1}).carry}
    assert (carried["9 V"].total, carried["9 V"].stock, carried["9 V"].buy) == (3, 1, 2)
    assert carried["AA"].unchosen == 4 and carried["AA"].buy == carried["AA"].total
    less = swap_list(devices, what="it", limit=LIMIT, done=["b0", "b1"]).carry
    assert next(one for one in less if one.size == "9 V").total == 1


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
