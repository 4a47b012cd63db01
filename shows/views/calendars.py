"""The calendar as a feed, as a file, and the page about it."""

import hashlib

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.cache import get_conditional_response
from django.utils.http import http_date
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from company.access import signed_in
from company.clock import now
from maintenance.models import Telling
from shows.calendars import calendar_of
from shows.services.calendars import address_make, address_withdraw, calendar_changed, calendar_read, mail_set, person_of_secret

KIND = "text/calendar; charset=utf-8"


@require_safe
def feed(request: HttpRequest, secret: str) -> HttpResponse:
    """Answer a calendar program that knows a person's secret address; every other address is nothing at all."""
    person, at = person_of_secret(secret), now()
    if person is None:
        raise Http404
    calendar_read(person=person, at=at)
    body = calendar_of(person, at)
    tag = hashlib.sha256(body).hexdigest()[:32]
    changed = calendar_changed(person=person, tag=tag, at=at)
    answer = HttpResponse(body, content_type=KIND)
    answer["Content-Disposition"] = 'inline; filename="calendar.ics"'
    answer["ETag"], answer["Last-Modified"] = f'"{tag}"', http_date(changed.timestamp())
    answer["Cache-Control"], answer["Referrer-Policy"] = "private, max-age=60", "no-referrer"
    same = get_conditional_response(request, etag=f'"{tag}"', last_modified=int(changed.timestamp()), response=answer)
    return same or answer


@require_safe
@never_cache
def page(request: HttpRequest) -> HttpResponse:
    return _draw(request)


@require_POST
def make(request: HttpRequest) -> HttpResponse:
    """Make a new secret address and show it on this answer alone."""
    secret = address_make(person=signed_in(request), at=now())
    path = reverse("calendar-feed", args=[secret])
    base = settings.SITE_ADDRESS or request.company.site_address.rstrip("/")  # type: ignore[attr-defined]
    answer = _draw(request, shown_once=f"{base}{path}" if base else request.build_absolute_uri(path))
    answer["Cache-Control"] = "no-store"
    return answer


@require_POST
def withdraw(request: HttpRequest) -> HttpResponse:
    if address_withdraw(person=signed_in(request)):
        messages.success(request, "The address is withdrawn. Whatever read it gets nothing from now on.")
    else:
        messages.warning(request, "There was no address.")
    return redirect("calendar")


@require_POST
def mail(request: HttpRequest) -> HttpResponse:
    """Switch the weekly mail on or off."""
    person, on = signed_in(request), request.POST.get("on") == "yes"
    if on and not person.email:
        messages.error(request, "You have no e-mail address on record. Enter one on your own page first.")
        return redirect("calendar")
    mail_set(person=person, on=on)
    said = f"It goes to {person.email} once a week." if on else "It is no longer mailed."
    messages.success(request, said)
    return redirect("calendar")


@require_safe
def file(request: HttpRequest) -> HttpResponse:
    """Give the calendar as a file."""
    answer = HttpResponse(calendar_of(signed_in(request), now()), content_type=KIND)
    answer["Content-Disposition"] = 'attachment; filename="calendar.ics"'
    return answer


def _draw(request: HttpRequest, shown_once: str = "") -> HttpResponse:
    telling = Telling.objects.filter(person=signed_in(request).pk).first()
    return render(request, "shows/calendar.html", {"telling": telling, "shown_once": shown_once})
