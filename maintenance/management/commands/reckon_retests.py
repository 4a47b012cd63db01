"""Work out when to test everything again, here and now: what the nightly job does."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from company.clock import now
from inventory.models import GearType
from maintenance.services.retest_wear import night_reckon


class Command(BaseCommand):
    help = "Work out risks and test-by dates of all items, or of one gear type; only what changed is written."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--type", help="The name or the catalogue's key of one gear type.")

    def handle(self, *args: Any, **options: Any) -> None:
        types = None
        if options["type"]:
            found = GearType.objects.filter(name=options["type"]) | GearType.objects.filter(key=options["type"])
            types = list(found.values_list("pk", flat=True))
            if not types:
                raise CommandError(f"No gear type is called {options['type']}.")

        def tell(done: int, total: int) -> None:
            if options["verbosity"] > 1:
                self.stdout.write(f"{done} of {total}")

        done = night_reckon(at=now(), progress=tell, types=types)
        self.stdout.write(done.said)
        if done.failed:
            raise CommandError("Not all could be worked out.")
