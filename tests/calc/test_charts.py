"""Charts of the bench: what belongs together, how far the axes reach, where points and limits fall."""

from datetime import UTC, datetime, timedelta

import pytest

from maintenance.calc.charts import Reading, charts_of, drawing_of, figure_words, series_of, strain

BEGIN = datetime(2024, 3, 1, tzinfo=UTC)


def readings(*values, name="hot", unit="ohm", high=0.5, low=None, verdict="pass", **kw):
    return [
        Reading(
            at=BEGIN + timedelta(days=100 * place),
            name=name,
            unit=unit,
            value=value,
            low=low,
            high=high,
            within=(high is None or value <= high) and (low is None or value >= low),
            verdict=verdict,
            **kw,
        )
        for place, value in enumerate(values)
    ]


def drawn(rows, **kw):
    return drawing_of(charts_of(rows)[0], until=BEGIN + timedelta(days=500), **kw)


def test_one_reading_is_no_line():
    assert charts_of(readings(0.2)) == []


def test_series_under_one_limit_share_a_chart_and_the_worst_comes_first():
    rows = readings(0.2, 0.3) + readings(0.2, 0.4, name="cold") + readings(0.1, 0.2, name="screen", high=0.21)
    first, second = charts_of(rows)
    assert [s.name for s in first.series] == ["screen"]
    assert [s.name for s in second.series] == ["cold", "hot"]


def test_what_once_failed_comes_before_what_is_only_near_its_limit():
    first, _second = charts_of(readings(0.3, 0.3, name="screen", high=0.31) + readings(0.2, 0.7, 0.2))
    assert first.series[0].name == "hot"


def test_a_multicore_draws_its_worst_and_says_how_many_it_leaves_out():
    rows = [r for n in range(72) for r in readings(0.2, 0.2 + n / 1000, name=f"core {n}")]
    (chart,) = charts_of(rows)
    assert [s.name for s in chart.series] == ["core 71", "core 70", "core 69", "core 68"]
    assert chart.left_out == 68


def test_a_limit_lies_where_its_value_is_and_readings_below_it_are_below_it():
    drawing = drawn(readings(0.25, 0.5, 0.6))
    (step,) = drawing.high
    assert (step.x, step.end) == (0, 100)
    dots = drawing.lines[0].dots
    assert dots[0].y > step.y == dots[1].y > dots[2].y
    assert [d.shape for d in dots] == ["pass", "pass", "fail"]
    assert dots[0].y == pytest.approx(drawing.height * (1 - 0.25 / drawing.top), abs=0.01)


def test_a_limit_that_was_changed_steps_at_the_test_that_first_used_it():
    rows = readings(0.2, 0.2, 0.2)
    rows[2] = Reading(at=rows[2].at, name="hot", unit="ohm", value=0.2, high=0.4)
    first, second = drawn(rows).high
    assert first.x == 0 and first.end == second.x and second.end == 100
    assert second.x == drawn(rows).lines[0].dots[2].x and second.y > first.y


def test_an_open_core_does_not_flatten_the_rest():
    drawing = drawn(readings(0.2, 20e6, 0.21))
    over = drawing.lines[0].dots[1]
    assert drawing.top < 5 and over.over and over.y == 0
    assert over.words == "hot: 20.0\u2009M\u03a9"


def test_a_band_is_drawn_round_itself_and_not_from_nothing():
    drawing = drawn(readings(-20.6, -20.5, name="gain", unit="dB", low=-21.8, high=-19.8))
    assert -24 < drawing.foot < -21.8 and -19.8 < drawing.top < -18
    assert len(drawing.low) == len(drawing.high) == 1 and drawing.low[0].y > drawing.high[0].y
    assert all("\u2212" in tick.words for tick in drawing.up)


def test_more_is_better_keeps_its_limit_in_sight():
    drawing = drawn(readings(2e10, 3e10, name="insulation", high=None, low=1e7))
    assert drawing.low and drawing.low[0].y < drawing.height
    assert all(dot.over for dot in drawing.lines[0].dots)


@pytest.mark.parametrize("days", [0, 1, 9, 80, 400, 2000, 9000])
def test_dates_along_the_foot_are_few_and_inside(days):
    rows = readings(0.2, 0.2)
    rows[1] = Reading(at=BEGIN + timedelta(days=days), name="hot", unit="ohm", value=0.2, high=0.5)
    drawing = drawing_of(charts_of(rows)[0], until=rows[1].at)
    assert len(drawing.across) <= 6 and all(0 <= tick.at <= 100 for tick in drawing.across)
    assert [tick.value for tick in drawing.across] == sorted({tick.value for tick in drawing.across})
    if 62 < days < 3 * 366:  # a year stands once: five months beside each other have room on a phone
        years = [tick.words.split()[1] for tick in drawing.across if " " in tick.words]
        assert years and len(years) == len(set(years))
    assert all(0 <= d.x <= 100 and 0 <= d.y <= drawing.height for d in drawing.lines[0].dots)


@pytest.mark.parametrize(
    ("low", "high", "values"),
    [(None, None, (0, 0)), (None, 0, (0, 0)), (0, None, (0, 5)), (5, 5, (5, 5)), (None, None, (-3, 3)), (-1, None, (0, -9))],
)
def test_odd_limits_and_values_still_make_a_drawing(low, high, values):
    drawing = drawn(readings(*values, low=low, high=high, unit="V"))
    assert drawing.foot < drawing.top and drawing.up


def test_what_is_no_number_is_left_out():
    assert len(series_of(readings(0.2, float("nan"), float("inf"), 0.3))[0].readings) == 2


def test_strain_is_one_on_either_limit():
    on_high, on_low = readings(0.5)[0], readings(1e7, low=1e7, high=None)[0]
    assert strain(on_high) == strain(on_low) == 1
    assert strain(readings(5e6, low=1e7, high=None)[0]) == 2


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (0.2149, "ohm", "0.21 \u03a9"),
        (0.02, "\u03a9", "0.02 \u03a9"),
        (4700, "\u03a9", "4.70 k\u03a9"),
        (2e7, "ohm", "20.0 M\u03a9"),
        (3e10, "ohm", "30.0 G\u03a9"),
        (48.13, "V", "48.1 V"),
        (-20.5, "dB", "\u221220.5 dB"),
        (1234.6, "Hz", "1235 Hz"),
        (7, "", "7"),
    ],
)
def test_figures_are_written_as_people_read_them(value, unit, said):
    assert figure_words(value, unit).replace("\u2009", " ") == said


def test_repairs_are_marked_where_they_fell():
    drawing = drawn(
        readings(0.2, 0.3, 0.2), marks=[(BEGIN + timedelta(days=150), "re-soldered"), (BEGIN - timedelta(days=999), "old")]
    )
    (mark,) = drawing.marks
    one, two = drawing.lines[0].dots[1].x, drawing.lines[0].dots[2].x
    assert one < mark.at < two and mark.words == "re-soldered"
