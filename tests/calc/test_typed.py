"""What people type into lists."""

from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.typed import (
    Odd,
    checked,
    guard,
    read_count,
    read_day,
    read_length,
    read_moment,
    read_money,
    read_yes,
    tidy,
    unguard,
    write_length,
)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("10 m", 10_000),
        ("33ft", 10_058),
        ("10", 10_000),
        ("0.5m", 500),
        ("0,5 m", 500),
        ("50 cm", 500),
        ("6'", 1829),
        ("12 in", 305),
    ],
)
def test_lengths_are_read_as_people_write_them(text, mm):
    assert read_length(text).value == mm


def test_bare_length_is_in_the_companys_unit():
    assert read_length("10", units="imperial").value == 3048


@pytest.mark.parametrize("text", ["long", "10 furlongs", "1e30", "10" * 20, "2000 m", "-3 m", "NaN", "∞"])
def test_odd_length_gets_a_sentence(text):
    with pytest.raises(Odd, match=r"\.$"):
        read_length(text)


@given(st.integers(0, 1_000_000), st.sampled_from(["metric", "imperial"]))
def test_length_written_is_read_the_same(mm, units):
    text = write_length(mm, units=units)
    assert (read_length(text, units=units).value if text else 0) == mm


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2026-03-04", date(2026, 3, 4)),
        ("4.3.2026", date(2026, 3, 4)),
        ("25/12/26", date(2026, 12, 25)),
        ("12/25/2026", date(2026, 12, 25)),
        ("4 Mar 2026", date(2026, 3, 4)),
        ("Wed 4 March 2026", date(2026, 3, 4)),
        ("March 4, 2026", date(2026, 3, 4)),
    ],
)
def test_days_are_read_as_people_write_them(text, day):
    assert read_day(text).value == day


def test_day_that_could_be_two_says_how_it_was_read():
    here, there = read_day("03/04/2026"), read_day("03/04/2026", country="US")
    assert (here.value, there.value) == (date(2026, 4, 3), date(2026, 3, 4))
    assert "3 Apr 2026" in here.note and "4 Mar 2026" in there.note
    assert not read_day("25/04/2026").note and not read_day("04/04/2026").note


@pytest.mark.parametrize("text", ["0001-01-01", "9999-12-31", "2026-02-30", "31.11.2026", "soon", "99 Foo 2026", "1" * 50])
def test_odd_day_gets_a_sentence(text):
    with pytest.raises(Odd, match=r"\.$"):
        read_day(text)


def test_moments_are_read_with_and_without_offset():
    assert read_moment("2026-10-03 14:00").value == datetime(2026, 10, 3, 14)
    assert read_moment("3/10/2026, 2:30 pm").value == datetime(2026, 10, 3, 14, 30)
    assert read_moment("2026-10-25 01:30+01:00").value.isoformat() == "2026-10-25T01:30:00+01:00"
    for text in ("2026-10-03", "2026-10-03 25:00", "2026-10-03 13:00 pm", "2026-10-03 12:61"):
        with pytest.raises(Odd):
            read_moment(text)


@pytest.mark.parametrize(
    ("text", "cents"),
    [
        ("12,50", 1250),
        ("£12.50", 1250),
        ("1.234,50", 123_450),
        ("1,234.50", 123_450),
        ("EUR 12", 1200),
        ("12.-", 1200),
        ("1'234.50", 123_450),
        ("149", 14_900),
    ],
)
def test_prices_are_read_as_people_write_them(text, cents):
    assert read_money(text).value == cents


def test_price_with_three_figures_behind_a_sign_says_how_it_was_read():
    read = read_money("1,234")
    assert read.value == 123_400 and "1234" in read.note


@pytest.mark.parametrize("text", ["-5", "free", "1e30", "1" * 31, "1.2.3,4,5", ""])
def test_odd_price_gets_a_sentence(text):
    with pytest.raises(Odd):
        read_money(text)


def test_counts_and_yes_and_no():
    assert read_count("24").value == 24 and read_count("24.0").value == 24 and read_count("1 000").value == 1000
    assert read_yes("Yes") and read_yes("x") and not read_yes("no") and not read_yes("")
    for text in ("-1", "1.5", "many", "1" * 30, "٣"):
        with pytest.raises(Odd):
            read_count(text)
    with pytest.raises(Odd):
        read_yes("perhaps")


@pytest.mark.parametrize("text", ["a\0b", f"a{chr(0xD800)}b", "a\ufffdb", "x" * 100_000])
def test_cell_that_cannot_be_kept_gets_a_sentence(text):
    with pytest.raises(Odd, match=r"\.|\?$"):
        checked(text)


@given(st.text(alphabet=st.sampled_from("'=+-@\t\r\nab \u00e9"), max_size=8) | st.text())
def test_guard_is_taken_off_exactly_once(text):
    """What begins with ' and a sign survives too, and a guarded text never begins with a sign."""
    assert unguard(guard(text)) == text
    assert not guard(text)[:1] or guard(text)[0] not in "=+-@\t\r\n"


@given(st.text())
def test_tidying_twice_is_tidying_once(text):
    assert tidy(tidy(text)) == tidy(text)
