"""What every request passes: sign-in by default, the company's time zone, and a plain answer when the database is busy."""

import re
from collections.abc import Callable
from urllib.parse import urlencode

from django.conf import settings
from django.db import OperationalError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseForbidden, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from company.models import Company
from company.net import client_address, is_loopback

Next = Callable[[HttpRequest], HttpResponse]

# Addresses that answer without a sign-in. The API judges for itself (session or token) and answers 401 in its own shape.
OPEN_PATHS = ("/sign-in/", "/static/", "/api/", "/calendar/", "/pass/", "/phone/", "/dock-worker.js", "/no-signal/")

# Asked by machines, also while the database is away: they are told before anything is asked of it, and judge for themselves.
WATCHED_PATHS = ("/health/", "/ready/", "/metrics/")

ITEM_PAGE = re.compile(r"/[aA]/[^/]*/?")

# How SQLite (the first) and PostgreSQL say that somebody else holds what is wanted.
BUSY_WORDS = ("locked", "lock timeout", "deadlock detected")


class SignInRequired:
    """Send strangers to the sign-in page, and draw every page in the company's time zone."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path.startswith("/static/") or request.path in WATCHED_PATHS:
            return self.get_response(request)
        request.company = Company.current()  # type: ignore[attr-defined]
        timezone.activate(request.company.zone)  # type: ignore[attr-defined]
        # the demo's passwords are known to everybody: whatever it was told to listen on, it answers this machine alone
        if request.company.is_demo and not _from_here(request):  # type: ignore[attr-defined]
            return HttpResponseForbidden("This is a demo: it answers on its own machine alone.", content_type="text/plain")
        if request.path.startswith(OPEN_PATHS):
            return self.get_response(request)
        if not request.user.is_authenticated:
            return redirect(f"{reverse(settings.LOGIN_URL)}?{urlencode({'next': request.get_full_path()})}")
        if request.user.must_change_password and request.path not in {reverse("password"), reverse("sign-out")}:
            return redirect("password")
        if self._is_first_day(request):
            return redirect("welcome")
        return self.get_response(request)

    @staticmethod
    def _is_first_day(request: HttpRequest) -> bool:
        """Ask an owner the first questions before anything else; what they were sending is never thrown away for it."""
        first_day = request.company.set_up_at is None and request.user.is_owner  # type: ignore[attr-defined,union-attr]
        return first_day and request.method == "GET" and request.path not in {reverse("welcome"), reverse("password")}


class NoNul:
    """Let no NUL through an address: PostgreSQL cannot hold one in text, and no label, name or number ever has one.

    In a path it names nothing; in a question it is left out. Forms and the API judge what is posted themselves.
    """

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        # an item's own page reads any code, and says what is wrong with it
        if "\x00" in request.path and not ITEM_PAGE.fullmatch(request.path):
            if request.path.startswith("/api/"):
                return JsonResponse({"field": "", "detail": "An address with a NUL in it names nothing."}, status=404)
            raise Http404
        # the API says itself what is wrong with a question
        if not request.path.startswith("/api/") and _has_nul(request):
            asked = request.GET.copy()
            for name, values in request.GET.lists():
                asked.setlist(name, [str(value).replace("\x00", "") for value in values])
            request.GET = asked  # type: ignore[assignment]
        return self.get_response(request)


def _has_nul(request: HttpRequest) -> bool:
    return any("\x00" in str(value) for _name, values in request.GET.lists() for value in values)


def _from_here(request: HttpRequest) -> bool:
    address = client_address(request)
    return address is None or is_loopback(address)


class BusyDatabase:
    """Answer 503 with Retry-After when the database stays locked for longer than the busy timeout."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, OperationalError) or not any(word in str(exception).lower() for word in BUSY_WORDS):
            return None
        if request.path.startswith("/api/"):
            response: HttpResponse = JsonResponse({"field": "", "detail": "The database is busy. Send it again."}, status=503)
        else:
            response = render(request, "503.html", status=503)
        response["Retry-After"] = "5"
        return response
