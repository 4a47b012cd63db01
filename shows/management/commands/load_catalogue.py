"""Load the shipped catalogue of gear types and rigs. Safe to run again: what is there stays as it is."""

from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.db import transaction

from inventory.services.catalogue import catalogue_load, catalogue_read
from maintenance.services.cell_types import cell_types_load
from maintenance.services.wirings import wirings_load, wirings_shipped
from shows.models import Rig, RigRow


class Command(BaseCommand):
    help = (
        "Load the shipped gear types, their wirings, the types of cells, what goes with what, the rigs and kinds of sources; "
        "nothing that is there is changed."
    )

    @transaction.atomic
    def handle(self, *args: Any, **options: Any) -> None:
        catalogue = catalogue_read()
        wirings = wirings_load(entries=wirings_shipped())
        added, renewed = cell_types_load()
        types = catalogue_load(catalogue=catalogue)
        if not Rig.objects.exists():
            for entry in catalogue["rigs"]:
                rig = Rig.objects.create(name=entry["name"], notes=entry["notes"])
                RigRow.objects.bulk_create(
                    RigRow(rig=rig, type=types[row["type"]], **{k: v for k, v in row.items() if k != "type"})
                    for row in entry["rows"]
                )
        self.stdout.write(f"The catalogue holds {len(types)} gear types and {Rig.objects.count()} rigs.")
        self.stdout.write(wirings.words)
        self.stdout.write(f"{len(added)} types of cells added, {len(renewed)} brought up to date.")
        call_command("load_sources", stdout=self.stdout)
