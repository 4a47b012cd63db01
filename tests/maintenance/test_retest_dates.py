"""When to test again: one item or all at once, only what changed is written, and what makes a date come sooner."""

import logging
from datetime import timedelta

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext

from company.models import Job
from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance import retest_job
from maintenance.models import BenchSettings, RetestRule, Risk, TypeModel
from maintenance.services import retest
from maintenance.services.faults import fault_close
from maintenance.services.retest import item_reckon, items_reckon, rule_changed, rule_of, types_reckon
from tests.builders import NOW, a_day, make_item, make_type
from tests.maintenance.bench_rows import taken_back, wet_call
from tests.maintenance.retest_rows import at_bench, days_before_now, mended, on, said, used

pytestmark = pytest.mark.django_db

TODAY = days_before_now(0)


@pytest.fixture
def leads(company):
    return make_type(Kind.LEAD, name="Microphone lead")


def make_lead(type_, *shows, tested=(), **kw):
    """Make a lead with shows and passed tests on days counted back from now; it bears the date of its last test."""
    lead = make_item(type=type_, added_at=NOW - timedelta(days=260), **kw)
    used(lead, *(TODAY - ago for ago in shows))
    for ago in tested:
        at_bench(lead, TODAY - ago)
    if tested:
        Item.objects.filter(pk=lead.pk).update(tested_on=a_day(-min(tested)))
    return lead


def risk_of(item):
    return Risk.objects.get(item=item)


def date_of(item):
    return Item.objects.values_list("test_by", flat=True).get(pk=item.pk)


def figures():
    return {
        row.item_id: (row.failures, row.shows, row.starts, row.starts_bad, row.since, row.chance_now, row.prior_share)
        for row in Risk.objects.all()
    }


def test_what_was_never_tested_stays_unproved_and_quiet_and_still_has_its_risk(leads):
    lead = make_lead(leads, 100, 50, 20)
    types_reckon(at=NOW)
    risk = risk_of(lead)
    assert date_of(lead) is None and risk.test_by is None
    assert risk.chance_now > 0 and risk.since == pytest.approx(1.5) and "never tested" in risk.why


def test_a_tested_lead_bears_a_date_with_its_reasons(leads):
    lead = make_lead(leads, 100, 80, 60, 10, tested=(40,))
    assert types_reckon(at=NOW).written == 1
    risk = risk_of(lead)
    assert a_day(7) < date_of(lead) == risk.test_by <= a_day(-40 + 183)
    assert "first guess" in risk.why and 0 < risk.prior_share <= 1 and risk.shows_left >= 3
    assert 0 < risk.chance_now < 0.05


def test_one_by_one_and_all_at_once_come_to_the_same(leads):
    items = [make_lead(leads, *range(5 + n, 200, 11 + n), tested=(150, 60 + n)) for n in range(8)]
    at_bench(items[0], TODAY - 30, "fail")
    mended(items[0], TODAY - 29)
    at_bench(items[0], TODAY - 29)
    at_bench(items[1], TODAY - 200, "fail")  # from the start
    said(items[2], TODAY - 5, "show")
    for item in items:
        item_reckon(item=item, at=NOW)
    # until all are told, the first ones know less of their type than the last: once more
    for item in items:
        item_reckon(item=item, at=NOW)
    single, dates = figures(), {item.pk: date_of(item) for item in items}
    Risk.objects.all().delete()
    TypeModel.objects.all().delete()
    types_reckon(at=NOW)
    whole = figures()
    for pk in single:
        assert whole[pk][:5] == single[pk][:5]
        assert whole[pk][5:] == pytest.approx(single[pk][5:], rel=0.1)  # cells laid for all of it, or for the guess alone
    # a few days on a date that the pace of shows set; the guard goes by counts that are made by night
    for item in items:
        night = date_of(item)
        assert (night is None) == (dates[item.pk] is None)
        assert night is None or abs((night - dates[item.pk]).days) <= 14


def test_after_the_night_one_more_test_moves_the_model_as_a_whole_fit_would(leads):
    items = [make_lead(leads, *range(5 + n, 200, 9 + n), tested=(150, 60 + n)) for n in range(12)]
    types_reckon(at=NOW)
    at_bench(items[3], TODAY, "fail")
    item_reckon(item=items[3], at=NOW + timedelta(hours=4))
    moved = TypeModel.objects.get()
    before = moved.posterior["cells"]
    types_reckon(at=NOW + timedelta(hours=5))
    fitted = TypeModel.objects.get()
    assert (moved.failures, moved.shows) == (fitted.failures, pytest.approx(fitted.shows))
    assert fitted.posterior["start_bad"] == pytest.approx(moved.posterior["start_bad"])

    def mean(cells):
        return sum(w * a / b for w, a, b in cells) / sum(w for w, _a, _b in cells)

    assert mean(before) == pytest.approx(mean(fitted.posterior["cells"]), rel=0.03)


