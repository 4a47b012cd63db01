"""Run the alert rules now, as the worker does."""

from typing import Any

from django.core.management.base import BaseCommand

from company.clock import now
from maintenance.services.alerts import alerts_run


class Command(BaseCommand):
    help = "Run every alert rule once: raise what is new, close what has lost its cause."

    def handle(self, *args: Any, **options: Any) -> None:
        ran = alerts_run(at=now())
        self.stdout.write(f"{ran.rules} rules: {ran.found} found, {ran.raised} raised, {ran.closed} closed.")
        for key in ran.threw:
            self.stderr.write(f"The rule {key} threw: its sentence stands on the page of rules.")
