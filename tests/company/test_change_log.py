"""The change log: who edited what, told in words, and what stays out of it."""

from datetime import timedelta

import pytest
from auditlog.context import set_actor
from auditlog.models import LogEntry
from auditlog.registry import auditlog
from django.contrib.auth import login
from django.test import RequestFactory
from django.utils import timezone

from company.calc.field_words import field_words
from company.changelog import PAGE
from inventory.models import GearType, Item
from maintenance.models import BenchSettings, RetestRule
from shows.models import Venue
from tests.builders import audited, make_item, make_person, make_type, make_venue
from tests.company.test_settings import GOOD

PASSWORD_WORDS = ("pbkdf2", "md5$", "saltmarsh")


def log_of(client, query="") -> str:
    return client.get(f"/change-log/{query}").content.decode().split("<main")[1]


def test_settings_change_is_told_old_to_new_with_who(as_owner, owner):
    as_owner.post("/settings/", {**GOOD, "name": "Saltmarsh Sound", "units": "imperial", "phantom_first": ""})
    page = log_of(as_owner)
    assert "<s>Test Sound</s>" in page and "<b>Saltmarsh Sound</b>" in page
    assert "<s>metres</s>" in page and "<b>feet</b>" in page, "choices by their words"
    assert "<s>yes</s>" in page and "<b>no</b>" in page
    assert LogEntry.objects.first().actor == owner


def test_password_never_reaches_the_log(as_owner, hand):
    as_owner.post(f"/people/{hand.pk}/password/")
    as_owner.post("/people/add/", {"username": "ines", "role": "hand"})
    hand.set_password("saltmarsh-2")
    hand.save()
    stored = " ".join(f"{e.changes} {e.serialized_data} {e.object_repr}" for e in LogEntry.objects.all())
    assert "ines" in stored and "password" not in stored
    assert not any(word in stored for word in PASSWORD_WORDS)


def test_coming_in_is_not_an_edit(hand):
    before = LogEntry.objects.count()
    request = RequestFactory().get("/")
    from django.contrib.sessions.backends.db import SessionStore

    request.session = SessionStore()
    login(request, hand, backend="django.contrib.auth.backends.ModelBackend")
    assert LogEntry.objects.count() == before


def test_gear_edit_is_logged_with_units_and_money(as_owner, owner):
    item = make_item(type=make_type(name="Microphone lead"), length_mm=10_000)
    with set_actor(owner):
        item.price_cents, item.length_mm = 4550, 5_000
        item.save(update_fields=["price_cents", "length_mm"])
    page = log_of(as_owner)
    assert "<b>45.50 GBP</b>" in page and "10\u2009m" in page and "5\u2009m" in page


def test_a_changed_figure_is_told_by_its_name_with_its_unit(as_owner, owner):
    settings = BenchSettings.current()
    rule = RetestRule(type=make_type(name="Microphone lead"), least_shows=0, target=0.0125, line_check_cents=1000)
    with set_actor(owner):
        settings.core_factor, settings.leak_ohm = 1.25, 5_000_000.0
        settings.save()
        rule.save()
    page = log_of(as_owner)
    assert "copper may read, times its figure:" in page and "<b>1.25 times</b>" in page and "<b>5\u2009MΩ</b>" in page
    assert "Changed</b> bench settings <" in page.replace("</p>", "<"), "what there is one of is named once"
    assert "one may be bad with a chance of at most:</span> 1.25\u202f%" in page and "not before:</span> 0 shows" in page
    assert "one found bad at line check costs:</span> 10.00 GBP" in page


def test_every_tracked_column_with_a_unit_is_named_without_it():
    for model in auditlog.get_models():
        for field in model._meta.fields:
            called, unit = field_words(field.name)
            assert called and "_" not in called, f"{model.__name__}.{field.name}"
            if unit:
                assert not called.endswith((" ohm", " mm", " cents", " db", " ma", " mv per pa", " share")), field.name


def test_custody_and_other_derived_columns_make_no_entry(owner):
    item = make_item()
    before = LogEntry.objects.count()
    now = timezone.now()
    item.custody, item.custody_show, item.custody_since, item.missing_since, item.suspect_since = "show", 7, now, now, now
    item.save(update_fields=["custody", "custody_show", "custody_since", "missing_since", "suspect_since"])
    Item.objects.filter(pk=item.pk).update(custody="", custody_show=None, notes="by a bulk write")
    assert LogEntry.objects.count() == before


