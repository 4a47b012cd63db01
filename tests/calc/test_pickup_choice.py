"""Which mic/DI a source wants, by the numbers and by what a stage gives."""

import re
from dataclasses import replace

import pytest

from shows.calc.pickup_choice import By, Pickup, Stage, Way, choose, mixer_sees_ohm, weigh, with_range
from shows.calc.signal_path import Lead, PathError, Sort, Source
from shows.calc.weighing import input_of

LEAD = Lead(metres=5, pf_per_m=100)
COIL = Source(sort=Sort.PICKUP, ohm=6_000, henry=2.4, farad=110e-12, across_ohm=125_000, typical_dbu=-20, peak_dbu=3)
PIEZO = Source(sort=Sort.PIEZO, ohm=0, farad=500e-12, typical_dbu=-20, peak_dbu=0)
KEYS = Source(ohm=300, typical_dbu=0, peak_dbu=10)
LAPTOP = Source(ohm=50, typical_dbu=-10, peak_dbu=3)
PASSIVE = Pickup(key="p", name="Passive direct box", by=By.PASSIVE, turns=12, isolates=True, lift=True, pads_db=(20, 40))
ACTIVE = Pickup(key="a", name="Active direct box", by=By.ACTIVE, input_ohm=1e6, output_ohm=150, on_phantom=True, on_cells=True)
PLAIN = Pickup(key="l", name="Plain lead", by=By.LEAD)
DYNAMIC = Pickup(key="d", name="Dynamic microphone", by=By.MICROPHONE, sensitivity_mv=2, most_spl_db=150)
CONDENSER = Pickup(key="c", name="Condenser microphone", by=By.MICROPHONE, on_phantom=True, sensitivity_mv=10, most_spl_db=130)
BOXES = [PASSIVE, ACTIVE, PLAIN]


def stage(**kw):
    return Stage(**{"lead": LEAD, "mixer_ohm": 1_500, "most_dbu": 21, **kw})


def test_a_passive_pickup_goes_to_the_active_box_and_the_passive_ones_loss_is_told():
    found = choose(COIL, stage(), BOXES)
    assert found.first.pickup is ACTIVE and found.second.pickup is PASSIVE
    assert "dB at" in found.why and "flattens the pickup's own peak" in found.lost.lower()
    assert found.second.answer.peak.db < found.first.answer.peak.db


def test_a_powered_keyboard_is_happy_with_either_and_the_words_say_so():
    found = choose(KEYS, stage(), [PASSIVE, ACTIVE])
    assert abs(found.first.points - found.second.points) < 0.5
    assert found.why.endswith("either will do.")
    assert found.first.answer.loss_db < 0.05


def test_other_supplies_make_isolation_win():
    assert choose(KEYS, stage(other_feed=True), BOXES).first.pickup is PASSIVE
    assert "hum" in choose(KEYS, stage(other_feed=True), [ACTIVE]).why


def test_a_piezo_never_goes_to_a_passive_box_while_an_active_one_is_there():
    found = choose(PIEZO, stage(), BOXES)
    assert found.first.pickup is ACTIVE
    passive = next(one for one in found.weighed if one.pickup is PASSIVE)
    assert any("takes the bass" in words for words in passive.against)


def test_no_phantom_leaves_the_active_box_to_its_cells_or_out():
    cells = choose(COIL, stage(phantom=False), [ACTIVE]).first
    assert "it lives on its cells here" in cells.against
    dead = Pickup(key="x", name="Box", by=By.ACTIVE, on_phantom=True)
    assert choose(COIL, stage(phantom=False), [dead]).first is None


def test_a_hot_source_gets_a_pad_or_is_said_to_clip():
    hot = Source(ohm=100, typical_dbu=10, peak_dbu=34)
    padded = choose(hot, stage(most_dbu=-10), [PASSIVE]).first
    assert padded.pad_db == 40  # 34 dBu less 21.6 of the ratio and 20 is still above -10
    (plain,) = choose(hot, stage(), [PLAIN]).weighed
    assert any("clip" in words for words in plain.against)


def test_a_stereo_jack_in_a_balanced_input_is_named_a_trap():
    found = choose(LAPTOP, stage(stereo_jack=True, stereo=True), BOXES)
    plain = next(one for one in found.weighed if one.pickup is PLAIN)
    assert any("left minus right" in words for words in plain.against)
    assert found.first.pickup is not PLAIN


def test_a_loudspeaker_output_takes_only_what_is_made_for_it():
    amp = Source(ohm=0.1, typical_dbu=20, peak_dbu=31)
    tap = Pickup(key="t", name="Loudspeaker tap", by=By.PASSIVE, turns=12, takes_loudspeaker=True, isolates=True, pads_db=(40,))
    found = choose(amp, stage(way=Way.LOUDSPEAKER, most_dbu=10, spl_db=120), [PASSIVE, tap, DYNAMIC])
    assert {found.first.pickup.key, found.second.pickup.key} == {"t", "d"}
    assert not next(one for one in found.weighed if one.pickup is PASSIVE).works


def test_a_voice_takes_a_microphone_that_stands_it_and_is_fed():
    assert (
        choose(KEYS, stage(way=Way.ACOUSTIC, spl_db=120, phantom=False), [DYNAMIC, CONDENSER, PASSIVE]).first.pickup is DYNAMIC
    )
    loud = choose(KEYS, stage(way=Way.ACOUSTIC, spl_db=140), [CONDENSER]).first
    assert any("sound pressure is more than" in words for words in loud.against)


