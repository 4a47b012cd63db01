"""Make the first owner, once: a company that starts without the demo needs somebody who can sign in."""

from typing import Any

from django.core.management.base import BaseCommand

from company.calc.roles import Role
from company.models import Person
from company.services.people import person_add


class Command(BaseCommand):
    help = "Make an owner with a one-time password, if nobody is there yet."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("--username", default="owner")

    def handle(self, *args: Any, **options: Any) -> None:
        if Person.objects.exists():
            self.stdout.write("There are people already; an owner can add more.")
            return
        person, password = person_add(username=options["username"], first_name="", email="", role=Role.OWNER)
        self.stdout.write(f"Sign in as {person.username} with the one-time password {password}")
        self.stdout.write("It is shown this once; you choose your own when you come in.")
