"""Write everything the shop owns as open files into one zip, while the program runs."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from company.backup_file import BackupError
from company.clock import now
from company.export_schema import left_out
from company.exports import export_make, export_words, exports_forget


class Command(BaseCommand):
    help = "Write every table as CSV and JSON lines, and the photos, into one zip. Runs beside the program."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument(
            "--to", type=Path, metavar="FOLDER", help="another folder than the usual one; none there is deleted"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        last = -1

        def say(done: int, total: int, said: str) -> None:
            nonlocal last
            # one line a tenth of the way: a table a line would say less
            if total and (done * 10 // total) != last:
                last = done * 10 // total
                self.stdout.write(said)

        at = now()
        try:
            made = export_make(at=at, to=options["to"], progress=say if options["verbosity"] > 1 else None)
        except BackupError as error:
            raise CommandError(str(error)) from None
        if options["to"] is None:
            exports_forget(at=at)
        self.stdout.write(f"{made.path}\n{export_words(made)}")
        self.stdout.write(f"Left out: {'; '.join(left_out())}.".replace("`", ""))
