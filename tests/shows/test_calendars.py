"""A person's calendar: what stands in it, for whom, behind which address, and as a mailed file."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.core import mail
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from icalendar import Calendar

from company.clock import now, today
from company.models import Company
from inventory.calc.kinds import Kind
from maintenance.alert_terms import rule_set, rules_now
from maintenance.models import Telling
from shows.calc.words import ShowState
from shows.calendars import calendar_of, text_of
from shows.services.calendars import address_make, address_withdraw, calendars_mail, mail_set
from tests.builders import make_box, make_item, make_lead, make_pull_row, make_show, make_venue

pytestmark = pytest.mark.django_db


def events(person, at=None):
    calendar = Calendar.from_ical(calendar_of(person, at or now()))
    return {str(event["uid"]).split("@")[0]: event for event in calendar.walk("VEVENT")}


@pytest.fixture
def show(company):
    return make_show(load_in=now() + timedelta(days=2), name="Harvest ceilidh", venue=make_venue(name="Barn", town="Wenbury"))


def test_a_show_stands_from_load_in_to_strike_with_its_venue_and_home_by(technician, show):
    found = events(technician)
    event = found[f"show-{show.pk}"]
    assert (event.start, event.end) == (show.load_in.replace(microsecond=0), show.strike.replace(microsecond=0))
    assert str(event["location"]) == "Barn, Wenbury" and str(event["status"]) == "CONFIRMED"
    assert "Load-in" in str(event["description"])
    assert found[f"home-{show.pk}"].end == show.home_by.replace(microsecond=0)


def test_a_hand_gets_shows_and_no_tasks(technician, hand, show):
    make_lead(test_by=today(now()))
    make_item(borrowed_from="the chapel", give_back_by=today(now()) + timedelta(days=3))
    assert set(events(hand)) == {f"show-{show.pk}", f"home-{show.pk}"}
    assert len(events(technician)) == 4


def test_bench_days_are_one_a_day_and_what_is_late_stands_on_today(technician):
    day = today(now())
    for n in range(15):
        make_lead(test_by=day + timedelta(days=9), name=f"L{n}")
    make_lead(test_by=day - timedelta(days=30))
    make_lead(test_by=day + timedelta(days=9), suspect_since=now())
    found = events(technician)
    assert str(found[f"bench-{day + timedelta(days=9):%Y%m%d}"]["summary"]) == "Test 15 things"
    assert "and 3 more" in str(found[f"bench-{day + timedelta(days=9):%Y%m%d}"]["description"])
    late = found[f"bench-{day:%Y%m%d}"]
    assert "1 of them past their day." in str(late["description"]) and late.start == day


def test_swaps_stand_the_day_before_load_in(technician, show):
    make_pull_row(show, item=make_box(name="A"), line="5", feed="cells", critical="critical")
    event = events(technician)[f"swap-{show.pk}"]
    assert event.start == (show.load_in - timedelta(hours=24)).replace(microsecond=0)
    assert "Harvest ceilidh" in str(event["summary"])


def test_swaps_stand_so_long_before_as_the_owner_chose(technician, show):
    make_pull_row(show, item=make_box(name="A"), line="5", feed="cells", critical="critical")
    rule = rules_now()["swap-before-show"].rule
    rule_set(rule=rule, on=True, digest=False, urgent=False, role="technician", lead=timedelta(hours=6))
    assert events(technician)[f"swap-{show.pk}"].start == (show.load_in - timedelta(hours=6)).replace(microsecond=0)


def test_what_goes_back_is_one_a_lender_whatever_they_are_called(technician):
    by = today(now()) + timedelta(days=3)
    make_item(borrowed_from='the; chapel,\n"x" é', give_back_by=by)
    make_item(borrowed_from='the; chapel,\n"x" é', give_back_by=by)
    make_item(borrowed_from="the band", give_back_by=by)
    found = {key: event for key, event in events(technician).items() if key.startswith("give-back")}
    assert sorted(str(event["summary"])[:18] for event in found.values()) == ["Give back 1 thing ", "Give back 2 things"]
    assert all(key.isascii() and " " not in key for key in found)


def test_a_cancelled_show_is_said_to_be_cancelled(technician, show):
    show.state = ShowState.CANCELLED
    show.save(update_fields=["state"])
    assert str(events(technician)[f"show-{show.pk}"]["status"]) == "CANCELLED"


def test_an_edit_counts_the_sequence_up(as_technician, technician, show):
    show.name = "Harvest dance"
    show.save(update_fields=["name"])
    before = int(events(technician)[f"show-{show.pk}"]["sequence"])
    show.name = "Harvest supper"
    show.save(update_fields=["name"])
    assert int(events(technician)[f"show-{show.pk}"]["sequence"]) == before + 1


@pytest.mark.parametrize(
    ("load_in", "offsets"),
    [(datetime(2026, 10, 24, 20, 0, tzinfo=UTC), (1, 0)), (datetime(2027, 3, 27, 20, 0, tzinfo=UTC), (0, 1))],
)
def test_on_both_nights_the_clocks_change_the_instants_stay_true(technician, load_in, offsets):
    show = make_show(load_in=load_in, hours=16)
    event = events(technician, load_in - timedelta(days=3))[f"show-{show.pk}"]
    assert (event.start, event.end) == (show.load_in, show.strike)
    assert (event.start.utcoffset(), event.end.utcoffset()) == tuple(timedelta(hours=h) for h in offsets)


def test_the_zone_is_the_companys_and_its_rules_stand_in_the_file(technician, show):
    Company.objects.update(time_zone="America/St_Johns")
    body = calendar_of(technician, now()).decode()
    assert "BEGIN:VTIMEZONE" in body and "TZID:America/St_Johns" in body
    assert events(technician)[f"show-{show.pk}"].start.tzinfo == ZoneInfo("America/St_Johns")


def test_odd_words_go_out_clean_and_whole(technician):
    words = "Café, \\ ; \x07 bell\r\nBEGIN:VALARM\r\n🎺" + "x" * 200
    make_show(load_in=now() + timedelta(days=1), name=words[:60], notes=words * 20)
    body = calendar_of(technician, now())
    assert all(len(line) <= 75 for line in body.split(b"\r\n"))
    assert len(Calendar.from_ical(body).walk("VEVENT")) == 2 and not Calendar.from_ical(body).walk("VALARM")
    assert text_of("a\x00b\ud800") == "a b?"


def test_the_same_calendar_twice_is_the_same_but_for_its_stamp(technician, show):
    at = now()
    assert calendar_of(technician, at) == calendar_of(technician, at)


def test_a_secret_opens_it_without_a_sign_in_until_it_is_withdrawn(technician, hand, show):
    secret, path = address_make(person=technician, at=now()), "/calendar/{}.ics"
    answer = Client().get(path.format(secret))
    assert answer.status_code == 200 and answer["Content-Type"].startswith("text/calendar") and b"Harvest" in answer.content
    assert answer["Cache-Control"] == "private, max-age=60" and secret not in str(list(Telling.objects.values()))
    assert Telling.objects.get().calendar_read_at is not None
    new = address_make(person=technician, at=now())
    assert Client().get(path.format(secret)).status_code == 404
    technician.is_active = False
    technician.save(update_fields=["is_active"])
    assert Client().get(path.format(new)).status_code == 404
    technician.is_active = True
    technician.save(update_fields=["is_active"])
    assert Client().get(path.format(new)).status_code == 200
    assert address_withdraw(person=technician) and not address_withdraw(person=technician)
    assert Client().get(path.format(new)).status_code == 404
    for odd in ("x", "a" * 5000, "%00", "é"):
        assert Client().get(path.format(odd)).status_code == 404


def test_what_did_not_change_is_not_sent_again_and_says_since_when(technician, show, monkeypatch):
    noon = datetime(2026, 11, 28, 12, 0, tzinfo=UTC)
    clock = [noon]
    monkeypatch.setattr("django.utils.timezone.now", lambda: clock[0])
    make_lead(test_by=today(noon) + timedelta(days=2))
    path = f"/calendar/{address_make(person=technician, at=noon)}.ics"
    first = Client().get(path)
    assert first["Last-Modified"] == "Sat, 28 Nov 2026 12:00:00 GMT"
    asked = {"tag": {"If-None-Match": first["ETag"]}, "date": {"If-Modified-Since": first["Last-Modified"]}}
    for minutes in (0, 1, 60, 9 * 60):  # the ninth hour after noon is still that day
        clock[0] = noon + timedelta(minutes=minutes)
        for name, headers in asked.items():
            again = Client().get(path, headers=headers)
            assert (again.status_code, again.content) == (304, b""), (minutes, name)
            assert (again["ETag"], again["Last-Modified"]) == (first["ETag"], first["Last-Modified"])
        assert Client().get(path).content == first.content
    show.name = "Harvest supper"
    show.save(update_fields=["name"])
    for headers in asked.values():
        changed = Client().get(path, headers=headers)
        assert changed.status_code == 200 and b"Harvest supper" in changed.content
        assert changed["ETag"] != first["ETag"] and changed["Last-Modified"] == "Sat, 28 Nov 2026 21:00:00 GMT"


def test_long_notes_are_cut_aloud(technician, show):
    show.notes = "n" * 9_000
    show.save(update_fields=["notes"])
    said = str(events(technician)[f"show-{show.pk}"]["description"])
    assert said.endswith("n … (cut here; the whole of it stands on its page)") and len(said) == 4_000


def test_a_hand_reads_the_notes_there_that_they_read_on_the_show_s_page(as_hand, hand, show):
    show.notes = "Back door, mind the step."
    show.save(update_fields=["notes"])
    assert show.notes in as_hand.get(show.get_absolute_url()).content.decode()
    assert show.notes in str(events(hand)[f"show-{show.pk}"]["description"])


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "America/Los_Angeles", "Asia/Kolkata"])
def test_in_another_zone_the_instants_are_the_same_and_a_day_is_the_shop_s(technician, show, zone):
    Telling.objects.create(person=technician, time_zone=zone)
    day = today(now()) + timedelta(days=3)
    make_lead(test_by=day)
    found = events(technician)
    event, task = found[f"show-{show.pk}"], found[f"bench-{day:%Y%m%d}"]
    assert event.start.astimezone(ZoneInfo(zone)) == show.load_in.replace(microsecond=0)
    assert (task.start, task.end) == (day, day + timedelta(days=1)) and "VALUE=DATE" in task.to_ical().decode()
    assert "(the shop's time, Europe/London)." in str(event["description"])


def test_what_the_bench_does_not_test_makes_no_bench_day(technician):
    day = today(now()) + timedelta(days=3)
    make_item(kind="stand", test_by=day)
    make_lead(test_by=day, lent_to="a school", lent_on=day - timedelta(days=9))
    assert not [key for key in events(technician) if key.startswith("bench")]


def test_the_page_shows_the_address_once(as_technician, technician):
    assert "You have no address." in as_technician.get("/me/calendar/").content.decode()
    page = as_technician.post("/me/calendar/make/")
    assert "/calendar/" in page.content.decode() and page["Cache-Control"] == "no-store"
    again = as_technician.get("/me/calendar/").content.decode()
    assert ".ics" not in again and "Not read yet:" in again
    as_technician.post("/me/calendar/withdraw/")
    assert "You have no address." in as_technician.get("/me/calendar/").content.decode()
    assert as_technician.get("/me/calendar/file/")["Content-Disposition"] == 'attachment; filename="calendar.ics"'


def test_it_is_mailed_once_a_week_to_those_who_want_it(as_technician, technician, show):
    page = as_technician.post("/me/calendar/mail/", {"on": "yes"}, follow=True).content.decode()
    assert "You have no e-mail address on record." in page
    technician.email = "t@example.org"
    technician.save(update_fields=["email"])
    as_technician.post("/me/calendar/mail/", {"on": "yes"})
    at = now()
    assert (calendars_mail(at=at), calendars_mail(at=at + timedelta(days=6)), calendars_mail(at=at + timedelta(days=7))) == (
        1,
        0,
        1,
    )
    name, body, kind = mail.outbox[0].attachments[0]
    assert (name, kind) == ("calendar.ics", "text/calendar") and "Harvest ceilidh" in body
    as_technician.post("/me/calendar/mail/", {"on": "no"})
    assert calendars_mail(at=at + timedelta(days=30)) == 0


def test_a_mail_that_fails_is_tried_at_the_next_turn(technician, monkeypatch):
    technician.email = "t@example.org"
    technician.save(update_fields=["email"])
    mail_set(person=technician, on=True)

    def refuse(self):
        raise ConnectionRefusedError("no post today")

    with monkeypatch.context() as broken:
        broken.setattr("django.core.mail.EmailMessage.send", refuse)
        assert calendars_mail(at=now()) == 0
    assert calendars_mail(at=now()) == 1


@pytest.mark.parametrize("many", [1, 50])
def test_it_costs_the_same_with_one_and_with_fifty(technician, many):
    for n in range(many):
        show = make_show(load_in=now() + timedelta(days=30 + n), venue=make_venue(name=f"V{n}"))
        make_pull_row(show, type=make_lead(test_by=today(now()) + timedelta(days=n)).type)
        make_item(kind=Kind.STAND, borrowed_from=f"L{n}", give_back_by=today(now()) + timedelta(days=n))
    calendar_of(technician, now())
    with CaptureQueriesContext(connection) as asked:
        calendar_of(technician, now())
    assert len(asked) == 12, "\n".join(q["sql"][:120] for q in asked)
