"""Bring the database and the static files up to date; the second time there is nothing to do and it takes no time."""

from argparse import BooleanOptionalAction
from pathlib import Path
from typing import Any

from auditlog.context import disable_auditlog
from django.conf import settings
from django.contrib.staticfiles.finders import get_finders
from django.core.management import call_command, get_commands
from django.core.management.base import BaseCommand
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.migrations.executor import MigrationExecutor

from company.clock import today
from company.models import Company, Person


class Command(BaseCommand):
    help = "Migrate, gather static files, and load the catalogue (and with --demo the demo) the first time."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument(
            "--demo", action=BooleanOptionalAction, default=False, help="load the invented company the first time"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        settings.VAR_DIR.mkdir(parents=True, exist_ok=True)
        self._migrate()
        self._gather_static()
        with disable_auditlog():  # what ships with the program was edited by nobody
            self._fill(demo=options["demo"])
            if "load_sources" in get_commands():  # what a newer version ships reaches a shop that was set up long ago
                call_command("load_sources", verbosity=0)

    def _migrate(self) -> None:
        executor = MigrationExecutor(connections[DEFAULT_DB_ALIAS])
        if executor.migration_plan(executor.loader.graph.leaf_nodes()):
            self.stdout.write("Preparing the database ...")
            call_command("migrate", interactive=False, verbosity=0)

    def _gather_static(self) -> None:
        """Gather static files when any of them changed since the last time."""
        if "StampedStatic" not in settings.STORAGES["staticfiles"]["BACKEND"]:
            return
        newest, number = 0.0, 0
        for finder in get_finders():
            for path, storage in finder.list([]):
                newest, number = max(newest, Path(storage.path(path)).stat().st_mtime), number + 1
        stamp, now = settings.VAR_DIR / "static.stamp", f"{newest} {number}"
        if stamp.exists() and stamp.read_text() == now and settings.STATIC_ROOT.exists():
            return
        call_command("collectstatic", interactive=False, verbosity=0, clear=True)
        stamp.write_text(now)

    def _fill(self, *, demo: bool) -> None:
        commands = get_commands()
        company = Company.current()
        if not Person.objects.exists():
            if "load_catalogue" in commands:
                self.stdout.write("Loading the catalogue of gear types ...")
                call_command("load_catalogue", stdout=self.stdout)
            if demo and "load_demo" in commands:
                self.stdout.write("Loading the demo ...")
                call_command("load_demo", stdout=self.stdout)
            if not Person.objects.exists():
                call_command("first_owner", stdout=self.stdout)
        elif company.is_demo and company.demo_dated != today() and "load_demo" in commands:
            self.stdout.write("Moving the demo's dates to today ...")
            call_command("load_demo", "--redate", stdout=self.stdout)
