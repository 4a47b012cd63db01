"""List the good backups, newest first."""

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.template.defaultfilters import filesizeformat

from company.backups import backups_listed


class Command(BaseCommand):
    help = "List the backups there are, newest first."

    def handle(self, *args: Any, **options: Any) -> None:
        found = backups_listed()
        for backup in found:
            self.stdout.write(f"{backup.path}  {backup.made_at:%Y-%m-%d %H:%M} UTC  {filesizeformat(backup.size)}")
        if not found:
            self.stdout.write(f"No backup lies in {settings.BACKUP_DIR}. Make one: manage.py backup")
