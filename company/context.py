"""What every template knows."""

from typing import Any

from django.http import HttpRequest

from company.models import Company
from company.registries import NAV, TOP, TopLine


def house(request: HttpRequest) -> dict[str, Any]:
    """Give templates the company, the navigation this person may see, and the theme."""
    user = getattr(request, "user", None)
    signed_in = user is not None and user.is_authenticated
    entries = [entry() for entry in NAV] if signed_in else []
    tops = _tops(request) if signed_in else []
    return {
        "alarms": [top for top in tops if top.alarm],
        "tops": [top for top in tops if not top.alarm],
        "company": getattr(request, "company", None) or Company.current(),
        "nav": [e for e in entries if user.is_at_least(e.role)] if user is not None and signed_in else [],
        "theme": request.COOKIES.get("theme") or (user.theme if user is not None and signed_in else "dark"),
    }


def _tops(request: HttpRequest) -> list[TopLine]:
    """Ask once a request: a page may be drawn in parts."""
    if not hasattr(request, "top_lines"):
        request.top_lines = [top for top in (say(request) for say in TOP) if top is not None]
    return request.top_lines
