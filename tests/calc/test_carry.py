"""Scans carried as a file or as codes come out as they went in."""

import json
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shows.calc.carry import FORMAT, CarryError, carried_of, codes_of, heap_of

_DICE = random.Random(7)
SCANS = [{"id": f"{_DICE.getrandbits(128):032x}", "code": "Y2Y77Y80", "action": "out", "show": 7} for n in range(40)]


def file(scans=SCANS, **kw):
    return json.dumps({"format": FORMAT, "device": "web:1", "offset_ms": 1500, "scans": scans, **kw}).encode()


def test_a_file_comes_out_as_it_went_in():
    held = carried_of(file())
    assert (held.device, held.offset_ms, held.scans) == ("web:1", 1500, SCANS)


@given(st.lists(st.dictionaries(st.text(max_size=8), st.text(max_size=20), max_size=4), max_size=60), st.integers(0, 2**32))
def test_codes_in_any_order_and_twice_come_out_as_they_went_in(scans, seed):
    texts = codes_of(file(scans), "AB12CD")
    dice = random.Random(seed)
    shuffled = [*texts, *dice.sample(texts, len(texts) // 2)]
    dice.shuffle(shuffled)
    heap = heap_of(shuffled)
    assert [one.scans for one in heap.whole] == [scans] and not heap.missing and not heap.strange


def test_codes_hold_only_what_qr_packs_tightest_and_stay_readable():
    texts = codes_of(file(), "AB12CD")
    assert len(texts) >= 2
    for text in texts:
        assert set(text) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789.") and len(text) <= 520


def test_what_is_missing_is_named_and_two_phones_are_kept_apart():
    one, other = codes_of(file(), "AAAA"), codes_of(file(SCANS[:2]), "BBBB")
    heap = heap_of([*one[:-1], *other])
    assert heap.missing == {"AAAA": [len(one)]} and len(heap.whole) == 1


@pytest.mark.parametrize(
    "content", [b"", b"[]", b"{", b'{"format": "other", "scans": []}', b'{"format": "knowngood scans 1"}', b"[" * 100_000]
)
def test_what_is_no_file_of_scans_says_so(content):
    with pytest.raises(CarryError, match="no file of scans"):
        carried_of(content)


def test_a_code_read_wrong_says_so():
    texts = codes_of(file(), "AAAA")
    texts[0] = texts[0][:-4] + "AAAA"
    with pytest.raises(CarryError, match="read wrong"):
        heap_of(texts)


def test_a_code_of_somebody_else_is_left_aside():
    heap = heap_of(["https://example.org/", "CARRY.AAAA.0.1.", "CARRY.AAAA.3.2.AA", "  "])
    assert len(heap.strange) == 3 and not heap.whole


def test_a_packed_mountain_is_refused():
    import base64
    import zlib

    packer = zlib.compressobj(9)
    packed = base64.b32encode(packer.compress(b" " * 50_000_000) + packer.flush()).decode().rstrip("=")
    parts = [packed[start : start + 480] for start in range(0, len(packed), 480)]
    with pytest.raises(CarryError):
        heap_of(f"CARRY.AAAA.{n}.{len(parts)}.{part}" for n, part in enumerate(parts, 1))


@pytest.mark.parametrize("offset", [None, True, "x", 1e300, float("1e13")])
def test_an_odd_clock_is_taken_as_right(offset):
    assert carried_of(file(offset_ms=offset)).offset_ms == 0
