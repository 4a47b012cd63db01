"""Start everything one shop needs on one machine: web, worker, clock."""

import sys
from argparse import BooleanOptionalAction
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from company.calc.roles import Role
from company.in_use import hold
from company.models import Company, Person
from company.net import is_loopback
from company.supervisor import Child, Supervisor, port_taken, python

# a container often runs as root: celery's warning about it, five lines at every start, would hide the address
CELERY = ("-W", "ignore:You're running the worker with superuser", "-m", "celery", "--quiet", "-A", "config")


class Command(BaseCommand):
    help = "Serve the pages, do the jobs and keep the time, until Ctrl-C. HOST and PORT say where."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument(
            "--demo", action=BooleanOptionalAction, default=False, help="load the invented company the first time"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        host, port = settings.HOST, settings.PORT
        if taken := port_taken(host, port):
            raise CommandError(taken)
        hold()
        call_command("make_ready", demo=options["demo"], stdout=self.stdout)
        company = Company.current()
        if company.is_demo and not is_loopback(host):
            raise CommandError(
                f"This is the demo, whose passwords are known to everybody: it listens on this machine alone, not on {host}. "
                "Leave HOST out, or start with a new VAR_DIR and without --demo."
            )
        connection.close()
        supervisor = Supervisor(self._children(), say=self._say)
        status = supervisor.run(ready=lambda: self._greet(company, host, port))
        if status:
            sys.exit(status)

    def _children(self) -> list[Child]:
        web = python("-m", "gunicorn", "-c", "python:config.gunicorn", "config.wsgi:application")
        worker = python(
            *CELERY, "worker", "-c", "1", "--loglevel", "WARNING", "--without-gossip", "--without-mingle", "--without-heartbeat"
        )
        beat = python(*CELERY, "beat", "--loglevel", "WARNING", "--pidfile=")
        # nothing new to do, then no new pages, then the worker ends what it has in hand
        return [
            Child(name="web server", command=web, stop_rank=2),
            Child(name="worker", command=worker, stop_rank=3),
            Child(name="clock", command=beat, stop_rank=1),
        ]

    def _greet(self, company: Company, host: str, port: int) -> None:
        scheme = "https" if settings.TLS_CERT else "http"
        shown = "127.0.0.1" if host in {"0.0.0.0", "::"} else host  # noqa: S104 (compared, not listened on)
        self._say("")
        self._say(f"Knowngood for {company.name}: {scheme}://{shown}:{port}/")
        if company.is_demo:
            self._say("Sign in as owner, technician or hand; the password is saltmarsh.")
        elif waiting := Person.objects.filter(role=Role.OWNER, must_change_password=True, last_login=None).first():
            self._say(f"{waiting.username} has not signed in yet. Password lost? manage.py reset_password {waiting.username}")
        self._say("Ctrl-C stops it.")
        connection.close()

    def _say(self, sentence: str) -> None:
        self.stdout.write(sentence)
        self.stdout.flush()