def test_nothing_that_works_is_said_with_the_reason():
    assert choose(KEYS, stage(), []).why == "There is nothing on record that could pick it up."
    assert choose(KEYS, stage(), [DYNAMIC]).why.startswith("Nothing on record will do.")


BALANCED = Source(ohm=150, typical_dbu=4, peak_dbu=18)
ISOLATOR = Pickup(key="i", name="Isolator", by=By.ISOLATOR, turns=1, isolates=True, stereo=True)


def test_a_balanced_source_takes_no_direct_box_and_an_isolator_only_for_a_reason():
    found = choose(BALANCED, stage(balanced=True), [PLAIN, PASSIVE, ACTIVE, ISOLATOR])
    assert (found.first.pickup, found.second) == (PLAIN, None)
    assert {one.pickup.key for one in found.weighed if not one.works} == {"p", "a", "i"}
    hung = choose(BALANCED, stage(balanced=True, other_feed=True), [PLAIN, ISOLATOR])
    assert {hung.first.pickup.key, hung.second.pickup.key} == {"l", "i"}
    harmed = choose(BALANCED, stage(balanced=True, live=True, harm="a ribbon microphone"), [PLAIN, ISOLATOR])
    assert harmed.first.pickup is ISOLATOR


def test_a_hot_source_gets_a_pad_before_an_active_boxs_own_input():
    padded = Pickup(key="a", name="Active", by=By.ACTIVE, on_phantom=True, pads_db=(20,))
    assert choose(Source(ohm=300, typical_dbu=0, peak_dbu=12), stage(), [padded]).first.pad_db == 20
    assert choose(Source(ohm=300, typical_dbu=0, peak_dbu=9), stage(), [padded]).first.pad_db == 0


def test_loudspeaker_level_comes_in_behind_a_pad_from_the_start():
    amp = Source(ohm=0.1, typical_dbu=-10, peak_dbu=0)
    tap = Pickup(key="t", name="Tap", by=By.PASSIVE, turns=12, takes_loudspeaker=True, isolates=True, pads_db=(20, 40))
    assert choose(amp, stage(way=Way.LOUDSPEAKER), [tap]).first.pad_db == 20


def test_a_bare_cartridge_takes_nothing_and_says_what_it_wants():
    found = choose(COIL, stage(bare_cartridge=True), BOXES)
    assert found.first is None
    assert "equaliser" in found.why


def test_figures_are_a_range_where_the_sources_impedance_is_one():
    told = choose(COIL, stage(), BOXES, ends_ohm=(5_000, 8_000))
    assert re.search(r"loses 0\.\d to 0\.\d\u2009dB", told.why)
    low, high = told.first.ends
    assert low.loss_db < told.first.answer.loss_db < high.loss_db


def test_a_box_told_lower_than_its_ratio_shows_lets_its_transformer_lose():
    ideal = input_of(PASSIVE, mixer_ohm=1_500)
    budget = Pickup(key="b", name="Budget", by=By.PASSIVE, turns=12, input_ohm=50_000, output_ohm=600)
    assert ideal == pytest.approx(216_000)
    assert input_of(budget, mixer_ohm=1_000) == pytest.approx(50_000)
    assert 50_000 < input_of(budget, mixer_ohm=3_000) < 144 * 3_530


def test_a_plain_lead_is_its_whole_way_to_the_mixer():
    far = weigh(Source(ohm=10_000), stage(to_mixer_m=15, unbalanced_most_m=6), PLAIN)
    near = weigh(Source(ohm=10_000), stage(), PLAIN)
    assert far.answer.top_db < near.answer.top_db
    assert any("20\u2009m is far for an unbalanced lead" in said for said in far.against)


def test_a_microphone_by_habit_alone_is_never_called_either_will_do():
    usual = [Pickup(key=key, name=key, by=By.MICROPHONE, usual=n) for n, key in enumerate("xy")]
    found = choose(KEYS, stage(way=Way.ACOUSTIC, spl_db=120), usual)
    assert "either will do" not in found.why
    assert "no figure of it is on record" in found.why


def test_the_long_lead_is_driven_by_the_box_not_by_the_source():
    assert mixer_sees_ohm(COIL, PASSIVE) == pytest.approx(6_000 / 144)
    assert mixer_sees_ohm(COIL, PLAIN) == 6_000
    with pytest.raises(PathError):
        with_range(COIL, low_ohm=7_000, high_ohm=9_000)


def test_a_box_of_the_other_make_is_told_once_with_its_figures():
    found = choose(COIL, stage(), [ACTIVE, replace(ACTIVE, key="b", name="Active direct box b"), PASSIVE])
    passive = next(one for one in found.weighed if one.pickup is PASSIVE)
    assert found.why.endswith(f"A passive one, {PASSIVE.name}, {passive.in_short}.") and "falls from" in passive.in_short
    alone = choose(COIL, stage(), [ACTIVE, PASSIVE])
    assert "A passive one" not in alone.why and PASSIVE.name in alone.lost


def test_boxes_that_lose_alike_but_come_at_other_levels_say_so():
    found = choose(KEYS, stage(), [PASSIVE, ACTIVE])
    by = abs(found.first.level.peak_dbu - found.second.level.peak_dbu)
    assert by > 20 and f"{by:.0f}\u2009dB hotter: either will do." in found.why
