"""Load the demo company into an empty database, or move a stale demo's days to today."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from company.clock import now, today
from company.models import Company, Person
from inventory.models import Item
from shows.demo.build import demo_build
from shows.demo.redate import demo_redate


class Command(BaseCommand):
    help = "Load the demo (Saltmarsh Sound, an invented company) into an empty database; --redate moves its days to today."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--redate", action="store_true", help="only move a demo that is there to today")

    def handle(self, *args: Any, redate: bool, **options: Any) -> None:
        at = now()
        company = Company.current()
        if redate or company.is_demo:
            moved = demo_redate(today=today(at))
            self.stdout.write(f"The demo's days were moved by {moved} days." if moved else "The demo is of today.")
            return
        if Person.objects.exists() or Item.objects.exists():
            raise CommandError("There is a company in this database already; the demo goes into an empty one.")
        demo_build(at=at)
        self.stdout.write("Loaded the demo: Saltmarsh Sound, which does not exist.")
