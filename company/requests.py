"""The outermost thing every request passes: its id, one line in the log, and a figure for whoever watches."""

import logging
import time
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.urls import Resolver404, resolve

from company import logs
from company.metrics import request_count

log = logging.getLogger("knowngood.request")

Next = Callable[[HttpRequest], HttpResponse]


class Told:
    """Give a request its id: the proxy's if there is one and it is well-formed, else one of our own; answer with it."""

    def __init__(self, get_response: Next) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        given = request.headers.get("X-Request-ID", "") if settings.BEHIND_PROXY else ""
        request_id = logs.id_taken(given) or logs.id_made()
        began = time.perf_counter()

        def person() -> int | None:
            # never the lazy user: a log line must not ask the database
            return getattr(getattr(request, "_cached_user", None), "pk", None)

        tokens = logs.REQUEST_ID.set(request_id), logs.PERSON.set(person)
        try:
            response = self.get_response(request)
            response["X-Request-ID"] = request_id
            self._tell(request, response, time.perf_counter() - began)
            return response
        finally:
            logs.REQUEST_ID.reset(tokens[0])
            logs.PERSON.reset(tokens[1])

    @staticmethod
    def _tell(request: HttpRequest, response: HttpResponse, took_s: float) -> None:
        if request.path.startswith(settings.STATIC_URL):
            return
        route = _route(request)
        request_count(route=route, method=request.method or "", status=response.status_code, took_s=took_s)
        log.info(
            "%s %s answered %s in %.0f ms",
            request.method,
            request.path,
            response.status_code,
            took_s * 1000,
            extra={"route": route, "status": response.status_code, "took_ms": round(took_s * 1000, 1)},
        )


def _route(request: HttpRequest) -> str:
    """Return the name of the address, never the path: a path may hold a secret, and there are endless ones."""
    match = request.resolver_match
    if match is None:  # answered before it came to a page: sent to the sign-in, refused
        try:
            match = resolve(request.path_info)
        except Resolver404:
            return "unknown"
    return match.view_name or match.route
