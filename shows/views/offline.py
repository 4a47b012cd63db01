"""What a device keeps for times without a network: the worker that keeps it, and the page that says there is none."""

import hashlib
import json
import uuid
from functools import cache
from pathlib import Path

from django.contrib.staticfiles import finders
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from company.clock import now
from shows.crew import crew_of
from shows.models import Scan

# The dock's own modules are found by name; these are what they and the page need beside.
SHARED = (
    "company/tape.css",
    "company/pages.css",
    "company/page.js",
    "company/typed-reader.js",
    "company/sound.js",
    "shows/vendor/qrcode/qrcode.js",
    "company/icon.svg",
    "shows/dock.css",
    "shows/dock-rooms.css",  # the page that says there is no signal
    "shows/dock.js",
)
FONTS = "company/fonts"
# fetched when the camera is opened, and kept from then on
CAMERA = frozenset({"dock-worker.js", "dock-camera.js", "dock-decoder.js"})


@cache
def parts() -> tuple[str, ...]:
    """Return the names of the static files the dock page is made of; the camera's decoder comes when the camera is opened."""
    here = Path(str(finders.find("shows/dock.js"))).parent
    modules = sorted(f"shows/{one.name}" for one in here.glob("dock-*.js") if one.name not in CAMERA)
    folder = finders.find(FONTS)
    fonts = sorted(f"{FONTS}/{one.name}" for one in Path(str(folder)).glob("*.woff2")) if folder else []
    return (*SHARED, *modules, *fonts)


@never_cache
@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """Serve the worker from the root, so that it may keep every page; its name of the store changes with any part."""
    addresses = [staticfiles_storage.url(name) for name in parts()]
    source = Path(str(finders.find("shows/dock-worker.js"))).read_text(encoding="utf-8")
    said = json.dumps(addresses)
    version = hashlib.sha256((said + source + _contents()).encode()).hexdigest()[:16]
    head = f'const KEPT = "dock-{version}";\nconst PARTS = {said};\n'
    return HttpResponse(head + source, content_type="text/javascript", headers={"Service-Worker-Allowed": "/"})


@cache
def _contents() -> str:
    """Return what the parts hold as a hash: where file names carry none, a change must be seen all the same."""
    held = hashlib.sha256()
    for name in parts():
        found = finders.find(name)
        held.update(Path(str(found)).read_bytes() if found else b"")
    return held.hexdigest()


@never_cache
@require_safe
def no_signal(request: HttpRequest) -> HttpResponse:
    """Draw the page a device shows in place of one it cannot reach."""
    return render(request, "shows/no_signal.html")


def _knows(last: str) -> bool:
    try:
        return Scan.objects.filter(uid=uuid.UUID(last)).exists()
    except ValueError:
        return True


@never_cache
@require_safe
def hello(request: HttpRequest) -> HttpResponse:
    """Answer a device that has a network again: the time here, who it is, a token to write with, and whether we still know
    the last scan it sent (not after the shop was put back from an older backup)."""
    answer = {
        "now": now().isoformat(),
        "person": request.user.pk,
        "token": get_token(request),
        "pass": crew_of(request) is not None,
        "knows": _knows(request.GET.get("last", "")),
    }
    return HttpResponse(json.dumps(answer), content_type="application/json")