def test_unchanged_rows_are_not_written(leads):
    for n in range(6):
        make_lead(leads, 30 + n, 20, 10, tested=(40,))
    box = make_lead(make_type(Kind.INTERFACE_BOX), 30, tested=(40,))
    assert types_reckon(at=NOW).written == 7
    later = NOW + timedelta(hours=1)
    assert types_reckon(at=later).written == 0
    assert not Risk.objects.exclude(made_at=NOW).exists() and not TypeModel.objects.exclude(made_at=NOW).exists()
    # a night without a show moves a date by the pace of shows by a day or so: that is no news
    assert types_reckon(at=NOW + timedelta(days=1)).written == 0
    used(Item.objects.filter(type=leads).order_by("pk")[0], TODAY - 1)
    assert 1 <= types_reckon(at=later).written <= 6
    assert risk_of(box).made_at == NOW


def test_the_night_writes_a_date_that_somebody_put_off(leads):
    lead = make_lead(leads, 30, 10, tested=(40,))
    types_reckon(at=NOW)
    right = date_of(lead)
    Item.objects.filter(pk=lead.pk).update(test_by=a_day(4000))
    assert types_reckon(at=NOW).written == 1 and date_of(lead) == right


def test_a_test_taken_back_takes_its_date_with_it(leads):
    lead = make_lead(leads, 30, 10)
    test = at_bench(lead, TODAY - 1)
    Item.objects.filter(pk=lead.pk).update(tested_on=a_day(-1))
    item_reckon(item=lead, at=NOW)
    assert date_of(lead)
    taken_back(test)
    Item.objects.filter(pk=lead.pk).update(tested_on=None)
    item_reckon(item=lead, at=NOW)
    assert date_of(lead) is None and risk_of(lead).since == pytest.approx(1)


def test_a_failed_lead_has_no_date_until_it_passes(leads):
    lead = make_lead(leads, 100, 30, 10, tested=(40,))
    at_bench(lead, TODAY - 1, "fail")
    Item.objects.filter(pk=lead.pk).update(tested_on=None)
    item_reckon(item=lead, at=NOW)
    assert date_of(lead) is None and risk_of(lead).chance_now == 1 and "not mended" in risk_of(lead).why


def test_what_got_wet_is_due_at_once_even_never_tested_unless_the_rule_says_not(leads):
    tested, never = make_lead(leads, 30, tested=(40,)), make_lead(leads)
    for item in (tested, never):
        call = wet_call(item, at=NOW - timedelta(days=2))
    types_reckon(at=NOW)
    assert date_of(tested) == date_of(never) == a_day(-2)
    assert risk_of(never).why.startswith("It got wet on ")
    RetestRule.objects.create(type=leads, after_wet=False)
    types_reckon(at=NOW)
    assert date_of(never) is None and date_of(tested) > a_day()
    RetestRule.objects.all().delete()
    call.answered_by = at_bench(never, TODAY - 1)
    call.save()
    Item.objects.filter(pk=never.pk).update(tested_on=a_day(-1))
    item_reckon(item=never, at=NOW)
    assert date_of(never) > a_day()


def test_after_a_repair_it_is_due_until_it_is_tested(leads):
    lead = make_lead(leads, 30, tested=(40,))
    mended(lead, TODAY - 3)
    item_reckon(item=lead, at=NOW)
    assert date_of(lead) == a_day(-3) and risk_of(lead).why.startswith("It was repaired on ")
    at_bench(lead, TODAY - 2)
    item_reckon(item=lead, at=NOW)
    assert date_of(lead) > a_day()


def test_a_report_closed_without_a_test_calls_for_one_where_there_was_a_proof(leads):
    proved, never = make_lead(leads, 30, 5, tested=(40,)), make_lead(leads, 30, 5)
    for item in (proved, never):
        said(item, TODAY - 5, "show", closed_at=on(TODAY - 4), closed_how="Pushed the plug home.")
    types_reckon(at=NOW)
    assert date_of(proved) == a_day(-4) and date_of(never) is None
    RetestRule.objects.create(type=leads, after_symptom=False)
    types_reckon(at=NOW)
    assert date_of(proved) > a_day()


def test_closing_a_report_by_hand_reckons_the_item_at_once(leads, technician):
    lead = make_lead(leads, 30, 5, tested=(40,))
    report = said(lead, TODAY - 5, "show")
    types_reckon(at=NOW)
    assert date_of(lead) is None and risk_of(lead).chance_now == 1
    fault_close(fault=report, at=NOW, person=technician, how="Pushed the plug home.", taken_as_good=True)
    assert date_of(lead) == a_day() and risk_of(lead).chance_now < 0.1


