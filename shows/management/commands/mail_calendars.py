"""Mail the calendars that are due, as the worker does."""

from typing import Any

from django.core.management.base import BaseCommand

from company.clock import now
from shows.services.calendars import calendars_mail


class Command(BaseCommand):
    help = "Mail the calendar to everybody who wants it once a week and has not had it for a week."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{calendars_mail(at=now())} sent.")