def test_an_item_s_edit_costs_two_queries_more_and_a_bulk_write_none(owner, django_assert_num_queries):
    item = Item.objects.select_related("type").get(pk=make_item().pk)
    LogEntry.objects.first()  # content types are read once a process
    item.notes = "dented"
    with django_assert_num_queries(3):  # the old row, the entry, and the write itself
        item.save(update_fields=["notes"])
    with django_assert_num_queries(1):
        Item.objects.filter(pk=item.pk).update(notes="again")


def test_removed_thing_is_told(as_owner, owner):
    venue = make_venue(name="Tithe barn")
    with set_actor(owner):
        venue.delete()
    assert "Removed</b> venue Tithe barn" in log_of(as_owner)


def test_filters_by_person_kind_and_day(as_owner, owner, technician):
    with set_actor(owner):
        audited(make_venue)(name="Tithe barn")
    with set_actor(technician):
        audited(make_type)(name="Tall stand")
    from django.contrib.contenttypes.models import ContentType

    kind = ContentType.objects.get_for_model(GearType).pk
    assert "Tall stand" in log_of(as_owner, f"?person={technician.pk}")
    assert "Tithe barn" not in log_of(as_owner, f"?person={technician.pk}")
    assert "Tithe barn" not in log_of(as_owner, f"?kind={kind}").split("</form>")[1]
    old = timezone.now() - timedelta(days=3)
    LogEntry.objects.filter(object_repr="Tithe barn").update(timestamp=old)
    on_that_day = log_of(as_owner, f"?day={timezone.localtime(old).date()}").split("</form>")[1]
    assert "Tithe barn" in on_that_day and "Tall stand" not in on_that_day


def test_day_is_the_company_s_own(as_owner, owner, company):
    company.time_zone = "Pacific/Auckland"
    company.save(update_fields=["time_zone"])
    with set_actor(owner):
        audited(make_venue)(name="Tithe barn")
    # 11:30 UTC on the 25th is half past midnight on the 26th in Auckland
    LogEntry.objects.update(timestamp="2026-11-25T11:30:00Z")
    assert "Tithe barn" in log_of(as_owner, "?day=2026-11-26")
    assert "Tithe barn" not in log_of(as_owner, "?day=2026-11-25")


@pytest.mark.parametrize("query", ["?day=x", "?day=2026-13-99", "?day=0001-01-01", "?day=9999-12-31", "?person=x", "?kind=-1"])
def test_odd_filters_are_answered(as_owner, query):
    assert as_owner.get(f"/change-log/{query}").status_code == 200
    assert as_owner.get("/change-log/?before=99999999999999999999999&person=\x00&kind=9" * 2).status_code == 200


@pytest.mark.parametrize("number", [1, 50])
def test_log_costs_the_same_for_one_and_for_fifty_and_counts_nothing(as_owner, owner, django_assert_num_queries, number):
    with set_actor(owner):
        for i in range(number):
            Venue.objects.create(name=f"Hall {i}")
    as_owner.get("/change-log/")
    with django_assert_num_queries(6) as seen:  # company, session, person, rows, people of the filter, alerts
        page = log_of(as_owner)
    assert page.count('class="log-what"') >= number
    assert not any("COUNT(" in q["sql"].upper() for q in seen.captured_queries)


def test_older_pages_lead_to_the_end_without_a_gap(as_owner, owner):
    for i in range(PAGE + 5):
        Venue.objects.create(name=f"Hall {i:03}")
    first = log_of(as_owner)
    assert "Hall 054" in first and "Hall 004" not in first
    older = first.split('href="?before=')[1].split('"')[0]
    second = log_of(as_owner, f"?before={older}")
    assert "Hall 004" in second and "Hall 005" not in second and "That is all." in second


def test_entry_leads_to_what_was_changed(as_owner):
    person = audited(make_person)("hand", username="ines")
    assert f'href="/people/{person.pk}/"' in log_of(as_owner)


def test_odd_headers_do_not_break_an_edit(as_owner):
    answer = as_owner.post(
        "/settings/", GOOD, HTTP_X_FORWARDED_FOR="nonsense\x00", HTTP_X_CORRELATION_ID="x" * 4000, HTTP_X_FORWARDED_PORT="-"
    )
    assert answer.status_code == 302
    entry = LogEntry.objects.first()
    assert entry.remote_addr is None and not entry.cid


def test_a_person_added_is_told_without_the_program_s_own(as_owner):
    as_owner.post("/people/add/", {"username": "ines", "role": "hand"})
    page = log_of(as_owner)
    assert "ines" in page and "None" not in page and "company." not in page
    audited(make_venue)(name="Wenbury Hall", stage_width_mm=6500)
    page = log_of(as_owner)
    assert "6.5\u2009m" in page and "stage width:" in page