def test_watch_halves_the_time(leads):
    lead, watched = make_lead(leads, 30, 20, tested=(40,)), make_lead(leads, 30, 20)
    at_bench(watched, TODAY - 40, "watch")
    Item.objects.filter(pk=watched.pk).update(tested_on=a_day(-40))
    types_reckon(at=NOW)
    whole, half = (date_of(item) - a_day(-40) for item in (lead, watched))
    assert half == whole // 2 and "watch" in risk_of(watched).why
    assert risk_of(watched).shows_left < risk_of(lead).shows_left
    RetestRule.objects.create(type=leads, least_days=half.days + 9)
    types_reckon(at=NOW)
    assert date_of(watched) == a_day(-40) + timedelta(days=half.days + 9)


def test_a_booked_show_sets_the_date_before_it(leads):
    lead = make_lead(leads, tested=(3,))
    RetestRule.objects.create(type=leads, most_shows=2, least_shows=0, least_days=0)
    used(lead, TODAY + 5, TODAY + 12, TODAY + 19, TODAY + 26, state="planned")
    types_reckon(at=NOW)
    assert date_of(lead) == a_day(18)


def test_much_worse_than_its_kind_is_said(leads):
    bad = make_lead(leads, *range(1, 120, 2))
    for n in range(9):
        at_bench(bad, TODAY - 110 + 12 * n, "fail")
        mended(bad, TODAY - 110 + 12 * n)
        at_bench(bad, TODAY - 109 + 12 * n)
    for _ in range(12):
        make_lead(leads, *range(1, 120, 2), tested=(119, 1))
    types_reckon(at=NOW)
    assert list(Risk.objects.filter(retire=True).values_list("item", flat=True)) == [bad.pk]
    assert "3 times as often" in risk_of(bad).retire_why


def test_retired_and_gone_things_teach_their_type_and_bear_no_date(leads):
    gone = make_lead(leads, *range(1, 200, 4), tested=(190, 100, 10))
    kept = make_lead(leads, 30, tested=(40,))
    Item.objects.filter(pk=gone.pk).update(retired_on=a_day(-1), retired_because="Crushed.", test_by=a_day(9))
    types_reckon(at=NOW)
    assert risk_of(gone).test_by is None and date_of(gone) == a_day(9)
    assert TypeModel.objects.get().shows > risk_of(kept).shows + 20
    assert "1 like it never failed" in risk_of(kept).why


def test_stands_and_cases_have_no_risk(company):
    stand = make_item(kind=Kind.STAND)
    assert types_reckon(at=NOW).items == 0
    assert item_reckon(item=stand, at=NOW) is None and not Risk.objects.exists()


def test_one_broken_type_stops_no_other_and_is_named(leads, monkeypatch, caplog):
    good, other = make_lead(leads, 30, tested=(40,)), make_lead(make_type(Kind.LEAD, name="Odd lead"), 30, tested=(40,))
    real = retest.reckon_many

    def breaks(*, model, records, **kw):
        if records.age[0] and kw["situations"].tested_on[0] and kw["rule"].minutes_a_test == 9:
            raise ZeroDivisionError("somewhere deep")
        return real(model=model, records=records, **kw)

    monkeypatch.setattr(retest, "reckon_many", breaks)
    RetestRule.objects.create(type=other.type, minutes_a_test=9)
    with caplog.at_level(logging.ERROR):
        done = types_reckon(at=NOW)
    assert done.failed == ["Odd lead"] and (done.items, done.written) == (1, 1)
    assert date_of(good) and date_of(other) is None
    assert "Odd lead" in done.said and "when to test Odd lead again could not be worked out" in caplog.text


def test_what_somebody_changed_meanwhile_is_left_alone(leads, monkeypatch):
    lead, other = make_lead(leads, 30, tested=(40,)), make_lead(leads, 20, tested=(30,))
    real = retest.circumstances_of

    def meanwhile(**kw):
        found = real(**kw)
        Item.objects.filter(pk=lead.pk).update(test_by=a_day())  # somebody called it in
        return found

    monkeypatch.setattr(retest, "circumstances_of", meanwhile)
    assert types_reckon(at=NOW).written == 1
    assert date_of(lead) == a_day() and date_of(other) > a_day()


def test_a_test_in_the_middle_of_the_night_counts(leads, monkeypatch):
    lead = make_lead(leads, 30, 20, tested=(40,))
    types_reckon(at=NOW)
    real, done = retest.types_learn, []

    def meanwhile(*args):
        found = real(*args)
        if not done:
            done.append(at_bench(lead, 0, "fail", at=NOW + timedelta(hours=1)))
            item_reckon(item=lead, at=NOW + timedelta(hours=1))
        return found

    monkeypatch.setattr(retest, "types_learn", meanwhile)
    used(lead, TODAY - 10)
    types_reckon(at=NOW + timedelta(minutes=30))
    assert TypeModel.objects.get().failures == risk_of(lead).failures == 1


