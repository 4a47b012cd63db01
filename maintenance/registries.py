"""What maintenance asks the floor above: shows fills these in its `ready()`."""

from collections.abc import Callable
from datetime import datetime

from company.registry import Registry
from maintenance.calc.symptoms import Found

# Of a show's key and an instant: line check, show, after; empty before load-in, for what is no show, or a cancelled one.
WHEN_FOUND: Registry[Callable[[int, datetime], str]] = Registry("when in that show was this?")


def when_found(show: int | None, at: datetime) -> str:
    """Say as a `Found` when in a show an instant was, asking the floor above; empty where nobody knows."""
    if show is None:
        return ""
    return next((Found(said) for answer in WHEN_FOUND if (said := answer(show, at))), "")
