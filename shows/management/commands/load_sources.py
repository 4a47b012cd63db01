"""Load the shipped kinds of sources and input lists. Safe to run again: what a shop has changed stays as it is."""

from typing import Any

from django.core.management.base import BaseCommand

from shows.services.sources import sources_load, sources_shipped


class Command(BaseCommand):
    help = "Add the shipped kinds of sources and input lists that are not there yet, and renew those nobody has changed."

    def handle(self, *args: Any, **options: Any) -> None:
        added, renewed = sources_load(shipped=sources_shipped())
        self.stdout.write(f"{added} kinds of sources and lists added, {renewed} brought up to date.")
