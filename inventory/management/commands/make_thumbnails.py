"""Make the small pictures that are missing, after a move or a restore without them."""

from typing import Any

from django.core.management.base import BaseCommand

from inventory.services.photos import thumbnails_make


class Command(BaseCommand):
    help = "Make small pictures for photos that have none, or whose small one is gone from the disk."

    def handle(self, *args: Any, **options: Any) -> None:
        def tell(done: int, total: int) -> None:
            if options["verbosity"] > 1:
                self.stdout.write(f"{done} of {total}")

        done = thumbnails_make(progress=tell)
        self.stdout.write(f"{done.made or 'No'} small pictures made.")
        if done.unreadable:
            self.stdout.write(f"These photos cannot be read: {', '.join(done.unreadable)}.")
