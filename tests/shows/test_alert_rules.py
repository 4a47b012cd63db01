"""What the road speaks up about: true, not true, at the very instant, and at the same cost for one as for fifty."""

import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from company.registries import ALERT_RULES, NEEDS
from inventory.models import Item
from maintenance.models import Fault
from shows.calc.words import ShowState
from shows.models import Checkout, Contradiction, CustodyHead
from tests.builders import (
    NOW,
    make_box,
    make_checkout,
    make_company,
    make_item,
    make_person,
    make_pull_row,
    make_show,
    make_type,
    make_venue,
)

pytestmark = pytest.mark.django_db
HOUR, SECOND = timedelta(hours=1), timedelta(seconds=1)


@pytest.fixture(autouse=True)
def shop(company):
    return company


def found(key, at=NOW, terms=None):
    rule = ALERT_RULES[key]()
    return list(rule.find(at, terms or rule.terms))


def queries_of(key, at=NOW):
    with CaptureQueriesContext(connection) as caught:
        found(key, at)
    return len(caught)


def a_show_over(**kw):
    return make_show(NOW - 20 * HOUR, venue=make_venue(), **kw)


def fault(item, at, **kw):
    Item.objects.filter(pk=item.pk).update(suspect_since=at)
    return Fault.objects.create(uid=uuid.uuid4(), item=item, opened_at=at, **kw)


# ---- not home


def test_what_is_not_home_after_home_by_is_told_with_who_scanned_it_last_and_when():
    sam, show = make_person("hand", first_name="Sam"), a_show_over(name="Barn dance")
    box = make_item(type=make_type(name="Active direct box"), name="A")
    make_checkout(show, box, at=NOW - 19 * HOUR, opened_by=sam)
    (cause,) = found("not-home")
    assert cause.title == "Active direct box A not home from Barn dance"
    assert (
        "Active direct box A: Scanned out Thu 24 Sep, 15:00 by Sam (scanned itself)." in cause.says
    )  # by the clock in the shop
    assert cause.says.endswith("Scan it back, or say where it is.") and cause.by == show.home_by
    assert cause.url == f"/missing/#show-{show.pk}" and cause.subject == cause.occasion == f"show:{show.pk}"


def test_home_by_itself_is_not_late_and_a_second_after_is():
    show = a_show_over()
    make_checkout(show, make_box())
    assert not found("not-home", show.home_by)
    assert found("not-home", show.home_by + SECOND)


def test_one_alert_a_show_names_a_few_and_counts_the_rest():
    for number in (1, 5):
        show = a_show_over()
        for _ in range(number):
            make_checkout(show, make_box())
    one, five = sorted(found("not-home"), key=lambda cause: cause.show)
    assert five.title.startswith("5 things not home") and "And 2 more." in five.says and len(five.says) <= 500
    assert "more" not in one.says


def test_what_came_back_or_went_straight_on_is_not_missed_at_the_first_show():
    show, onward = a_show_over(), make_show(NOW + 3 * HOUR)
    back, moved = make_box(), make_box()
    make_checkout(show, back, closed_at=NOW, closed_uid=uuid.uuid4(), ended="back")
    make_checkout(show, moved, closed_at=NOW, closed_uid=uuid.uuid4(), ended="straight on")
    make_checkout(onward, moved, at=NOW)
    assert not found("not-home")
    assert [c.show for c in found("not-home", onward.home_by + SECOND)] == [onward.pk]


def test_a_cancelled_show_that_has_gear_is_told_of_and_one_without_is_not():
    gone = make_show(NOW + 3 * HOUR, state=ShowState.CANCELLED)
    assert not found("not-home")
    make_checkout(gone, make_box(), at=NOW)
    assert [c.show for c in found("not-home")] == [gone.pk]


def test_a_show_given_more_time_stays_one_alert_and_closes_meanwhile():
    show = a_show_over()
    make_checkout(show, make_box())
    (before,) = found("not-home")
    show.home_by = NOW + HOUR
    show.save()
    assert not found("not-home")
    (after,) = found("not-home", NOW + 2 * HOUR)
    assert (after.subject, after.occasion) == (before.subject, before.occasion) and after.by == NOW + HOUR


def test_it_is_told_again_half_a_day_after_home_by():
    show = a_show_over()
    make_checkout(show, make_box())
    assert [found("not-home", show.home_by + d)[0].stage for d in (SECOND, 12 * HOUR - SECOND, 12 * HOUR)] == [0, 0, 1]


