"""The inbox and the rules as people see them: what is theirs, in which order, and what can be done about it."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from company.clock import now
from company.models import Absence
from company.registries import ALERT_RULES, STATUS
from maintenance.alert_inbox import inbox_of
from maintenance.alert_terms import rule_set, rules_now
from maintenance.calc.alert_spans import SpanError, span_read, span_words
from maintenance.models import Alert, RuleRun, RuleSetting
from tests.builders import make_person

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def make_alert(rule="swap-before-show", number=1, **kw):
    given = {"title": f"Swap {number} cells", "says": "Swap them now.", "url": "/cells/", "digest": False, "raised_at": now()}
    return Alert.objects.create(rule=rule, subject=f"show:{number}", occasion=f"show:{number}", **{**given, **kw})


def test_an_empty_inbox_says_so(as_technician):
    page = as_technician.get("/alerts/").content.decode()
    assert "Nothing to see to." in page


def test_what_is_urgent_and_soon_comes_first_and_is_the_one_pink_strip(as_technician):
    make_alert(number=1, by=now() + 9 * HOUR)
    make_alert(number=2, by=now() + 2 * HOUR)
    make_alert(number=3, by=now() + 30 * HOUR, urgent=True)
    page = as_technician.get("/alerts/").content.decode()
    assert page.count("strip next") == 1
    assert page.index("3 cells") < page.index("2 cells") < page.index("1 cells")


def test_handed_to_me_is_first_and_nobody_elses(as_technician, technician, as_owner, owner):
    make_alert(number=1, urgent=True)
    make_alert(number=2, handed_to=technician, handed_by=owner)
    box = inbox_of(technician, now())
    assert [a.title for a in box.handed] == ["Swap 2 cells"] and box.first.title == "Swap 2 cells"
    assert [group.name for group in inbox_of(owner, now()).now] == ["Swap 1 cells"]


def test_a_hand_sees_what_hands_are_told_and_no_other(as_hand, hand):
    hers, other = make_alert(number=1, role="hand"), make_alert(number=2)
    page = as_hand.get("/alerts/").content.decode()
    assert "Swap 1 cells" in page and "Swap 2 cells" not in page
    assert as_hand.get(f"/alerts/{hers.pk}/").status_code == 200
    assert as_hand.get(f"/alerts/{other.pk}/").status_code == 404
    assert as_hand.post(f"/alerts/{other.pk}/do/", {"what": "seen-to"}).status_code == 404


def test_named_people_see_it_and_their_role_does_not(technician, owner, hand):
    rule = rules_now()["swap-before-show"].rule
    rule_set(rule=rule, on=True, digest=False, urgent=False, role="technician", people=[hand])
    make_alert()
    assert inbox_of(hand, now()).now and not inbox_of(owner, now()).now


def test_many_of_one_rule_are_one_strip_with_their_number(as_technician):
    for number in range(7):
        make_alert("retest-soon", number, digest=True, title=f"Test lead {number}")
    make_alert("cells-low", 99, digest=True, title="Buy AA")
    page = as_technician.get("/alerts/").content.decode()
    assert 'href="/bench/"' in page  # where many are seen to at once
    assert "Test lead 0; Test lead 1; Test lead 2; and 4 more." in page and "Buy AA" in page
    assert page.count("Put off until tomorrow") == 1
    assert "Test lead 6" in as_technician.get("/alerts/?q=lead 6").content.decode()


def test_many_at_once_of_one_rule_are_one_strip_too(technician):
    for number in range(150):
        make_alert("not-home", number)
    (group,) = inbox_of(technician, now()).now
    assert group.count == 150


def test_what_came_while_closed_for_the_digest_stands_there_too(technician):
    Absence.objects.create(since=now() - 10 * HOUR, until=now() - HOUR)
    make_alert("cells-low", 1, digest=True, while_closed=True)
    box = inbox_of(technician, now())
    assert [group.name for group in box.came] == ["Swap 1 cells"] and not box.later


def test_what_came_while_the_program_was_closed_stands_by_itself(as_technician):
    at = now()
    Absence.objects.create(since=at - 10 * HOUR, until=at - HOUR)
    make_alert(number=1, while_closed=True)
    make_alert(number=2)
    page = as_technician.get("/alerts/").content.decode()
    assert page.index("came while the program was closed") < page.index("1 cells") < page.index("2 cells")


def test_seen_to_and_open_again(as_technician):
    alert = make_alert()
    answer = as_technician.post(f"/alerts/{alert.pk}/do/", {"what": "seen-to"}, follow=True)
    assert "closed of late" in answer.content.decode() and "Open it again" in answer.content.decode()
    as_technician.post(f"/alerts/{alert.pk}/do/", {"what": "open"})
    alert.refresh_from_db()
    assert alert.closed_at is None
    answer = as_technician.post(f"/alerts/{alert.pk}/do/", {"what": "open"}, follow=True)
    assert "It was not closed by hand." in answer.content.decode()


def test_put_off_and_taken_back(as_technician):
    alert = make_alert()
    page = as_technician.post(f"/alerts/{alert.pk}/do/", {"what": "tomorrow"}, follow=True).content.decode()
    assert "put off" in page and "Nothing to see to." in page
    as_technician.post(f"/alerts/{alert.pk}/do/", {"what": "wake"})
    alert.refresh_from_db()
    assert alert.snoozed_until is None
    until = (now() + 3 * HOUR).strftime("%Y-%m-%dT%H:%M")
    as_technician.post(f"/alerts/{alert.pk}/do/", {"what": "until", "until": until})
    alert.refresh_from_db()
    assert alert.snoozed_until > now()


@pytest.mark.parametrize("until", ["2001-01-01T10:00", "", "soon", "2400-01-01T00:00", "0001-01-01T00:00", "9999-12-31T23:59"])
def test_putting_off_until_no_time_gets_a_sentence(as_technician, until):
    alert = make_alert()
    answer = as_technician.post(f"/alerts/{alert.pk}/do/", {"what": "until", "until": until})
    assert answer.status_code == 422 and 'class="error"' in answer.content.decode()
    alert.refresh_from_db()
    assert alert.snoozed_until is None


def test_handed_over_and_back(as_technician, hand):
    alert = make_alert()
    as_technician.post(f"/alerts/{alert.pk}/do/", {"what": "hand", "to": str(hand.pk)})
    alert.refresh_from_db()
    assert alert.handed_to == hand
    as_technician.post(f"/alerts/{alert.pk}/do/", {"what": "hand-back"})
    alert.refresh_from_db()
    assert alert.handed_to is None
    for odd in ("", "x", "0", "9" * 40, "\u0663"):
        page = as_technician.post(f"/alerts/{alert.pk}/do/", {"what": "hand", "to": odd}, follow=True)
        assert "Choose whom to hand it to." in page.content.decode()


def test_an_unknown_deed_changes_nothing(as_technician):
    alert = make_alert()
    page = as_technician.post(f"/alerts/{alert.pk}/do/", {"what": "explode"}, follow=True).content.decode()
    assert "Nothing was changed." in page
    assert as_technician.get("/alerts/99999999999999999999/").status_code == 404


def test_every_page_says_how_many_there_are_and_marks_the_new_until_looked_at(as_technician):
    assert "data-new" not in as_technician.get("/gear/").content.decode()
    make_alert()
    page = as_technician.get("/gear/").content.decode()
    assert "data-new" in page and "Alerts <b>1</b>" in page
    as_technician.get("/alerts/")
    page = as_technician.get("/gear/").content.decode()
    assert "data-new" not in page and "Alerts <b>1</b>" in page


def test_the_rules_are_listed_with_how_they_ran(as_technician):
    RuleRun.objects.create(rule="not-home", began_at=now(), said="The database did not answer.")
    page = as_technician.get("/alerts/rules/").content.decode()
    assert all(make().name.replace("'", "&#x27;") in page for make in ALERT_RULES)
    assert "The database did not answer." in page


def test_an_owner_changes_a_rule_and_puts_it_back(as_owner, technician):
    form = {"on": "on", "how": "digest", "role": "owner", "people": [technician.pk], "lead": "3 days", "stages": "12 h, 90 min"}
    as_owner.post("/alerts/rules/swap-before-show/", form)
    now_ = rules_now()["swap-before-show"]
    assert now_.digest and now_.role == "owner" and now_.people == (technician,)
    assert now_.terms.lead == timedelta(days=3) and now_.terms.stages == (12 * HOUR, 1.5 * HOUR)
    page = as_owner.get("/alerts/rules/swap-before-show/").content.decode()
    assert 'value="3 days"' in page and 'value="12 h, 90 min"' in page
    as_owner.post("/alerts/rules/swap-before-show/", {"defaults": "1"})
    assert not RuleSetting.objects.exists()


@pytest.mark.parametrize(
    ("name", "value"), [("lead", "soon"), ("lead", "9999 weeks"), ("stages", "1 h," * 9), ("stages", "-1 h")]
)
def test_a_time_that_is_none_gets_a_sentence_and_keeps_what_was_typed(as_owner, name, value):
    form = {"on": "on", "how": "once", "role": "owner", "lead": "3 days", "stages": "", name: value}
    answer = as_owner.post("/alerts/rules/swap-before-show/", form)
    assert answer.status_code == 422 and 'class="error"' in answer.content.decode() and not RuleSetting.objects.exists()


def test_the_status_page_hears_of_rules_that_threw_or_are_late(company):
    def said():
        return [line for say in STATUS for line in say(now()) if line.url == "/alerts/rules/"]

    assert said()[0].says == "They have not run yet."
    RuleRun.objects.create(rule="not-home", began_at=now() - 3 * HOUR, said="")
    assert said()[0].well is False
    RuleRun.objects.update(began_at=now(), said="It threw.")
    assert [line.well for line in said()] == [False, False]
    RuleRun.objects.update(said="")
    assert said()[0].well is True


@pytest.mark.parametrize("many", [1, 50])
def test_the_inbox_costs_the_same_with_one_and_with_fifty(as_technician, technician, many):
    for number in range(many):
        make_alert(number=number)
        make_alert("retest-soon", 1000 + number, digest=True)
        make_alert(number=2000 + number, closed_at=now(), closed_how="hand")
        make_alert(number=3000 + number, snoozed_until=now() + HOUR, snoozed_by=technician)
        make_alert(number=4000 + number, handed_to=technician, handed_by=technician)
    as_technician.get("/alerts/")
    with CaptureQueriesContext(connection) as asked:
        as_technician.get("/alerts/")
    assert len(asked) <= 14, "\n".join(q["sql"][:150] for q in asked)


def test_a_rule_that_names_only_people_who_left_goes_back_to_its_role(owner, company):
    gone = make_person("technician", username="gone", is_active=False)
    rule_set(rule=rules_now()["swap-before-show"].rule, on=True, digest=False, urgent=False, role="owner", people=[gone])
    make_alert(role="owner")
    assert inbox_of(owner, now()).now


def test_lengths_of_time_are_read_and_said():
    for words, span in {"30 min": 0.5 * HOUR, "48h": 48 * HOUR, "7 days": 168 * HOUR, "1 week": 168 * HOUR}.items():
        assert span_read(words) == span
    assert [span_words(s) for s in (0.5 * HOUR, 30 * HOUR, 48 * HOUR, timedelta(days=7))] == [
        "30 min",
        "30 h",
        "2 days",
        "7 days",
    ]
    for odd in ("", "h", "1.5 h", "9 years", "-1 h", "١ h" * 20):
        with pytest.raises(SpanError):
            span_read(odd)
