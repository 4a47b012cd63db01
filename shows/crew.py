"""Who scans on a crew pass: known by a cookie, let through to the dock alone, and drawn without names and prices."""

from collections.abc import Callable

from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import Resolver404, resolve

from company.clock import now
from shows.models import PassHolder, Show
from shows.services.passes import holder_of, holder_seen

COOKIE = "crew"
Next = Callable[[HttpRequest], HttpResponse]

# What a pass opens, by the names of the addresses: all else answers 403. What names a show in its address is checked below.
OPEN = frozenset(
    {
        *("dock", "dock-turn", "dock-undo", "dock-count", "dock-inside", "dock-say", "dock-bag", "dock-swap", "dock-channel"),
        *("dock-stray", "dock-lookup", "dock-snapshot", "dock-spare", "item-scan", "truck-check"),
        *("crew-pass", "crew-stop", "theme", "pass-open", "phone", "phone-root"),
        *("dock-worker", "no-signal", "dock-hello"),
    }
)
# what a phone whose pass is over or withdrawn may still open: it sends what it has, and is told
ALWAYS = frozenset(
    {"crew-pass", "crew-stop", "pass-open", "theme", "phone", "phone-root", "dock-worker", "no-signal", "dock-hello"}
)
OF_ONE_SHOW = frozenset({"truck-check"})
LEADS_TO_DOCK = frozenset({"start", "dock-show"})
API = {("POST", "/api/scans")}


def crew_of(request: HttpRequest) -> PassHolder | None:
    """Return the pass this request is made on; None: a person with an account, or a stranger."""
    return getattr(request, "crew", None)


def show_of(request: HttpRequest) -> Show | None:
    """Return the only show this request may scan for; None: any."""
    crew = crew_of(request)
    return crew.crew_pass.show if crew else None


class CrewPassed:
    """Know a phone with a crew pass and let it through to what its pass opens, nothing else."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        cookie = request.COOKIES.get(COOKIE, "")
        if not cookie or request.path.startswith("/static/") or request.user.is_authenticated:
            return self.get_response(request)
        holder = holder_of(cookie)
        if holder is None:
            return self.get_response(request)
        request.crew, request.user = holder, holder.person  # type: ignore[attr-defined]
        return self._told(request, holder)

    def _told(self, request: HttpRequest, holder: PassHolder) -> HttpResponse:
        at = now()
        holder_seen(holder=holder, at=at)
        if request.path.startswith("/api/"):
            # scans are judged one by one, a withdrawn pass's too; nothing else of the API is a pass's
            if (request.method, request.path) not in API:
                request.user = AnonymousUser()
            return self.get_response(request)
        try:
            found = resolve(request.path)
        except Resolver404:
            return self.get_response(request)
        if found.url_name == "item":
            return redirect("item-scan", found.kwargs["code"])
        if found.url_name in LEADS_TO_DOCK:
            return redirect("dock")
        theirs = found.url_name not in OF_ONE_SHOW or found.kwargs.get("pk") == holder.crew_pass.show_id
        if found.url_name not in OPEN or not theirs:
            return render(request, "shows/crew_not_yours.html", {"crew": holder}, status=403)
        gone = holder.limits.withdrawn_at is not None or holder.limits.is_over(at)
        if gone and found.url_name not in ALWAYS:
            return redirect("crew-pass")
        return self.get_response(request)