@pytest.mark.parametrize(
    ("home_by", "local"),
    [
        (datetime(2026, 10, 25, 1, 30, tzinfo=UTC), "01:30"),  # the second half past one of the night: 02:30 summer time
        (datetime(2027, 3, 28, 1, 30, tzinfo=UTC), "02:30"),  # an hour after the clocks went forward
    ],
)
def test_on_the_night_the_clocks_change_home_by_is_an_instant(home_by, local):
    show = make_show(home_by - 8 * HOUR)
    assert show.home_by == home_by
    make_checkout(show, make_box(), at=home_by - 7 * HOUR)
    assert not found("not-home", home_by - SECOND) and not found("not-home", home_by)
    (cause,) = found("not-home", home_by + SECOND)
    assert f", {local}." in cause.says
    assert found("not-home", home_by + 12 * HOUR)[0].stage == 1  # twelve hours that passed, not twelve on the wall


def test_half_past_two_in_berlin_on_the_night_it_comes_twice():
    make_company(time_zone="Europe/Berlin")
    first, second = datetime(2026, 10, 25, 0, 30, tzinfo=UTC), datetime(2026, 10, 25, 1, 30, tzinfo=UTC)
    shows = [make_show(at - 8 * HOUR) for at in (first, second)]
    for show in shows:
        make_checkout(show, make_box(), at=first - 6 * HOUR)
    assert [c.show for c in found("not-home", first + 30 * 60 * SECOND)] == [shows[0].pk]
    both = found("not-home", second + SECOND)
    assert [c.show for c in both] == [s.pk for s in shows] and all("Sun 25 Oct, 02:30" in c.says for c in both)


# ---- short, suspect, to test


def suspect_on(show, name="A", **kw):
    box = make_item(type=make_type(name=f"Box {uuid.uuid4().hex[:6]}"), name=name)
    fault(box, NOW - 24 * HOUR * 30)
    make_pull_row(show, item=box, **kw)
    return box


def test_suspect_short_and_past_test_by_are_told_apart_in_one_sentence_a_show():
    show = make_show(NOW + 48 * HOUR, name="Quarry")
    box = suspect_on(show, line="3")
    lead = make_type(name="Tall stand")
    make_item(type=lead)
    make_pull_row(show, type=lead, count=3)
    late = make_item(type=make_type(name="Desk"), test_by=(NOW + 24 * HOUR).date())
    make_pull_row(show, item=late)
    (cause,) = found("show-trouble")
    assert f"Suspect: {box.label} (line 3) since Wed 26 Aug." in cause.says
    assert "Short 2 Tall stand: " in cause.says
    assert "Past its test-by date by load-in: Desk by Sat 26 Sep. Test it first." in cause.says
    assert cause.title.startswith("Quarry: 1 thing suspect, short ") and cause.title.endswith("1 to test")
    assert cause.subject == cause.occasion == f"show:{show.pk}" and cause.url == f"/shows/{show.pk}/"


def test_a_show_that_lacks_nothing_is_quiet_and_so_is_one_cancelled_loaded_or_far_off():
    fine = make_show(NOW + 48 * HOUR)
    make_pull_row(fine, item=make_box())
    for kw in ({"state": ShowState.CANCELLED}, {}, {}):
        show = make_show(NOW + 30 * HOUR if kw else NOW + (200 * HOUR), **kw)
        suspect_on(show)
    loaded = make_show(NOW)
    suspect_on(loaded)
    assert not found("show-trouble")
    assert [c.show for c in found("show-trouble", NOW - SECOND)] == [loaded.pk]


def test_it_speaks_from_the_lead_on_at_the_very_instant():
    show = make_show(NOW + 24 * HOUR * 7)
    suspect_on(show)
    assert not found("show-trouble", NOW - SECOND) and found("show-trouble", NOW)


def test_it_is_told_again_the_day_before_and_at_every_new_fault_but_not_when_one_is_mended():
    show = make_show(NOW + 48 * HOUR)
    suspect_on(show)
    other = make_box()
    make_pull_row(show, item=other)
    assert found("show-trouble")[0].stage == 0
    report = fault(other, NOW + HOUR)
    assert found("show-trouble", NOW + 2 * HOUR)[0].stage == 1
    report.closed_at, report.closed_how = NOW + 2 * HOUR, "mended"
    report.save()
    Item.objects.filter(pk=other.pk).update(suspect_since=None)
    assert found("show-trouble", NOW + 3 * HOUR)[0].stage == 1
    assert found("show-trouble", NOW + 24 * HOUR)[0].stage == 2


def test_a_moved_show_changes_its_alert_and_makes_no_other():
    show = make_show(NOW + 48 * HOUR)
    suspect_on(show)
    (before,) = found("show-trouble")
    for name in ("load_in", "line_check", "start", "end", "strike", "home_by"):
        setattr(show, name, getattr(show, name) + 24 * HOUR)
    show.save()
    (after,) = found("show-trouble")
    assert (after.subject, after.occasion) == (before.subject, before.occasion) and after.by == before.by + 24 * HOUR


