"""Work out what is left in all cells, here and now: what the nightly job does."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from company.clock import now
from inventory.models import GearType
from maintenance.services.cell_forecasts import outcomes_resolve
from maintenance.services.cell_night import cells_reckon


class Command(BaseCommand):
    help = "Work out hours used and left of every set that is fitted, or those in one gear type; only what changed is written."

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

        at = now()
        done = cells_reckon(at=at, progress=tell, types=types)
        resolved = outcomes_resolve(at=at)
        self.stdout.write(f"{done.said} {resolved or 'No'} forecasts came to something.")
