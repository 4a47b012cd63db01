"""Crew passes: made and withdrawn by a technician, opened by a hand's phone, and the phone's own page about its pass."""

from typing import cast

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from company.access import technician_required
from company.clock import now
from company.models import Person
from company.plain import in_our_words
from shows.calc.cards import matrix_of, path_of
from shows.calc.crew import LATE
from shows.calc.words import ShowState
from shows.crew import COOKIE, crew_of
from shows.dock import SHOW_COOKIE, WAY_COOKIE
from shows.models import CrewPass, PassHolder, Show
from shows.services.passes import holder_withdraw, pass_make, pass_of, pass_start, pass_withdraw


def phone_address(request: HttpRequest) -> str:
    """Return the address a phone reaches this program at: the shop's own, the one it listens on in the shop, or the page's."""
    return settings.SITE_ADDRESS or settings.LAN_ADDRESS or request.build_absolute_uri("/").rstrip("/")


@technician_required
@require_safe
def passes(request: HttpRequest, pk: int) -> HttpResponse:
    """List a show's passes and the phones on them."""
    show, at = get_object_or_404(Show, pk=pk), now()
    rows = show.passes.select_related("made_by", "withdrawn_by").prefetch_related("holders")
    context = {
        "section": "Shows",
        "show": show,
        "passes": rows,
        "may_make": show.state == ShowState.PLANNED and show.home_by > at,
        "late_until": show.home_by + LATE,
    }
    return render(request, "shows/passes.html", context)


@technician_required
@never_cache
@require_POST
def pass_add(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a pass and show its code this once: only a hash of it is kept."""
    show = get_object_or_404(Show.objects.select_related("venue"), pk=pk)
    try:
        made, token = pass_make(show=show, person=cast(Person, request.user), at=now())
    except ValidationError as error:
        messages.error(request, " ".join(in_our_words(error).messages))
        return redirect("passes", show.pk)
    link = f"{phone_address(request)}{reverse('pass-open', args=[token])}"
    matrix = matrix_of(link)
    here = link.startswith(("http://127.", "http://localhost"))
    context = {
        "section": "Shows",
        "show": show,
        "made": made,
        "link": link,
        "side": len(matrix),
        "path": path_of(matrix),
        "here": here,
    }
    return render(request, "shows/pass_made.html", context)


@technician_required
@require_POST
def pass_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Withdraw a pass with every phone on it."""
    found = get_object_or_404(CrewPass, pk=pk)
    if pass_withdraw(crew_pass=found, person=cast(Person, request.user), at=now()):
        messages.success(request, "The pass is withdrawn. What its phones scanned until now counts.")
    else:
        messages.info(request, "It was withdrawn already.")
    return redirect("passes", found.show_id)


@technician_required
@require_POST
def holder_end(request: HttpRequest, pk: int) -> HttpResponse:
    """Withdraw one phone."""
    found = get_object_or_404(PassHolder.objects.select_related("crew_pass"), pk=pk)
    if holder_withdraw(holder=found, at=now()):
        messages.success(request, f"{found} scans no longer. What it scanned until now counts.")
    else:
        messages.info(request, "It was withdrawn already.")
    return redirect("passes", found.crew_pass.show_id)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def pass_open(request: HttpRequest, token: str) -> HttpResponse:
    """Open a pass: say what it is for; a tap exchanges its link for this phone's own cookie."""
    found, at = pass_of(token), now()
    if found is None:
        return render(
            request, "shows/pass_gone.html", {"why": "No pass of ours has that link. Ask for another one."}, status=404
        )
    if request.user.is_authenticated and crew_of(request) is None:
        messages.info(request, "You are signed in and need no pass.")
        return redirect("dock")
    crew = crew_of(request)
    if crew is not None and crew.crew_pass_id == found.pk and crew.limits.withdrawn_at is None:
        return redirect("dock")
    wrong = ""
    if request.method == "POST":
        try:
            holder, cookie = pass_start(crew_pass=found, name=request.POST.get("name", ""), at=at)
        except ValidationError as error:
            wrong = " ".join(error.messages)
        else:
            return _started(request, holder, cookie)
    elif found.withdrawn_at is not None or found.show.state != ShowState.PLANNED or found.show.home_by <= at:
        wrong = (
            "This pass was withdrawn." if found.withdrawn_at else f"{found.show.name} is over: nobody new starts on its pass."
        )
        return render(request, "shows/pass_gone.html", {"why": f"{wrong} Ask for another one."}, status=410)
    context = {"show": found.show, "wrong": wrong, "token": token}
    return render(request, "shows/pass_open.html", context, status=422 if wrong else 200)


def _gone(request: HttpRequest, why: str, status: int) -> HttpResponse:
    return render(request, "shows/pass_gone.html", {"why": why}, status=status)


def _started(request: HttpRequest, holder: PassHolder, cookie: str) -> HttpResponse:
    response = redirect("dock")
    age = int((holder.crew_pass.show.home_by + LATE - holder.started_at).total_seconds())
    response.set_cookie(COOKIE, cookie, max_age=age, path="/", httponly=True, secure=request.is_secure(), samesite="Lax")
    # the device may have scanned for another show before
    response.delete_cookie(SHOW_COOKIE)
    response.delete_cookie(WAY_COOKIE)
    return response


@never_cache
@require_safe
def crew_pass(request: HttpRequest) -> HttpResponse:
    """Say to a phone what its pass is for and until when."""
    crew = crew_of(request)
    if crew is None:
        return redirect("dock") if request.user.is_authenticated else redirect_to_login(request.get_full_path())
    limits, at = crew.limits, now()
    context = {
        "crew": crew,
        "show": crew.crew_pass.show,
        "limits": limits,
        "home": at > limits.home_by,
        "over": limits.is_over(at),
    }
    return render(request, "shows/crew_pass.html", context)


@require_POST
def crew_stop(request: HttpRequest) -> HttpResponse:
    """Forget the pass on this phone."""
    crew = crew_of(request)
    if crew is not None:
        holder_withdraw(holder=crew, at=now())
    response = render(request, "shows/pass_gone.html", {"why": "This phone has no pass any more. What it scanned counts."})
    response.delete_cookie(COOKIE)
    return response
