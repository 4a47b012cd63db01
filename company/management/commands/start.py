"""Start everything one shop needs on one machine: web, worker, clock."""

import sys
from argparse import BooleanOptionalAction
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

import qrcode
from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from company.calc.roles import Role
from company.certificates import CertificateError, certificates_ready
from company.clock import now
from company.in_use import hold
from company.lan import lan_address, machine_names
from company.models import Company, Person
from company.net import is_loopback
from company.supervisor import Child, Supervisor, port_taken, python

# a container often runs as root: celery's warning about it, five lines at every start, would hide the address
CELERY = ("-W", "ignore:You're running the worker with superuser", "-m", "celery", "--quiet", "-A", "config")


@dataclass(frozen=True, kw_only=True)
class Lan:
    """Where phones find the program; what its processes are told; what a second web server, with TLS, is told."""

    plain: str
    secure: str
    env: dict[str, str]
    tls: dict[str, str] = field(default_factory=dict)
    fingerprint: str = ""


class Command(BaseCommand):
    help = "Serve the pages, do the jobs and keep the time, until Ctrl-C. HOST and PORT say where."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument(
            "--lan", action="store_true", help="let phones on the shop's network in, with a certificate of the shop's own"
        )
        parser.add_argument(
            "--demo", action=BooleanOptionalAction, default=False, help="load the invented company the first time"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        host, port = self._host(lan=options["lan"]), settings.PORT
        for place in {host, settings.HOST}:
            if taken := port_taken(place, port):
                raise CommandError(taken)
        hold()
        call_command("make_ready", demo=options["demo"], stdout=self.stdout)
        company = Company.current()
        if company.is_demo and not is_loopback(host):
            raise CommandError(
                f"This is the demo, whose passwords are known to everybody: it listens on this machine alone, not on {host}. "
                "Leave HOST and --lan out, or start with a new VAR_DIR and without --demo."
            )
        lan = self._lan(company, host) if options["lan"] else None
        connection.close()
        supervisor = Supervisor(self._children(lan), say=self._say)
        status = supervisor.run(ready=lambda: self._greet(company, host, port, lan))
        if status:
            sys.exit(status)

    def _host(self, *, lan: bool) -> str:
        """Return where to listen: for phones, on this machine's address in the shop, unless it was named."""
        if not lan or not is_loopback(settings.HOST):
            return settings.HOST
        found = settings.LAN_HOST or lan_address()
        if not found:
            raise CommandError(
                "This machine has no address on a private network: join the shop's network, or name its address, "
                "as LAN_HOST=192.168.1.20."
            )
        return found

    def _lan(self, company: Company, host: str) -> Lan:
        """Say where phones find us; with a certificate of the shop's own unless it brought one."""
        if settings.TLS_CERT:
            secure = settings.SITE_ADDRESS or f"https://{host}:{settings.PORT}"
            return Lan(plain=secure, secure=secure, env={"HOST": host, "LAN_ADDRESS": secure, "LAN_SECURE_ADDRESS": secure})
        if taken := port_taken(host, settings.TLS_PORT):
            raise CommandError(taken.replace("PORT=", "TLS_PORT="))
        try:
            made = certificates_ready(
                settings.TLS_FOLDER, company=company.name, addresses=[host, "127.0.0.1"], names=machine_names(), at=now()
            )
        except CertificateError as error:
            raise CommandError(str(error)) from error
        plain, secure = f"http://{host}:{settings.PORT}", f"https://{host}:{settings.TLS_PORT}"
        env = {"HOST": host, "LAN_ADDRESS": plain, "LAN_SECURE_ADDRESS": secure}
        tls = {**env, "PORT": str(settings.TLS_PORT), "TLS_CERT": str(made.leaf), "TLS_KEY": str(made.key)}
        return Lan(plain=plain, secure=secure, env=env, tls=tls, fingerprint=made.fingerprint)

    def _children(self, lan: Lan | None) -> list[Child]:
        env, tls = (lan.env, lan.tls) if lan else ({}, {})
        web = python("-m", "gunicorn", "-c", "python:config.gunicorn", "config.wsgi:application")
        worker = python(
            *CELERY, "worker", "-c", "1", "--loglevel", "WARNING", "--without-gossip", "--without-mingle", "--without-heartbeat"
        )
        beat = python(*CELERY, "beat", "--loglevel", "WARNING", "--pidfile=")
        # nothing new to do, then no new pages, then the worker ends what it has in hand
        return [
            Child(name="web server", command=web, stop_rank=2, env=env),
            *([Child(name="secure web server", command=web, stop_rank=2, env=tls)] if tls else []),
            Child(name="worker", command=worker, stop_rank=3, env=env),
            Child(name="clock", command=beat, stop_rank=1, env=env),
        ]

    def _greet(self, company: Company, host: str, port: int, lan: Lan | None) -> None:
        scheme = "https" if settings.TLS_CERT else "http"
        shown = "127.0.0.1" if host in {"0.0.0.0", "::"} else host  # noqa: S104 (compared, not listened on)
        self._say("")
        self._say(f"Knowngood for {company.name}: {scheme}://{shown}:{port}/")
        if company.is_demo:
            self._say("Sign in as owner, technician or hand; the password is saltmarsh.")
        elif waiting := Person.objects.filter(role=Role.OWNER, must_change_password=True, last_login=None).first():
            self._say(f"{waiting.username} has not signed in yet. Password lost? manage.py reset_password {waiting.username}")
        if lan:
            self._say(f"Phones on the shop's network: {lan.plain}/phone/")
            self._qr(f"{lan.plain}/phone/")
            if lan.fingerprint:
                self._say(f"For the camera, and for no signal, a phone opens {lan.secure}/ after it was set up once.")
                self._say(f"The shop root's SHA-256, to compare on the phone: {lan.fingerprint}")
        self._say("Ctrl-C stops it.")
        connection.close()

    def _qr(self, address: str) -> None:
        drawing = qrcode.QRCode(border=2)
        drawing.add_data(address)
        with suppress(UnicodeEncodeError):  # a terminal without half blocks has the address in letters
            drawing.print_ascii(out=self.stdout, invert=True)

    def _say(self, sentence: str) -> None:
        self.stdout.write(sentence)
        self.stdout.flush()
