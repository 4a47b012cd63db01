"""Hand deliveries to a mail server on this machine, in a process of its own: more than 200 a second, each recorded singly.

Prints one row a figure: name, figure, asked for. Run it as `python -m tests.benchmarks.bench_deliveries [deliveries]`.
"""

import os
import subprocess
import sys
import tempfile
import time
from datetime import timedelta

A_SECOND = 200
ADDRESSES = 50

# the server keeps nothing: it is to cost as little as a mail server on another machine
SINK = """
import sys, time
from aiosmtpd.controller import Controller

class Sink:
    taken = 0
    async def handle_DATA(self, server, session, envelope):
        Sink.taken += 1
        return "250 OK"

controller = Controller(Sink(), hostname="127.0.0.1", port=int(sys.argv[1]))
controller.start()
print("ready", flush=True)
sys.stdin.readline()
print(Sink.taken, flush=True)
controller.stop()
"""


def fill(number: int) -> None:
    """Write the outbox: alerts of one rule, each for every address of one person."""
    from company.clock import now
    from company.models import Company, Person
    from maintenance.models import Address, Alert, Delivery, Telling
    from maintenance.sending.seal import fingerprint, seal

    at = now() - timedelta(minutes=1)
    Company.current()
    person = Person.objects.create(username="bench", role="technician")
    Telling.objects.create(person=person, quiet_from=None, quiet_until=None)
    given = {"person": person, "kind": "email", "service": "email", "made_at": at}
    addresses = Address.objects.bulk_create(
        Address(shown=f"a{n}", sealed=seal(f"a{n}@example.org"), fingerprint=fingerprint(f"{n}"), **given)
        for n in range(ADDRESSES)
    )
    words = {"title": "Swap the cells", "says": "Swap the cells of four boxes before load-in on Friday.", "url": "/cells/"}
    alerts = Alert.objects.bulk_create(
        Alert(rule="swap", subject=f"show:{n}", occasion="1", digest=False, raised_at=at, **words)
        for n in range(number // ADDRESSES)
    )
    Delivery.objects.bulk_create(
        (Delivery(alert=alert, address=address, made_at=at, not_before=at) for alert in alerts for address in addresses),
        batch_size=500,
    )


def main(number: int) -> None:
    from django.core.management import call_command

    from company.clock import now
    from maintenance.services.outbox import deliveries_report, deliveries_send

    call_command("migrate", verbosity=0)
    fill(number)
    sink = subprocess.Popen(
        [sys.executable, "-c", SINK, os.environ["SMTP_PORT"]], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert sink.stdin is not None and sink.stdout is not None  # tells the type checker what a pipe is
    try:
        sink.stdout.readline()
        wall, processor = time.perf_counter(), time.process_time()
        sent = deliveries_send(at=now())
        wall, processor = time.perf_counter() - wall, time.process_time() - processor
        taken = int(sink.communicate("stop\n", timeout=30)[0])
    finally:
        sink.kill()
    report = deliveries_report(at=now())
    if not sent.sent == taken == report.sent == number or report.interrupted:
        raise SystemExit(f"{sent.sent} sent, {taken} taken, {report}")
    print(f"{number} deliveries to a mail server here, a second of wall time\t{number / wall:.0f}\tover {A_SECOND}")
    print(f"{number} deliveries to a mail server here, a second of processor time\t{number / processor:.0f}\t-")


if __name__ == "__main__":
    import socket

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        free = probe.getsockname()[1]
    os.environ |= {
        "DJANGO_SETTINGS_MODULE": "config.settings",
        "VAR_DIR": tempfile.mkdtemp(prefix="knowngood-bench-"),
        "DATABASE_URL": os.environ.get("DATABASE_URL", ""),
        "SMTP_HOST": "127.0.0.1",
        "SMTP_PORT": str(free),
        "SMTP_SECURITY": "none",
        "MAIL_FROM": "gear@example.org",
        "SITE_ADDRESS": "https://gear.example.org",
    }
    import django

    django.setup()
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
