"""Give somebody a new one-time password from the machine itself: the way back in when the last owner forgot theirs."""

from typing import Any

from axes.utils import reset
from django.core.management.base import BaseCommand, CommandError

from company.models import Person
from company.services.people import password_reset


class Command(BaseCommand):
    help = "Print a new one-time password for somebody, and lift their lock."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("username")

    def handle(self, *args: Any, **options: Any) -> None:
        person = Person.objects.filter(username=options["username"]).first()
        if person is None:
            raise CommandError(f"Nobody signs in as {options['username']}.")
        password = password_reset(person=person)
        reset(username=person.username)
        self.stdout.write(f"{person.username} comes in once with {password}")
