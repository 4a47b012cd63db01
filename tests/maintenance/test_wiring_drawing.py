"""The drawing of a wiring: every shipped one fits on its board, and is told in words as it is drawn."""

import re
from itertools import pairwise
from types import SimpleNamespace

import pytest

from maintenance.calc.bench import PairReading
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.wiring import links
from maintenance.calc.wiring_layout import NOTE, named, picture, spans, told
from maintenance.calc.wirings import Expect, wiring_read
from maintenance.drawings import wiring_drawing
from maintenance.services.wirings import wirings_shipped
from maintenance.sitting_page import lead_drawing

SHIPPED = {entry["key"]: entry for entry in wirings_shipped()}


def wiring_of(key):
    entry = SHIPPED[key]
    return wiring_read(ends=entry["ends"], nets=entry["nets"], channels=8 if entry["per_channel"] else None)


def link(a, b, kind):
    return SimpleNamespace(a=a, b=b, kind=kind)


def ends(*plugs):
    return [SimpleNamespace(name=name, plug="plug", pins=pins.split()) for name, pins in plugs]


THREE = ends(("A", "1 2 3 sh"), ("B", "1 2 3 sh"))


def boards_of(key, *, read=False):
    wiring = wiring_of(key)
    readings = [PairReading(a=a, b=b, beep=x.kind == Expect.JOINED) for a, b, x in wiring.matrix()] if read else []
    readings = [r for r in readings if wiring.expected(r.a, r.b).kind in {Expect.JOINED, Expect.OPEN}]
    return wiring, picture(
        ends=wiring.ends, links=links(wiring=wiring, readings=readings, limits=BenchLimits()), sends=wiring.sends
    )


@pytest.mark.parametrize("key", SHIPPED)
def test_pins_stand_in_order_and_no_label_lies_on_another(key):
    _wiring, drawn = boards_of(key)
    assert drawn.boards
    for board in drawn.boards:
        for right in (False, True):
            plugs = [plug for plug in board.plugs if plug.right == right]
            assert all(a.top + a.height <= b.top for a, b in pairwise(plugs))
            heights = [pin.y for plug in plugs for pin in plug.pins]
            assert all(b - a >= 20 for a, b in pairwise(heights))  # a label is 15 px high
            assert all(plug.top < pin.y < plug.top + plug.height for plug in plugs for pin in plug.pins)
            assert all(plug.top >= 0 and plug.top + plug.height <= board.height for plug in plugs)
        notes = [wire.note_at for wire in board.across if wire.note or wire.resistor]
        assert all(abs(a - b) >= NOTE for n, a in enumerate(notes) for b in notes[n + 1 :])


@pytest.mark.parametrize("key", SHIPPED)
def test_every_pin_that_is_joined_is_drawn_and_told(key):
    wiring, drawn = boards_of(key)
    joined = [net for net in wiring.nets if len(net.pins) > 1]
    ends_drawn = {(plug.name[0], pin.label) for board in drawn.boards for plug in board.plugs for pin in plug.pins}
    words = {"sh": "shell", "c": "centre", "s": "outer"}
    for net in joined:
        for pin in net.pins:
            local = pin[1:].rpartition(".")[2]
            assert (pin[0], words.get(local, local)) in ends_drawn
    for board in drawn.boards:
        drawn_pins = {pin.key for plug in board.plugs for pin in plug.pins}
        for wire in (*board.across, *board.beside):
            assert wire.a in drawn_pins and wire.b in drawn_pins
    if wiring.resistors:
        assert "resistor" in SHIPPED[key]["name"].lower() or "ohm" in SHIPPED[key]["nets"]
    assert drawn.told


@pytest.mark.parametrize("key", SHIPPED)
def test_a_lead_read_good_is_drawn_as_wired_and_nothing_else(key):
    wiring, drawn = boards_of(key, read=True)
    kinds = {kind for board in drawn.boards for kind in board.kinds}
    assert kinds <= {"ok", "unread"}  # a resistor is not told by a beep
    if not wiring.resistors:
        assert "wrong pin" not in drawn.told and "does not reach" not in drawn.told
        assert "reaches" in drawn.told or "as wired" in drawn.told or not any(len(n.pins) > 1 for n in wiring.nets)


