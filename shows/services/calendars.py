"""The secret address of a person's calendar, and the same calendar as a mailed file."""

import hashlib
import logging
import secrets
from datetime import datetime, timedelta

from django.core.mail import EmailMessage
from django.db.models import Q

from company.models import Company, Person
from maintenance.models import Telling
from shows.calendars import calendar_of

log = logging.getLogger(__name__)

WEEK = timedelta(days=7)
OFTEN = timedelta(minutes=15)  # between two notes of when it was last read
MOST = 200


def hash_of(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()


def address_make(*, person: Person, at: datetime) -> str:
    """Make a new secret for a person's calendar and return it, this once; the one before no longer opens anything."""
    secret = secrets.token_urlsafe(32)
    Telling.objects.update_or_create(
        person=person, defaults={"calendar_digest": hash_of(secret), "calendar_made_at": at, "calendar_read_at": None}
    )
    return secret


def address_withdraw(*, person: Person) -> bool:
    """Withdraw the address; False where there was none."""
    there = Telling.objects.filter(person=person, calendar_digest__isnull=False)
    return bool(there.update(calendar_digest=None, calendar_made_at=None, calendar_read_at=None))


def person_of_secret(secret: str) -> Person | None:
    """Return whose calendar a secret opens, of somebody who still signs in. Looked up by its hash, which tells no timing."""
    found = Telling.objects.filter(calendar_digest=hash_of(secret), person__is_active=True).select_related("person").first()
    return found.person if found else None


def calendar_read(*, person: Person, at: datetime) -> None:
    """Note now and then that somebody's calendar program was here: they then see that it works."""
    stale = Q(calendar_read_at=None) | Q(calendar_read_at__lt=at - OFTEN)
    Telling.objects.filter(stale, person=person).update(calendar_read_at=at)


def calendar_changed(*, person: Person, tag: str, at: datetime) -> datetime:
    """Return since when a person's calendar is as this tag says, to the second; a new tag is noted as changed now."""
    at = at.replace(microsecond=0)
    known = Telling.objects.filter(person=person)
    row = known.values_list("calendar_tag", "calendar_changed_at").first()
    if row is not None and row[0] == tag and row[1] is not None:
        return row[1]
    known.exclude(calendar_tag=tag).update(calendar_tag=tag, calendar_changed_at=at)
    return at


def mail_set(*, person: Person, on: bool) -> None:
    Telling.objects.update_or_create(person=person, defaults={"calendar_mail_on": on})


def calendars_mail(*, at: datetime) -> int:
    """Mail the calendar to those who want it once a week; return how many went out. What failed is tried at the next turn.

    A row is claimed before the mail is sent, outside any transaction: two workers send one; a crash between loses one copy.
    """
    due = Q(calendar_mailed_at=None) | Q(calendar_mailed_at__lte=at - WEEK)
    wanted = Telling.objects.filter(due, calendar_mail_on=True, person__is_active=True).exclude(person__email="")
    sent = 0
    for telling in list(wanted.select_related("person").order_by("pk")[:MOST]):
        mine = Telling.objects.filter(pk=telling.pk, calendar_mailed_at=telling.calendar_mailed_at)
        if not mine.update(calendar_mailed_at=at):
            continue
        try:
            _mail(telling.person, at)
            sent += 1
        except Exception as error:  # whatever is wrong with one must not stop the others
            log.warning("The calendar of person %s could not be mailed: %s", telling.pk, " ".join(str(error).split())[:200])
            Telling.objects.filter(pk=telling.pk, calendar_mailed_at=at).update(calendar_mailed_at=telling.calendar_mailed_at)
    return sent


def _mail(person: Person, at: datetime) -> None:
    company = Company.current()
    text = (
        f"Your calendar from {company.name}: shows, home-by times and what is to be done. "
        "Open the file with your calendar program.\n"
    )
    mail = EmailMessage(subject=" ".join(f"Your calendar from {company.name}".split()), body=text, to=[person.email])
    mail.attach("calendar.ics", calendar_of(person, at).decode(), "text/calendar")
    mail.send()
