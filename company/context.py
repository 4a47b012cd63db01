"""What every template knows."""

from typing import Any

from django.http import HttpRequest

from company.models import Company
from company.registries import NAV


def house(request: HttpRequest) -> dict[str, Any]:
    """Give templates the company, the navigation this person may see, and the theme."""
    user = getattr(request, "user", None)
    signed_in = user is not None and user.is_authenticated
    entries = [entry() for entry in NAV] if signed_in else []
    return {
        "company": getattr(request, "company", None) or Company.current(),
        "nav": [e for e in entries if user.is_at_least(e.role)] if user is not None and signed_in else [],
        "theme": request.COOKIES.get("theme") or (user.theme if user is not None and signed_in else "dark"),
    }