@pytest.mark.parametrize("key", SHIPPED)
def test_the_markup_is_whole_and_has_no_style_of_its_own(key):
    wiring = wiring_of(key)
    markup = str(lead_drawing(wiring, links(wiring=wiring, limits=BenchLimits())))
    assert markup.count("<svg") == markup.count("</svg>")
    assert "style=" not in markup and "<script" not in markup
    assert 'role="img" aria-label="' in markup
    assert "nan" not in markup


def test_a_swap_is_two_fat_wires_and_one_word():
    joins = [link("A1", "B1", "open"), link("A2", "B3", "wrong"), link("A3", "B2", "wrong")]
    (board,) = picture(ends=THREE, links=joins).boards
    assert [wire.note for wire in board.across] == ["open", "swapped", ""]
    assert board.told == "A1 does not reach B1. A2 reaches B3, which is the wrong pin. A3 reaches B2, which is the wrong pin."


def test_a_pin_that_reaches_a_wrong_one_leaves_only_the_other_loose():
    joins = [link("A2", "B2", "open"), link("A3", "B3", "open"), link("A2", "B3", "wrong")]
    (board,) = picture(ends=THREE, links=joins).boards
    assert {(wire.a, wire.stub) for wire in board.across if wire.kind == "open"} == {("A2", "right"), ("A3", "left")}


def test_shorts_at_one_end_are_brackets_that_do_not_lie_on_each_other():
    joins = [link("A1", "A2", "short"), link("A1", "A3", "short"), link("A3", "Ash", "short"), link("B1", "Bsh", "short")]
    (board,) = picture(ends=THREE, links=joins).boards
    left = [join for join in board.beside if not join.right]
    for n, one in enumerate(left):
        for other in left[n + 1 :]:
            apart = one.foot < other.top or other.foot < one.top
            assert apart or one.depth != other.depth
    assert "A1 and A2 are shorted." in board.told and "B1 and B shell are shorted." in board.told


def test_swapped_channels_are_drawn_together_and_the_good_ones_told():
    joins = [link(f"A{k}.{p}", f"B{k}.{p}", "ok") for k in range(1, 25) if k not in (7, 8) for p in (1, 2, 3)]
    joins += [link(f"A{k}.{p}", f"B{15 - k}.{p}", "wrong") for k in (7, 8) for p in (1, 2, 3)]
    drawn = picture(ends=ends(("A", "1 2 3"), ("B", "1 2 3")), links=joins, sends=24)
    assert [board.title for board in drawn.boards] == ["channels 7 and 8"]
    assert [pin.label for pin in drawn.boards[0].plugs[0].pins] == ["7.1", "7.2", "7.3", "8.1", "8.2", "8.3"]
    assert drawn.folded == "Channels 1 to 6 and 9 to 24: as wired."


def test_returns_are_called_returns():
    assert named([1, 2, 3, 9, 10], sends=8) == "channels 1 to 3, returns 1 and 2"
    assert spans([1, 2, 3, 5, 8, 9]) == "1 to 3, 5, 8 and 9"


def test_a_resistor_is_named_between_its_pins():
    drawn = wiring_drawing([link("A2", "A3", "ok")], ends(("A", "1 2 3 4 5")), resistors={("A3", "A2"): "120 ohm"})
    assert "120 ohm" in drawn and "Between A2 and A3 reads 120 ohm." in drawn
    assert "one-ended" in drawn


def test_what_a_technician_wrote_is_never_markup():
    odd = ends(("A", "1 <b>"), ("B", "1 <b>"))
    markup = str(wiring_drawing([link("A<b>", "B<b>", "ok")], odd, roles={"A<b>": "<i>hot"}))
    assert "<b>" not in markup and "<i>" not in markup
    assert re.search(r"&lt;b&gt;", markup)


def test_many_pins_are_told_by_what_is_wrong_alone():
    joins = [(f"A{n}", f"B{n}", "ok") for n in range(1, 26)]
    assert told(joins) == "All of it is as wired."
    assert told([*joins[:-1], ("A25", "B25", "open")]) == "A25 does not reach B25. All else is as wired."
