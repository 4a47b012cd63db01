"""Print a new token for the HTTP API."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from company.clock import now
from company.models import ApiToken, Person


class Command(BaseCommand):
    help = "Print a new API token for somebody. It is shown this once; only its hash is kept."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("username")
        parser.add_argument("--name", default="command line", help="what it is for")

    def handle(self, *args: Any, **options: Any) -> None:
        person = Person.objects.filter(username=options["username"]).first()
        if person is None:
            raise CommandError(f"Nobody signs in as {options['username']}.")
        if not person.is_active:
            raise CommandError(f"{person.username} is switched off.")
        _token, text = ApiToken.make(person=person, name=options["name"][:60], made_at=now())
        self.stdout.write(text)