def test_many_of_one_type_are_read_in_parts_with_the_same_answer(leads, monkeypatch):
    items = [make_lead(leads, *range(5 + n, 200, 9 + n), tested=(150, 60 + n)) for n in range(7)]
    types_reckon(at=NOW)
    at_once, dates = figures(), [date_of(item) for item in items]
    TypeModel.objects.all().delete()
    Risk.objects.all().delete()
    monkeypatch.setattr(retest, "AT_ONCE", 2)
    monkeypatch.setattr(retest, "WRITTEN", 1)
    told = []
    assert types_reckon(at=NOW, progress=lambda done, total: told.append((done, total))).written == 7
    assert all(figures()[pk] == pytest.approx(row, rel=1e-9) for pk, row in at_once.items())
    assert [date_of(item) for item in items] == dates and told == [(7, 7)]


def test_a_type_s_own_rule_is_taken_or_the_first_guess_of_its_kind(leads):
    box = make_type(Kind.INTERFACE_BOX)
    RetestRule.objects.create(type=leads, most_days=30, median_shows=77, pessimistic_shows=11)
    rules = rule_of([leads, box])
    assert (rules[leads.pk].most_days, rules[leads.pk].median_shows) == (30, 77)
    assert rules[box.pk].most_days == 365 and rule_of([]) == {}


def test_a_changed_rule_is_reckoned_at_once_or_by_a_job(leads, owner, monkeypatch):
    lead = make_lead(leads, 30, tested=(40,))
    types_reckon(at=NOW)
    before = date_of(lead)
    RetestRule.objects.create(type=leads, most_days=50)
    assert rule_changed(type=leads, person=owner, at=NOW) is None
    assert date_of(lead) == a_day(10) < before
    monkeypatch.setattr(retest, "SOON", 0)
    job = rule_changed(type=leads, person=owner, at=NOW)
    assert job and job.given == {"types": [leads.pk]} and "Microphone lead" in job.title


def test_other_first_guesses_make_the_model_anew(leads):
    lead = make_lead(leads, 30, tested=(40,))
    types_reckon(at=NOW)
    before = risk_of(lead).chance_now
    RetestRule.objects.create(type=leads, median_shows=15, pessimistic_shows=5)
    item_reckon(item=lead, at=NOW)
    assert risk_of(lead).chance_now > 3 * before


def test_one_item_costs_as_many_queries_as_fifty_and_few(leads):
    items = [make_lead(leads, 30, 20, tested=(100, 40)) for _ in range(50)]
    types_reckon(at=NOW)

    def asked(keys):
        with CaptureQueriesContext(connection) as caught:
            items_reckon(item_ids=keys, at=NOW)
        return len(caught)

    items_reckon(item_ids=[item.pk for item in items], at=NOW)  # makes the forecasts
    assert asked([items[0].pk]) == asked([item.pk for item in items]) <= 40


def test_the_bench_s_own_sensitivities_are_used(leads):
    lead = make_lead(leads, 90, 80, 70, 60)
    at_bench(lead, TODAY - 40, depth="lamps")
    types_reckon(at=NOW)
    assert risk_of(lead).since == pytest.approx(4 * 0.5 * 0.4)
    settings = BenchSettings.current()
    settings.sees_lamps, settings.sees_show = 0.8, 0.9
    settings.save()
    types_reckon(at=NOW)
    assert risk_of(lead).since == pytest.approx(4 * 0.1 * 0.2)


def test_the_job_runs_once_a_day_whenever_the_machine_is_on(leads):
    assert retest_job.nightly_start(at=NOW) is None  # there is nothing yet
    lead = make_lead(leads, 30, tested=(40,))
    job = retest_job.nightly_start(at=NOW)
    assert job and retest_job.nightly_start(at=NOW + timedelta(hours=5)) is None
    assert retest_job.nightly_start(at=NOW.replace(hour=1) + timedelta(days=1)) is None  # before three in the morning
    assert retest_job.nightly_start(at=NOW + timedelta(days=1)) is not None
    from company.jobs import job_run

    job_run(job.pk)
    job.refresh_from_db()
    assert job.state == Job.State.DONE and job.result["items"] == 1 and job.said.startswith("Worked out when to test 1 thing")
    assert date_of(lead)


def test_the_command_does_the_same_and_names_a_type_it_does_not_know(leads, capsys):
    lead = make_lead(leads, 30, tested=(40,))
    call_command("reckon_retests")
    assert date_of(lead) and "1 thing again; 1 changed" in capsys.readouterr().out
    call_command("reckon_retests", type="Microphone lead")
    assert "nothing changed" in capsys.readouterr().out
    with pytest.raises(CommandError, match="No gear type is called Sofa"):
        call_command("reckon_retests", type="Sofa")
