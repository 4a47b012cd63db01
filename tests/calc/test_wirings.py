"""Wirings as data: the notation, what it refuses, and what ships."""

import contextlib
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maintenance.calc.wirings import Expect, WiringError, pin_words, wiring_read, wiring_write
from tests.calc.wiring_lab import FIXTURE, SHIPPED, wiring_of

ENDS = "A: three-pin socket: 1 2 3 sh\nB: three-pin plug: 1 2 3 sh"
CATALOGUE = "fixtures/catalogue.json"


@pytest.mark.parametrize("key", sorted(SHIPPED))
def test_what_ships_reads_back_as_it_was_written(key):
    row = SHIPPED[key]
    counted = {"channels": 1} if row["per_channel"] else {}
    read = wiring_read(ends=row["ends"], nets=row["nets"], **counted)
    ends, nets = wiring_write(read)
    again = wiring_read(ends=ends, nets=nets, **counted)
    assert wiring_write(again) == (ends, nets)
    assert list(again.matrix()) == list(read.matrix())


def test_every_wiring_the_catalogue_names_ships(request):
    catalogue = json.loads((request.config.rootpath / CATALOGUE).read_text())
    wanted = {t["facts"]["wiring"] for t in catalogue["types"] if t.get("facts", {}).get("wiring")}
    assert wanted and wanted <= set(SHIPPED)


def test_keys_and_names_are_unique_and_fit_their_columns():
    assert len({r["key"] for r in FIXTURE}) == len({r["name"] for r in FIXTURE}) == len(FIXTURE)
    for row in FIXTURE:
        assert set(row) == {"key", "name", "ends", "nets", "per_channel", "notes", "source"}
        assert row["source"] and len(row["source"]) <= 200 and len(row["key"]) <= 40 and len(row["name"]) <= 80
        assert len(row["ends"]) <= 2000 and len(row["nets"]) <= 4000 and len(row["notes"]) <= 2000


def test_the_whole_matrix_follows_from_the_nets():
    wiring = wiring_of("three-pin")
    pairs = {(a, b): e.kind for a, b, e in wiring.matrix()}
    assert len(pairs) == 8 * 7 // 2
    assert {pair for pair, kind in pairs.items() if kind is Expect.JOINED} == {("A1", "B1"), ("A2", "B2"), ("A3", "B3")}
    assert wiring.expected("B2", "a2").kind is Expect.JOINED and wiring.expected("A1", "Ash").kind is Expect.OPEN


def test_resistors_and_gaps_hold_for_everything_joined_to_them():
    wiring = wiring_read(ends="A: plug: 1 2 3\nB: plug: 1 2 3", nets="A1=B1 | A2=B2 | A1~A2 1.5k ohm 10 % | A3?B3 over 1 kohm")
    assert wiring.expected("B1", "B2").ohm == 1500 and wiring.expected("A1", "B2").low == pytest.approx(1350)
    assert wiring.expected("A3", "B3").low == 1000


def test_a_multicore_is_made_channel_by_channel_and_returns_turn_round():
    row = SHIPPED["multicore"]
    wiring = wiring_read(ends=row["ends"], nets=row["nets"], channels=24, returns=8)
    box, tail = wiring.ends
    assert len(wiring.pins) == 32 * 6 and wiring.channels == tuple(range(1, 33))
    assert wiring.expected("A14.2", "B14.2").kind is Expect.JOINED and wiring.expected("A14.2", "B15.2").kind is Expect.OPEN
    assert (wiring.plug_at(box, 24), wiring.plug_at(box, 25)) == ("three-pin socket", "three-pin plug")
    assert (wiring.plug_at(tail, 24), wiring.plug_at(tail, 25)) == ("three-pin plug", "three-pin socket")
    assert wiring.channel_words(26) == "return 2" and wiring.pin("ar2.1") == "A26.1"
    assert [n.name for n in wiring.nets if n.channel == 14] == ["ch 14 screen", "ch 14 core 2", "ch 14 core 3"]


