"""Bring a backup back, into the database this program is set to: SQLite or PostgreSQL."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from company import in_use
from company.backup_file import BackupError
from company.restoring import backup_restore, restore_finish


class Command(BaseCommand):
    help = "Verify a backup and bring it back, all of it or nothing. The program must be stopped."
    requires_system_checks: list[str] = []
    requires_migrations_checks = False

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("file", type=Path, nargs="?")
        parser.add_argument("--yes", action="store_true", help="put it in the place of the record that is here")
        parser.add_argument("--with-secrets", action="store_true", help="bring the secret key back too")
        parser.add_argument("--without-broken", action="store_true", help="leave out rows that pointed at what was not there")
        parser.add_argument("--finish", action="store_true", help="end a restore that was cut off")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["finish"]:
            with in_use.alone() as free:
                if not free:
                    raise CommandError("The program is running on this folder. Stop it first.")
                ended = restore_finish()
            self.stdout.write("The restore is complete." if ended else "No restore was past its turn: the record is as it was.")
            return
        if options["file"] is None:
            raise CommandError("Name the file to restore. manage.py backups lists them.")
        try:
            told = backup_restore(
                path=options["file"],
                overwrite=options["yes"],
                with_secrets=options["with_secrets"],
                without_broken=options["without_broken"],
                say=self.stdout.write,
            )
        except BackupError as error:
            raise CommandError(str(error)) from None
        self.stdout.write(
            f"Restored: {sum(told.rows.values())} rows of {told.made_at:%Y-%m-%d %H:%M} UTC. Everybody signs in anew.\n"
            "Now run manage.py make_ready, start the program, and look at Shop → How the program is. Phones send again what "
            "they scanned since; what else was entered after that instant is to be entered again. What was here before lies "
            "beside, named before-restore: delete it once all is well."
        )
