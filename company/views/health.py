"""Is the program well? Asked by machines that watch it; says nothing about the company, and needs no sign-in."""

import secrets

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from company.clock import now
from company.metrics import metrics_text
from company.net import from_this_machine
from company.running import NOT_READY, parts_ready


@never_cache
@require_safe
def health(request: HttpRequest) -> JsonResponse:
    """Say that this process answers; asks nothing of anybody, so that a database away gets no web server killed for it."""
    return JsonResponse({"web": "alive"})


@never_cache
@require_safe
def ready(request: HttpRequest) -> JsonResponse:
    """Say part by part whether the program can do its work: 503 while one of them cannot."""
    parts = parts_ready(now())
    return JsonResponse(parts, status=503 if NOT_READY & set(parts.values()) else 200)


@never_cache
@require_safe
def metrics(request: HttpRequest) -> HttpResponse:
    """Give figures to Prometheus: on this machine, or to whoever shows the token."""
    if not _may_read(request):
        sentence = "Figures are given on this machine alone, or with METRICS_TOKEN as a bearer token."
        return HttpResponse(sentence, status=403, content_type="text/plain; charset=utf-8")
    return HttpResponse(metrics_text(now()), content_type="text/plain; version=0.0.4; charset=utf-8")


def _may_read(request: HttpRequest) -> bool:
    word, _, shown = request.headers.get("Authorization", "").partition(" ")
    if settings.METRICS_TOKEN and word.lower() == "bearer":
        return secrets.compare_digest(shown.strip().encode(), settings.METRICS_TOKEN.encode())
    return from_this_machine(request)