@pytest.mark.parametrize(
    ("ends", "nets", "says"),
    [
        ("", "A1=B1", "No end is named"),
        ("A three-pin", "A1=A2", "is no end"),
        ("A: plug: 1 2\na: plug: 1", "A1=A2", "named twice"),
        ("A: plug:", "A1=A2", "has no pins"),
        ("A: plug: 1 1", "A1=A1", "pin 1 twice"),
        ("A: plug: 1 (2)", "A1=A2", "is no pin"),
        ("A: plug: 9..3", "A1=A2", "counts nothing"),
        (ENDS, "A1=B4", "does not exist. End B has 1 2 3 sh"),
        (ENDS, "A1=C1", "does not exist. The ends are A, B"),
        (ENDS, "A1=", "(nothing)"),
        (ENDS, "A1=B1 | A1=B2", "Pin A1 is in two nets: A1=B1 and A1=B2"),
        (ENDS, "A1=A1", "to itself"),
        (ENDS, "A1=B1 | A1", "said to stay open"),
        (ENDS, "A1 screen", "joins A1 to nothing"),
        (ENDS, "A1=B1 warm", "is no part a net plays"),
        (ENDS, "A2=B2 hot | A3=B3 hot", "both “hot”"),
        (ENDS, "A1=B1 | A1~B1 120 ohm 5 %", "says otherwise"),
        (ENDS, "A1=B1 | A1?B1", "says otherwise"),
        (ENDS, "A1~B1 120 ohm | B1?A1", "spoken of twice"),
        (ENDS, "A1~B1", "how many ohms"),
        (ENDS, "A1~B1 0 ohm 5 %", "more than 0 ohm"),
        (ENDS, "A1~B1 120 ohm 100 %", "between 0 and 100"),
        (ENDS, "A1?B1 under 5", "the least it may read"),
        (ENDS, "A1=B1~A2", "two things at once"),
        (ENDS, "A1?B1?A2", "stands between two"),
        (ENDS, "A4 | A5", "does not exist"),
        (ENDS, "A1 | A2", "Nothing is joined"),
        (ENDS, "", "Nothing is joined"),
    ],
)
def test_a_net_list_that_contradicts_itself_is_refused_with_a_sentence(ends, nets, says):
    with pytest.raises(WiringError) as refused:
        wiring_read(ends=ends, nets=nets)
    assert says in str(refused.value)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"per_channel": True}, "say how many channels"),
        ({"per_channel": False, "channels": 8}, "takes no number of channels"),
        ({"channels": 0}, "one channel at least"),
        ({"channels": 8, "returns": -1}, "one channel at least"),
        ({"channels": 300}, "more than the 256"),
    ],
)
def test_channels_that_cannot_be_are_refused(given, says):
    row = SHIPPED["multicore"]
    with pytest.raises(WiringError, match=says):
        wiring_read(ends=row["ends"], nets=row["nets"], **given)


def test_too_many_pins_are_refused():
    with pytest.raises(WiringError, match="more than the 2,000 pins"):
        wiring_read(ends="A: plug: 1..30\nB: plug: 1..30", nets="A1=B1", channels=100)


@given(st.text(max_size=60), st.text(max_size=60))
def test_any_text_at_all_is_read_or_refused(ends, nets):
    with contextlib.suppress(WiringError):
        assert wiring_read(ends=ends, nets=nets).pins


@given(
    st.lists(st.sampled_from(["A1", "B1", "A2", "B2", "=", "?", "~", "|", " hot", " over 5 ohm", " 9 ohm 5 %"]), max_size=12)
)
def test_any_mixture_of_the_notation_is_read_or_refused(parts):
    try:
        read = wiring_read(ends=ENDS, nets="".join(parts))
    except WiringError:
        return
    assert wiring_write(wiring_read(ends=read.notation[0], nets=read.notation[1])) == read.notation


def test_pins_are_spoken_as_a_bench_says_them():
    assert [pin_words(p) for p in ("A2", "AT", "Bsh", "A14.2")] == ["A2", "A tip", "B shell", "A14.2"]
