"""The stage from above: what is drawn where, letters apart, what is wrong in words, and what people type."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shows.calc.lines import PlaceSort
from shows.calc.stage_plan import CROSS_MM, FRONT_MM, WIDE, Floor, Spot, distance_mm, drawn, spread, wrong_with
from shows.calc.stage_typed import TypedError, factor_read, far_read, figure, loads_read

FLOOR = Floor(width_mm=8_000, depth_mm=6_000)


def spot(key, x, y, **kw):
    return Spot(**{"key": key, "name": key, "x_mm": x, "y_mm": y, **kw})


def arms(drawing, key):
    return [stroke for stroke in drawing.strokes if stroke.kind == "arm" and stroke.key == key]


def test_a_cross_stands_where_it_is_with_upstage_at_the_top():
    drawing = drawn(FLOOR, [spot("Bass", 2_000, 1_500)])
    (one, other) = arms(drawing, "Bass")
    assert ((one.x1 + one.x2) / 2, (one.y1 + one.y2) / 2) == (2_000, -1_500)
    assert (other.y1 + other.y2) / 2 == -1_500
    assert drawing.top <= -6_000 and drawing.left < 0 and drawing.left + drawing.width > 8_000


def test_the_floor_is_its_size_and_its_front_is_drawn_apart():
    strokes = drawn(FLOOR, []).strokes
    front = next(stroke for stroke in strokes if stroke.kind == "front")
    assert (front.x1, front.y1, front.x2, front.y2) == (0, 0, 8_000, 0)
    assert sum(stroke.kind == "grid" for stroke in strokes) == 7 + 5


def test_a_run_goes_to_the_box_its_lines_go_to():
    drawing = drawn(FLOOR, [spot("Bass", 2_000, 1_500, runs_to="Box"), spot("Box", 500, 5_000, sort=PlaceSort.BOX)])
    (run,) = [stroke for stroke in drawing.strokes if stroke.kind == "run"]
    assert (run.x1, run.y1, run.x2, run.y2) == (2_000, -1_500, 500, -5_000)


def test_a_mix_far_out_is_drawn_near_with_its_distance_in_letters():
    drawing = drawn(FLOOR, [spot("Mix", 4_000, -17_000, sort=PlaceSort.MIX)])
    assert any(letter.words == "Mix, 17\u2009m out" for letter in drawing.letters)
    assert arms(drawing, "Mix")[0].y1 < FRONT_MM + CROSS_MM + 1
    assert drawing.height < 14_000
    assert any(
        letter.words == "Mix, 56\u2009ft out" for letter in drawn(FLOOR, [spot("Mix", 0, -17_000)], imperial=True).letters
    )


def test_what_has_no_coordinates_is_not_drawn():
    assert not arms(drawn(FLOOR, [Spot(key="Later", name="Later")]), "Later")


def test_a_stage_nobody_measured_is_as_large_as_what_stands_on_it():
    drawing = drawn(Floor(width_mm=None, depth_mm=None), [spot("Far", 14_000, 9_000)])
    front = next(stroke for stroke in drawing.strokes if stroke.kind == "front")
    assert front.x2 == 15_000


def boxes(drawing):
    for letter in drawing.letters:
        if letter.kind != "name":
            continue
        wide = len(letter.words) * letter.size * WIDE
        left = {"start": letter.x, "end": letter.x - wide, "middle": letter.x - wide / 2}[letter.anchor]
        yield letter.words, (left, letter.y - letter.size, left + wide, letter.y)


def test_names_of_a_crowded_stage_do_not_lie_on_one_another():
    spots = [spot(f"Player {n}", 800 + n % 4 * 1_900, 800 + n // 4 * 1_300) for n in range(16)]
    for (one, a), (other, b) in itertools.combinations(boxes(drawn(FLOOR, spots)), 2):
        apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
        assert apart, (one, other)


@given(
    st.lists(
        st.builds(
            Spot,
            key=st.uuids().map(str),
            name=st.text(max_size=40),
            x_mm=st.integers(-500_000, 500_000),
            y_mm=st.integers(-500_000, 500_000),
        ),
        max_size=20,
    ),
    st.one_of(st.none(), st.integers(500, 200_000)),
)
def test_whatever_stands_wherever_can_be_drawn(spots, width):
    drawing = drawn(Floor(width_mm=width, depth_mm=width), spots)
    assert drawing.width > 0 and drawing.height > 0 and len(drawing.strokes) < 400


def test_what_is_wrong_is_said_of_the_place():
    said = wrong_with(
        FLOOR, [spot("A", 2_000, 1_000), spot("B", 2_050, 1_000), spot("C", 9_000, 1_000), spot("Mix", 0, -9_000, sort="mix")]
    )
    assert said == {"B": "It is on the spot of A.", "C": said["C"]} and "beside the stage" in said["C"]
    assert not wrong_with(FLOOR, [spot("Stack", -1_000, 500, played=False)])


def test_distances_are_straight_across():
    assert distance_mm(spot("A", 0, 0), spot("B", 3_000, 4_000)) == 5_000
    assert distance_mm(spot("A", 0, 0), Spot(key="B", name="B")) is None


@pytest.mark.parametrize("many", [1, 2, 5, 9, 16, 40])
def test_a_first_layout_puts_everybody_on_the_floor_apart(many):
    sorts = [PlaceSort.SOURCE] * many + [PlaceSort.BOX, PlaceSort.MIX]
    spots = spread(FLOOR, sorts, mix_mm=12_000)
    assert len(set(spots)) == len(spots)
    assert all(0 < x < 8_000 and 0 < y < 6_000 for x, y in spots[:-1])
    assert spots[-1] == (4_000, -12_000)


@pytest.mark.parametrize(
    ("text", "mm"),
    [("", None), ("3.5", 3_500), ("3,5 m", 3_500), ("-2", -2_000), ("\u22121.25", -1_250), ("10 ft", 3_048), ("0", 0)],
)
def test_coordinates_as_people_write_them(text, mm):
    assert far_read(text) == mm


def test_a_bare_number_is_in_the_companys_unit_and_comes_back_as_it_was():
    assert far_read("10", imperial=True) == 3_048
    assert figure(3_048, imperial=True) == "10" and figure(3_500) == "3.5" and figure(None) == ""


@pytest.mark.parametrize("text", ["x", "1e9", "3..5", "--1", "99999", "3 5", "nan"])
def test_what_is_no_coordinate_says_how_to_write_it(text):
    with pytest.raises(TypedError, match="Write it as"):
        far_read(text)


def test_factors_and_loads():
    assert factor_read("1,3") == 1.3 and factor_read("") is None
    with pytest.raises(TypedError):
        factor_read("much")
    read = [(load.count, load.name) for load in loads_read("2 Stage monitor, Amplifier rack; 3 x Powered sub,,")]
    assert read == [(2, "Stage monitor"), (1, "Amplifier rack"), (3, "Powered sub")]