def test_the_start_page_and_the_alert_agree_on_what_is_suspect_and_short(technician, rf):
    for n in range(3):
        show = make_show(NOW + (30 + n) * HOUR)
        if n < 2:
            suspect_on(show)
        if n > 0:
            make_pull_row(show, type=make_type(), count=2)
    request = rf.get("/")
    request.user, request.company = technician, make_company()
    needs = [need for name in ("short", "suspect-on-list") for need in NEEDS[name](request, NOW)]
    causes = found("show-trouble")
    assert {need.by for need in needs} == {cause.by for cause in causes} and len(causes) == 3
    assert sum("Suspect" in c.says for c in causes) == sum(n.group == "suspect" for n in needs) == 2
    assert sum("Short" in c.says for c in causes) == sum(n.group == "short" for n in needs) == 2


# ---- scans that disagree


def disagreement(item, **kw):
    return Contradiction.objects.create(
        item=item, scan_uid=uuid.uuid4(), kind="out twice", said="It was out to another show.", happened_at=NOW, **kw
    )


def test_an_undecided_contradiction_is_told_under_a_key_that_outlives_a_refold():
    box = make_box()
    row = disagreement(box)
    (cause,) = found("scans-disagree")
    assert cause.occasion == f"{row.scan_uid}:out twice" and cause.subject == f"item:{box.pk}"
    assert cause.url == f"/contradictions/{row.pk}/" and cause.says.startswith("It was out to another show.")
    uid = row.scan_uid
    row.delete()
    Contradiction.objects.create(item=box, scan_uid=uid, kind="out twice", said="again", happened_at=NOW)
    assert found("scans-disagree")[0].occasion == cause.occasion


def test_one_decided_or_explained_is_not_told():
    disagreement(make_box(), decided_at=NOW, decided="fine")
    disagreement(make_box(), stands=False)
    assert not found("scans-disagree")


# ---- cost


def many(number):
    for _ in range(number):
        box = make_box()
        over, coming = a_show_over(), make_show(NOW + 40 * HOUR)
        make_checkout(over, box)
        CustodyHead.objects.create(item=box, seen_at=NOW, evidence="seen")
        suspect_on(coming)
        make_pull_row(coming, type=make_type(), count=2)
        disagreement(box)


@pytest.mark.parametrize("key", ["not-home", "show-trouble", "scans-disagree"])
def test_one_and_fifty_cost_the_same_queries(key):
    many(1)
    one = queries_of(key)
    assert len(found(key)) == 1
    many(49)
    assert queries_of(key) == one <= 24
    assert len(found(key)) == 50


def test_nothing_is_told_in_an_empty_shop():
    for _name, rule in ALERT_RULES.items():
        if rule().key not in {"worker-silent", "no-backup"}:
            assert list(rule().find(NOW, rule().terms)) == [], rule().key


def test_every_rule_says_what_the_owner_reads_and_the_defaults_are_those_promised():
    rules = [rule() for rule in ALERT_RULES]
    at_once = {"swap-before-show", "not-home", "show-trouble", "give-back", "record-unwell"}
    assert {r.key for r in rules if not r.digest} == at_once
    assert [r.key for r in rules if r.urgent] == ["not-home", "record-unwell"] and all(r.on for r in rules)
    for rule in rules:
        assert rule.name and rule.why.endswith(".") and rule.done.endswith(".") and len(rule.key) <= 40
        assert (rule.lead_means is not None) or not rule.terms.lead
    assert Checkout.objects.count() == 0


def test_a_suspect_thing_packed_for_a_coming_show_is_told_though_no_list_names_it(company):
    show = make_show(load_in=NOW + timedelta(hours=6), name="Fair")
    lead = make_item(name="A", suspect_since=NOW)
    make_checkout(show, lead)
    lead.custody, lead.custody_show = "show", show.pk
    lead.save()
    (cause,) = found("show-trouble")
    assert "1 bad thing packed" in cause.title and f"out with it: {lead.label}. Swap it." in cause.says


def test_what_was_declared_missing_is_not_asked_for_as_if_nobody_had_said_so(company):
    show = make_show(load_in=NOW - timedelta(days=3), name="Fair")
    item = make_item(name="A")
    make_checkout(show, item)
    Item.objects.filter(pk=item.pk).update(custody="show", custody_show=show.pk, missing_since=NOW - timedelta(days=1))
    (cause,) = found("not-home")
    assert "Declared missing Thu 24 Sep" in cause.says and cause.says.endswith("Find it, or retire it.")
