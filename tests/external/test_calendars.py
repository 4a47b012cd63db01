"""Our calendar read by others: vobject, an independent reader, and the icalendar package's strict one. Sections of RFC 5545."""

from datetime import UTC, datetime, timedelta

import pytest
import vobject
from icalendar import Calendar

from company.clock import now
from company.models import Company
from shows.calendars import calendar_of
from tests.builders import make_company, make_lead, make_person, make_show

pytestmark = pytest.mark.django_db


@pytest.fixture
def technician():
    make_company()
    return make_person("technician", username="technician")


def both(body: bytes):
    """Return start and end of each event by its UID, as each reader has it."""
    strict = Calendar.from_ical(body)
    assert not [error for part in strict.walk() for error in part.errors]
    other = vobject.readOne(body.decode(), allowQP=False)
    other.validate(raiseException=True)
    ours = {str(e["uid"]): (e.start, e.end) for e in strict.walk("VEVENT")}
    theirs = {e.uid.value: (e.dtstart.value, e.dtend.value) for e in other.vevent_list}
    return ours, theirs


@pytest.mark.parametrize("zone", ["Europe/London", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kolkata", "UTC"])
@pytest.mark.parametrize(
    "load_in",
    [
        datetime(2026, 10, 24, 21, 0, tzinfo=UTC),  # over the end of summer time in Europe
        datetime(2027, 3, 27, 21, 0, tzinfo=UTC),  # and over its beginning
        datetime(2026, 11, 1, 2, 0, tzinfo=UTC),  # the same in North America
        datetime(2026, 7, 3, 15, 30, tzinfo=UTC),
    ],
)
def test_two_readers_agree_with_the_record_on_every_instant(technician, zone, load_in):
    """RFC 5545, 3.2.19 and 3.6.5: a TZID stands beside its VTIMEZONE, and both tell one instant."""
    Company.objects.update(time_zone=zone)
    show = make_show(load_in=load_in, hours=16)
    ours, theirs = both(calendar_of(technician, load_in - timedelta(days=2)))
    key = next(uid for uid in ours if uid.startswith(f"show-{show.pk}@"))
    for start, end in (ours[key], theirs[key]):
        assert (start.astimezone(UTC), end.astimezone(UTC)) == (show.load_in, show.strike)


def test_whole_days_end_on_the_day_after(technician):
    """RFC 5545, 3.6.1: DTEND of a DATE is not part of the event."""
    make_lead(test_by=now().date() + timedelta(days=4))
    ours, theirs = both(calendar_of(technician, now()))
    assert ours == theirs
    ((start, end),) = ours.values()
    assert end - start == timedelta(days=1)


def test_lines_are_folded_at_75_octets_and_end_as_they_must(technician):
    """RFC 5545, 3.1: CRLF, at most 75 octets without it, never inside a UTF-8 sequence."""
    make_show(load_in=now() + timedelta(days=1), name="é" * 60, notes="Ω" * 900)
    body = calendar_of(technician, now())
    lines = body.split(b"\r\n")
    assert body.endswith(b"\r\n") and all(len(line) <= 75 for line in lines) and b"\n" not in b"".join(lines)
    for line in lines:
        line.decode()
