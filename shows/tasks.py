"""What the worker does for shows. Every message is a wake-up: the work is found in the database."""

from celery import shared_task

from company.clock import now
from shows.services.calendars import calendars_mail


@shared_task
def calendars_due() -> None:
    """Mail the calendars that are due."""
    calendars_mail(at=now())
