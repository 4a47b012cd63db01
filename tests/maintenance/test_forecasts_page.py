"""Were the forecasts right?"""

import random
from datetime import timedelta
from itertools import combinations

import pytest
from django.urls import reverse

from maintenance.calc.score_plot import score_plot
from maintenance.calc.scoring import Bin, score
from maintenance.models import Forecast, ForecastOutcome
from maintenance.track_record import track_record
from tests.builders import NOW, make_item, make_type

ADDRESS = "forecasts"


@pytest.fixture(autouse=True)
def still(monkeypatch, company):
    """Stop the clock at NOW: Friday 25 September 2026, 10:00 in London."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


def make_forecast(item=None, chance: float = 0.05, failed: bool | None = None, how: str = "bench", **kw) -> Forecast:
    made = Forecast.objects.create(item=item or make_item(), made_at=NOW - timedelta(days=90), shows=10, chance=chance)
    if failed is not None:
        ForecastOutcome.objects.create(forecast=made, resolved_at=NOW, shows=9, chance=chance, failed=failed, how=how, **kw)
    return made


def many(count: int, bad: int, chance: float = 0.05, **kw) -> None:
    item = make_item()
    for n in range(count):
        make_forecast(item, chance, failed=n < bad, **kw)


def shown(client) -> str:
    answer = client.get(reverse(ADDRESS))
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_before_any_came_to_something_it_says_so(as_technician):
    assert "none has come to anything yet" in shown(as_technician)


@pytest.mark.parametrize(
    ("count", "bad", "says"),
    [
        (20, 1, "Too few to judge."),
        (60, 3, "No sign that the forecasts are wrong, though they are not many yet."),
        (60, 12, "There are signs that the forecasts are wrong, though they are not many yet."),
        (200, 10, "The forecasts hold."),
        (200, 30, "The forecasts are too low: more turned out bad than was foretold."),
        (200, 1, "The forecasts are too high: fewer turned out bad than was foretold."),
    ],
)
def test_it_is_said_in_words_and_never_sooner_than_the_counts_allow(as_technician, count, bad, says):
    many(count, bad)
    text = shown(as_technician)
    assert says in text
    assert f"{bad} of {count} {'was' if bad == 1 else 'were'} bad, {0.05 * count:.1f} foretold" in text


def test_too_few_says_how_many_more_it_takes_and_what_none_still_allows(as_technician):
    many(20, 0)
    text = shown(as_technician)
    assert "30 more must come to something" in text
    # 1 - 0.05 ^ (1 / 20)
    assert "None bad in 20 still allows that 14 % are." in text


def test_found_at_line_check_and_in_the_show_are_kept_apart(as_technician):
    many(5, 3, how="line check")
    many(5, 2, how="show")
    many(5, 1, how="bench")
    record = track_record()
    assert (record.at_line_check, record.in_show, record.at_bench) == (3, 2, 1)
    assert "1 came out at the bench, 3 at line check and 2 in a show or after it" in shown(as_technician)


def test_what_was_taken_back_counts_for_nothing():
    make_forecast(failed=True, withdrawn_at=NOW)
    assert track_record().score is None


def test_each_kind_is_judged_by_itself(as_technician):
    lead, box = make_item(type=make_type(name="Lead")), make_item(type=make_type(name="Box"))
    for n in range(60):
        make_forecast(lead, failed=n < 3)
    make_forecast(box, failed=False)
    named = {one.name: one.score.verdict for one in track_record().types}
    assert named == {"Lead": "no sign of miscalibration", "Box": "too few to judge"}
    assert "0 of 1 were bad" in shown(as_technician)


def test_the_figures_stand_beside_the_words(as_technician):
    # Brier of 3 of 60 at 5 %: (57 x 0.05^2 + 3 x 0.95^2) / 60
    many(60, 3)
    assert "<dd>0.0475</dd>" in shown(as_technician)


def test_a_dot_lies_where_forecast_and_seen_say():
    dice = random.Random(2)
    chances = [0.05] * 100 + [0.2] * 100
    plot = score_plot(score(chances, [dice.random() < c for c in chances]).bins)
    low, high = plot.bins
    assert low.x < high.x
    for dot in plot.bins:
        assert plot.left <= dot.x <= plot.right
        assert plot.top <= dot.bar_top <= dot.bar_foot <= plot.foot


@pytest.mark.parametrize("near", [0.0001, 0.002, 0.006, 0.02])
def test_counts_of_dots_that_are_near_stand_apart(near):
    bins = [
        Bin(count=19, bad=n % 2, forecast=0.045 + near * n, seen=(n % 2) / 19, low=0.0, high=0.2, bar_low=0.0, bar_high=0.16)
        for n in range(5)
    ]
    plot = score_plot(bins)
    for one, other in combinations(plot.bins, 2):
        assert not one.word.box.meets(other.word.box)
    for bin_ in plot.bins:
        assert bin_.word.box.left >= plot.left and bin_.word.box.right <= plot.right
        assert bin_.word.box.foot <= plot.foot


def test_a_hand_does_not_read_it(as_hand):
    assert as_hand.get(reverse(ADDRESS)).status_code == 403


@pytest.mark.parametrize("count", [1, 50])
def test_it_costs_the_same_queries_however_many(as_technician, count, django_assert_num_queries):
    for _ in range(count):
        make_forecast(failed=False)
    with django_assert_num_queries(8):
        shown(as_technician)
