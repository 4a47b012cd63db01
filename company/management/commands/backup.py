"""Write everything into one dated, checksummed file, while the program runs."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from company.backup_file import BackupError
from company.backups import backup_make, backups_rotate
from company.clock import now


class Command(BaseCommand):
    help = "Write rows and media into one file and read it back. Runs beside the program."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("--to", type=Path, metavar="FOLDER", help="another folder than the usual one; it is not rotated")
        parser.add_argument("--with-secrets", action="store_true", help="with the secret key and who is signed in: guard it")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            made = backup_make(at=now(), to=options["to"], with_secrets=options["with_secrets"])
            if options["to"] is None:
                backups_rotate()
        except BackupError as error:
            raise CommandError(str(error)) from None
        self.stdout.write(f"{made} is written and was read back whole.")
