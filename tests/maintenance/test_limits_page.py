"""What the bench can measure and what its readings are held against."""

from datetime import date, timedelta

import pytest
from auditlog.models import LogEntry
from django.urls import reverse

from inventory.calc.kinds import Kind
from inventory.models.facts import InstrumentFacts
from maintenance.calc.bench import Capability, Depth
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.instruments import ABILITIES, promised
from maintenance.calc.limit_examples import examples, left_bad, ohms
from maintenance.forms_limits import TOLD, LimitsForm
from maintenance.models import BenchSettings
from tests.builders import NOW, make_item, make_type

LIMITS, KIT = "bench-limits", "bench-instruments"


@pytest.fixture(autouse=True)
def still(monkeypatch, company):
    """Stop the clock at NOW: Friday 25 September 2026, 10:00 in London."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


def as_shown(**changes) -> dict[str, str]:
    """Return the form as the page shows it, with some fields typed otherwise."""
    form = LimitsForm(instance=BenchSettings.current())
    shown = {name: form[name].value() for name in form.fields}
    return {name: "" if value is None else str(value) for name, value in shown.items()} | changes


def fresh() -> BenchSettings:
    return BenchSettings.objects.get(pk=1)


def test_saving_what_is_shown_changes_nothing(as_technician):
    before = fresh_values()
    answer = as_technician.post(reverse(LIMITS), as_shown())
    assert answer.status_code == 302
    assert fresh_values() == before


def fresh_values() -> dict:
    BenchSettings.current()
    return {name: getattr(fresh(), name) for name in TOLD}


def test_every_limit_can_be_set_and_none_is_forgotten():
    assert set(BenchLimits.__dataclass_fields__) <= set(TOLD)


def test_a_figure_is_typed_in_the_unit_people_say_and_kept_in_ohms(as_technician):
    as_technician.post(reverse(LIMITS), as_shown(leak_ohm="2,5", sees_lamps="55", earth_ohm="0.3"))
    now = fresh()
    assert (now.leak_ohm, now.sees_lamps, now.earth_ohm) == (2_500_000, 0.55, 0.3)


def test_who_changed_a_limit_is_in_the_change_log(as_technician, technician):
    BenchSettings.current()
    as_technician.post(reverse(LIMITS), as_shown(guard_ohm="0.2"))
    entry = LogEntry.objects.filter(content_type__model="benchsettings").latest("pk")
    assert entry.actor == technician
    assert entry.changes["guard_ohm"] == ["0.1", "0.2"]


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"core_factor": "0.5"}, "At least 1."),
        ({"core_factor": "much"}, "Write a number, as 149.50."),
        ({"core_factor": "nan"}, "Write a number, as 149.50."),
        ({"guard_ohm": "-1"}, "At least 0."),
        ({"guard_ohm": ""}, "This is needed."),
        ({"sees_ohms": "120"}, "At most 100."),
        ({"leak_ohm": "1e400"}, "Write a number, as 149.50."),
        ({"short_ohm": "900000", "leak_ohm": "0.01"}, "A leak reads more than a short"),
        ({"insulation_good_ohm": "1"}, "Good insulation reads at least what is not rejected."),
        ({"sees_lamps_flexed": "50"}, "Flexing finds more, never less."),
    ],
)
def test_what_cannot_be_is_said_at_the_field_and_nothing_is_kept(as_technician, typed, says):
    before = fresh_values()
    answer = as_technician.post(reverse(LIMITS), as_shown(**typed))
    assert answer.status_code == 422
    assert says in answer.content.decode()
    assert fresh_values() == before


def test_looking_works_the_example_out_and_keeps_nothing(as_technician):
    before = fresh_values()
    answer = as_technician.post(reverse(LIMITS), as_shown(guard_ohm="5", do="look"))
    worked = {group.key: example for group, _fields, example in answer.context["groups"]}
    assert answer.status_code == 200
    assert worked["core"] != {g.key: e for g, _f, e in as_technician.get(reverse(LIMITS)).context["groups"]}["core"]
    assert "Nothing is kept yet." in answer.content.decode()
    assert fresh_values() == before


def test_no_mains_limit_is_ever_filled_in_and_nothing_is_called_safe(as_technician):
    page = as_technician.get(reverse(LIMITS)).content.decode()
    now = fresh()
    assert (now.earth_ohm, now.mains_insulation_mohm, now.leakage_ma, now.residual_trip_ms) == (None,) * 4
    assert "it never declares anything safe" in page
    assert "Local codes and a licensed or competent person decide." in page
    as_technician.post(reverse(LIMITS), as_shown(earth_ohm="0.3"))
    as_technician.post(reverse(LIMITS), as_shown(earth_ohm=""))
    assert fresh().earth_ohm is None


def test_a_hand_sets_no_limit(as_hand):
    assert as_hand.post(reverse(LIMITS), {}).status_code == 403
    assert as_hand.post(reverse(KIT), {"measures": "ohms"}).status_code == 403


# ---- examples -------------------------------------------------------------------------------------------------------


def sees(share: float) -> dict[Depth, float]:
    return dict.fromkeys(Depth, share)


def test_what_a_pass_leaves_is_bayes_rule():
    # of 1000 leads 50 are bad; 75 in 100 are found, 12.5 left among 962.5 that passed
    assert left_bad(0.05, 0.75) == pytest.approx(12.5 / 962.5)
    assert left_bad(0.05, 1) == 0
    assert left_bad(0.05, 0) == 0.05


def test_an_example_follows_the_figure_it_explains():
    usual = examples(limits=BenchLimits(), sees=sees(1), sees_show=0)
    # 24 gauge is 0.842 ohm in 10 m (ASTM B258): 1.15 times that, two contacts of 0.05 and the guard of 0.10
    assert "up to 1.17\u2009Ω" in usual["core"]
    assert "none after a pass" in usual["sees"] and "1 in 20 after a show" in usual["sees"]
    told = examples(limits=BenchLimits(core_factor=1.5, legs_factor=0.5), sees=sees(1), sees_show=0)
    assert "up to 1.46\u2009Ω" in told["core"]
    assert "up to 1.26\u2009Ω" in told["legs"]


@pytest.mark.parametrize(
    ("ohm", "words"), [(0.784, "0.78\u2009Ω"), (150, "150\u2009Ω"), (4700, "4.7\u2009kΩ"), (2e7, "20\u2009MΩ")]
)
def test_ohms_are_said_short(ohm, words):
    assert ohms(ohm) == words


# ---- instruments ----------------------------------------------------------------------------------------------------


def make_instrument(measures: str, **kw):
    made = make_type(Kind.INSTRUMENT)
    InstrumentFacts.objects.create(type=made, measures=measures)
    return make_item(type=made, **kw)


def ticked(answer) -> set[Capability]:
    return {ability.capability for ability, on, _proposed in answer.context["abilities"] if on}


def test_every_ability_is_asked_for_once():
    assert [a.capability for a in ABILITIES] == list(Capability)


def test_what_is_owned_is_proposed_until_somebody_has_said(as_technician):
    make_instrument("continuity, ohms, volts")
    assert ticked(as_technician.get(reverse(KIT))) == {Capability.CONTINUITY, Capability.OHMS, Capability.VOLTS}
    assert BenchSettings.current().capabilities() == frozenset(Capability)
    as_technician.post(reverse(KIT), {"measures": ["continuity", "ohms"]})
    assert BenchSettings.current().capabilities() == {Capability.CONTINUITY, Capability.OHMS}
    page = as_technician.get(reverse(KIT))
    assert ticked(page) == {Capability.CONTINUITY, Capability.OHMS}
    assert page.context["unsaid"] == ["Read direct volts"]


def test_a_shop_that_measures_nothing_may_say_so(as_technician):
    as_technician.post(reverse(KIT), {})
    assert BenchSettings.current().capabilities() == frozenset()
    assert fresh().asked_at == NOW


def test_an_ability_nobody_knows_is_refused_in_words(as_technician):
    answer = as_technician.post(reverse(KIT), {"measures": ["ohms", "x-rays"]})
    assert answer.status_code == 422
    assert "not an ability the program knows" in answer.content.decode()
    assert BenchSettings.current().asked_at is None


def test_an_instrument_whose_calibration_ran_out_is_named(as_technician):
    late = make_instrument("ohms", calibration_due_on=date(2026, 9, 23), name="Old meter")
    make_instrument("ohms", calibration_due_on=NOW.date() + timedelta(days=30), name="New meter")
    page = as_technician.get(reverse(KIT))
    said = {one["item"].pk: one for one in page.context["owned"]}
    assert said[late.pk]["late"]
    assert "ran out Wed 23 Sep, 2 days ago" in page.content.decode()
    assert sum(one["late"] for one in said.values()) == 1


@pytest.mark.parametrize(
    ("words", "means"),
    [
        ("phantom volts", {Capability.VOLTS}),
        ("phantom load", {Capability.PHANTOM_LOAD}),
        ("milliohms", {Capability.MILLIOHMS, Capability.CONTINUITY}),
        ("", set()),
    ],
)
def test_an_instrument_promises_what_its_words_say(words, means):
    assert promised(words) == means


@pytest.mark.parametrize("count", [1, 50])
def test_instruments_cost_the_same_queries_however_many(as_technician, count, django_assert_num_queries):
    for _ in range(count):
        make_instrument("ohms")
    BenchSettings.current()
    with django_assert_num_queries(7):
        as_technician.get(reverse(KIT))
