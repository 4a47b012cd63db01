"""Phantom on a show: what reaches a device, what a desk can give, and whom the way it switches would harm."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc.kinds import PhantomKind
from maintenance.calc.phantom_out import SUPPLIES
from shows.calc.phantom import Drawn, OnInput, budget, feed

P48 = SUPPLIES["P48"]
VOICE, RIBBON = (
    OnInput(number=1, line="Voice", wants=True, draw_ma=4),
    OnInput(number=2, line="Trumpet", harm="a ribbon microphone"),
)


@given(st.floats(0, 10), st.floats(0, 50), st.floats(0, 50))
def test_more_current_or_more_lead_never_leaves_more_volts(ma, core, shield):
    bare = feed(P48, Drawn(draw_ma=ma))
    behind = feed(P48, Drawn(draw_ma=ma), core_ohm=core, shield_ohm=shield)
    assert bare and behind and behind.volts <= bare.volts and behind.least_volts <= behind.volts


def test_the_sentence_follows_the_figures():
    assert feed(P48, Drawn(draw_ma=2, least_v=30)).enough is True
    weak = feed(P48, Drawn(draw_ma=4, least_v=32))
    assert weak.enough is None and "weak end" in weak.says
    assert feed(P48, Drawn(draw_ma=8, least_v=30)).enough is False
    assert feed(P48, Drawn(draw_ma=12)).enough is False
    assert feed(P48, Drawn(draw_ma=4)).enough is None
    assert feed(P48, Drawn(draw_ma=None)) is None
    assert feed(SUPPLIES["SP48"], Drawn(draw_ma=4)) is None


def test_a_ribbon_is_safe_per_channel_and_warned_of_where_phantom_reaches_it():
    assert budget([VOICE, RIBBON], kind=PhantomKind.PER_CHANNEL, budget_ma=None).warnings == ()
    for kind in (PhantomKind.PER_BANK, PhantomKind.GLOBAL):
        (said,) = budget([VOICE, RIBBON], kind=kind, budget_ma=None).warnings
        assert said.startswith("Trumpet is a ribbon microphone") and "Voice" in said
    far = OnInput(number=9, line="Trumpet", harm="a ribbon microphone")
    assert budget([VOICE, far], kind=PhantomKind.PER_BANK, budget_ma=None).warnings == ()
    assert budget([RIBBON], kind=PhantomKind.GLOBAL, budget_ma=None).warnings == ()


def test_a_desk_without_phantom_names_the_lines_that_want_it():
    found = budget([VOICE], kind=PhantomKind.NONE, budget_ma=None)
    assert found.lines == 0 and found.asked_ma == 0 and "Voice need" in found.warnings[0]


def test_the_budget_counts_what_is_fed_and_says_what_nobody_knows():
    lines = [OnInput(number=n, line=f"L{n}", wants=True, draw_ma=8) for n in range(1, 5)]
    found = budget([*lines, OnInput(number=9, line="Odd", wants=True)], kind=PhantomKind.PER_CHANNEL, budget_ma=30)
    assert (found.asked_ma, found.over, found.lines, found.unknown) == (32, True, 5, ("Odd",))
    assert "32 mA together, more than the 30 mA" in found.warnings[0]


def test_what_cannot_be_gets_a_sentence():
    with pytest.raises(ValueError, match="not below nothing"):
        feed(P48, Drawn(draw_ma=-1))
    with pytest.raises(ValueError, match="at least one input"):
        budget([VOICE], kind=PhantomKind.PER_BANK, budget_ma=None, bank=0)
