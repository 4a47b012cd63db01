"""Coming in, going out, and changing a password."""

from datetime import timedelta

from axes.helpers import get_cool_off
from axes.models import AccessAttempt
from django.contrib import messages
from django.contrib.auth import login, logout, update_session_auth_hash
from django.contrib.auth.forms import AuthenticationForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from company.access import signed_in
from company.clock import now
from company.forms import PasswordForm
from company.services.people import password_change


def safe_next(request: HttpRequest) -> str:
    """Return where to go afterwards, if it lies on this site; else the start page."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    ours = url_has_allowed_host_and_scheme(wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure())
    # redirect() takes what is no path for the name of a view
    return wanted if ours and wanted.startswith("/") else "/"


@sensitive_post_parameters("password")
@never_cache
@require_http_methods(["GET", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    if request.user.is_authenticated:
        return redirect(safe_next(request))
    # a NUL in a name is no name; PostgreSQL would refuse to look for it
    given = request.POST.copy() if request.method == "POST" else None
    if given is not None:
        given["username"] = given.get("username", "").replace("\x00", "")[:150]
    form = AuthenticationForm(request, data=given)
    form.error_messages["invalid_login"] = "That name and password do not go together. Capitals count."
    form.error_messages["inactive"] = "This person has been switched off. Ask an owner."
    if given is not None and form.is_valid():
        login(request, form.get_user())
        return redirect(safe_next(request))
    return render(request, "company/sign_in.html", {"form": form, "next": safe_next(request)})


def locked(request: HttpRequest, response: HttpResponse | None = None, credentials: dict | None = None) -> HttpResponse:
    """Say that this person is locked at this address, and until when. Axes calls it after too many wrong passwords."""
    username = (credentials or {}).get("username") or ""
    last = (
        AccessAttempt.objects.filter(username=username, ip_address=getattr(request, "axes_ip_address", None))
        .order_by("-attempt_time")
        .values_list("attempt_time", flat=True)
        .first()
    )
    until = (last or now()) + (get_cool_off(request) or timedelta())
    seconds = max(1, int((until - now()).total_seconds()))
    page = render(
        request, "company/locked.html", {"username": username, "until": until, "minutes": -(-seconds // 60)}, status=429
    )
    page["Retry-After"] = str(seconds)
    return page


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    return redirect("sign-in")


@sensitive_post_parameters()
@never_cache
@require_http_methods(["GET", "POST"])
def password(request: HttpRequest) -> HttpResponse:
    person = signed_in(request)
    form = PasswordForm(person, data=request.POST or None)
    if request.method == "POST" and form.is_valid():
        password_change(person=person, password=form.cleaned_data["new_password1"])
        update_session_auth_hash(request, person)
        messages.success(request, "Your password is changed.")
        return redirect("/" if form.was_asked else "me")
    return render(request, "company/password.html", {"form": form})
