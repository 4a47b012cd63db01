"""The one place that reads the clock. The edge calls it once an operation and passes the answer down."""

from datetime import date, datetime

from django.utils import timezone


def now() -> datetime:
    """Return this instant, aware, in UTC."""
    return timezone.now()


def today(at: datetime | None = None) -> date:
    """Return the day in the company's zone at an instant (default: now)."""
    from company.models import Company

    return (at or now()).astimezone(Company.current().zone).date()
