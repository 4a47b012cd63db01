"""Forget what nobody needs any more: what the worker does once a day."""

from typing import Any

from django.core.management.base import BaseCommand

from company.tasks import tidy


class Command(BaseCommand):
    help = "Forget jobs that ended over 30 days ago with their files, old absences, and sessions that have ended."

    def handle(self, *args: Any, **options: Any) -> None:
        tidy()
        self.stdout.write("Tidied.")
