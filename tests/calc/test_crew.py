"""What a crew pass lets its holder scan, by when it happened."""

from datetime import UTC, datetime, timedelta

import pytest

from shows.calc.crew import LATE, Limits, refusal

HOME = datetime(2026, 9, 26, 1, 0, tzinfo=UTC)
STARTED = HOME - timedelta(hours=12)


def limits(**kw):
    return Limits(**{"show": 7, "name": "Harvest ceilidh", "since": STARTED, "home_by": HOME, **kw})


def said(action, *, show=7, happened=HOME - timedelta(hours=1), after=timedelta(minutes=1), **kw):
    return refusal(limits(**kw), action=action, show=show, happened=happened, received=happened + after)


@pytest.mark.parametrize("action", ["out", "truck", "back", "inspect"])
def test_all_is_taken_while_the_show_is_on(action):
    assert said(action) == ""


@pytest.mark.parametrize("action", ["out", "truck", "back", "inspect"])
def test_another_show_is_never_scanned_for(action):
    assert said(action, show=8) == "This pass scans for Harvest ceilidh alone."


@pytest.mark.parametrize("action", ["out", "truck", "inspect"])
def test_after_home_by_only_back_is_taken(action):
    assert "nothing but “back”" in said(action, happened=HOME + timedelta(hours=1))
    assert said("back", show=None, happened=HOME + timedelta(days=40)) == ""


def test_what_happened_in_time_is_taken_for_fourteen_days():
    assert said("out", after=LATE) == ""
    assert "14 days" in said("out", after=LATE + timedelta(hours=2))
    assert said("back", after=LATE + timedelta(days=20)) == ""


def test_a_withdrawn_pass_keeps_what_was_scanned_before():
    gone = HOME - timedelta(hours=2)
    assert said("out", happened=gone - timedelta(seconds=1), withdrawn_at=gone) == ""
    assert "withdrawn" in said("out", happened=gone, withdrawn_at=gone)
    assert "withdrawn" in said("back", happened=gone, withdrawn_at=gone)


def test_nobody_new_starts_on_a_pass_that_is_over_or_withdrawn():
    assert limits().may_start(HOME - timedelta(seconds=1))
    assert not limits().may_start(HOME)
    assert not limits(withdrawn_at=STARTED).may_start(STARTED)
    assert not limits().is_over(HOME + LATE) and limits().is_over(HOME + LATE + timedelta(seconds=1))
