"""Check the record whole now: its pages, its rows' limits, and that what points at something finds it."""

import sqlite3
import tempfile
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError

from company.backup_file import BackupError, disk_words
from company.clock import now
from company.record_check import DamagedError, broken_rows, check_keep, what_to_do
from company.snapshot import frozen


class Command(BaseCommand):
    help = "Check that the record holds together, on a copy: runs beside the program."

    def handle(self, *args: Any, **options: Any) -> None:
        at = now()
        try:
            with tempfile.TemporaryDirectory(dir=settings.VAR_DIR) as folder, frozen(Path(folder) / "copy") as alias:
                found = check_keep(at=at, broken=broken_rows(alias))
        except DamagedError as error:
            check_keep(at=at, damage=error.damage)
            raise CommandError(str(error)) from None
        except BackupError as error:
            raise CommandError(str(error)) from None
        except (OSError, DatabaseError, sqlite3.Error) as error:
            raise CommandError(disk_words(error, Path(settings.VAR_DIR))) from None
        if not found.well:
            raise CommandError("\n".join([*(f"{one.says}." for one in found.broken), what_to_do(found)]))
        self.stdout.write("The record holds together.")
