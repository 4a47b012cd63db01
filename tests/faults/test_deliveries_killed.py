"""Kill the sender in the middle of thousands of deliveries, with its real worker and broker: nobody is forgotten."""

import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from datetime import timedelta
from pathlib import Path

import pytest
import redis
from django.conf import settings
from django.db import connection

from company.clock import now
from maintenance.calc.alert_words import DeliveryState
from maintenance.models import Address, Alert, Attempt, Delivery, Telling
from maintenance.sending.seal import fingerprint, seal
from maintenance.services.outbox import deliveries_report
from tests.builders import make_company, make_person
from tests.maintenance.mail_sink import MailSink

pytestmark = pytest.mark.django_db(transaction=True)

ROOT = Path(__file__).resolve().parents[2]
NUMBER = 5_000
KILLS = 5
LEASE_S = 2
PATIENCE_S = 150.0

# The real program's worker on the test's database, told what a shop is told by its environment.
WORKER = """
import os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "config.settings"
from config.celery import app
app.worker_main(["worker", "-c", "1", "--loglevel", "ERROR", "--without-gossip", "--without-mingle", "--without-heartbeat"])
"""


@pytest.fixture
def technician():
    make_company()
    person = make_person("technician", username="t")
    Telling.objects.create(person=person, quiet_from=None, quiet_until=None, digest_at=None)
    return person


def outbox(person, at):
    """Fill the outbox: 100 alerts, each to 50 addresses."""
    addresses = [
        Address(
            person=person,
            kind="email",
            service="email",
            shown=f"a{n}",
            sealed=seal(f"a{n}@example.org"),
            fingerprint=fingerprint(f"{n}"),
            made_at=at,
        )
        for n in range(50)
    ]
    Address.objects.bulk_create(addresses)
    alerts = [
        Alert(
            rule="r",
            subject=f"s:{n}",
            occasion=f"{n}",
            title=f"Alert {n}",
            says="S",
            url="/",
            digest=False,
            raised_at=at,
            urgent=True,
        )
        for n in range(NUMBER // len(addresses))
    ]
    Alert.objects.bulk_create(alerts)
    Delivery.objects.bulk_create(
        [
            Delivery(alert=alert, address=address, made_at=at, not_before=at)
            for alert in Alert.objects.all()
            for address in Address.objects.all()
        ],
        batch_size=500,
    )


class Worker:
    """The worker and a clock that wakes it, in one session that is killed whole."""

    def __init__(self, var: Path, port: int) -> None:
        given = connection.settings_dict
        if connection.vendor == "sqlite":
            address = f"sqlite:///{given['NAME']}"
        else:
            word = f":{given['PASSWORD']}" if given["PASSWORD"] else ""
            address = f"postgres://{given['USER']}{word}@{given['HOST']}:{given['PORT'] or 5432}/{given['NAME']}"
        mine = {
            "VAR_DIR": str(var),
            "DATABASE_URL": address,
            "SECRET_KEY": settings.SECRET_KEY,
            "SMTP_HOST": "127.0.0.1",
            "SMTP_PORT": str(port),
            "SMTP_SECURITY": "none",
            "MAIL_FROM": "gear@example.org",
            "DELIVERY_LEASE_S": str(LEASE_S),
            "LOG_LEVEL": "ERROR",
        }
        broker = os.environ.get("CELERY_BROKER_URL", "")
        self.var, self.redis = var, ""
        if broker:
            # a number of its own: what the suite itself put there is nobody's here
            self.redis = mine["CELERY_BROKER_URL"] = broker.rsplit("/", 1)[0] + "/14"
        self.env = {k: v for k, v in os.environ.items() if not k.startswith("PYTEST")} | mine
        self.process: subprocess.Popen[bytes] | None = None
        self.wakes: list[subprocess.Popen[bytes]] = []

    def start(self) -> None:
        self.process = subprocess.Popen([sys.executable, "-c", WORKER], cwd=ROOT, env=self.env, start_new_session=True)
        self.wake()

    def wake(self) -> None:
        """Send the message that the clock sends, and do not wait; it is only a wake-up, and may be sent twice."""
        script = (
            "import os; os.environ['DJANGO_SETTINGS_MODULE'] = 'config.settings'; import config.celery, django; "
            "django.setup(); from maintenance.tasks import deliveries_due; deliveries_due.delay()"
        )
        self.wakes.append(subprocess.Popen([sys.executable, "-c", script], cwd=ROOT, env=self.env))

    def waking(self) -> bool:
        """Say whether a wake-up is still on its way to the broker."""
        return any(one.poll() is None for one in self.wakes)

    def empty_the_broker(self) -> None:
        """Throw every message away."""
        for one in self.wakes:
            one.wait(60)
        if self.redis:
            with redis.Redis.from_url(self.redis) as server:
                server.flushdb()
        for message in (self.var / "broker").rglob("*.msg"):
            message.unlink(missing_ok=True)

    def kill(self) -> None:
        assert self.process is not None
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(timeout=20)
        self.process = None

    def close(self) -> None:
        if self.process:
            self.kill()
        for one in self.wakes:
            assert one.wait(60) == 0, "a wake-up could not be sent"


def wait_until(what, patience_s=PATIENCE_S):
    until = time.monotonic() + patience_s
    while not what():
        assert time.monotonic() < until, "it did not come true in time"
        time.sleep(0.05)


@pytest.mark.slow
def test_killed_again_and_again_it_tells_everybody_and_counts_who_may_have_been_told_twice(technician, tmp_path, capsys):
    # KILL_SEED=... falls on the same letters again; to the millisecond no two runs are alike
    seed = int(os.environ.get("KILL_SEED") or random.SystemRandom().randrange(1_000_000))
    chance = random.Random(seed)
    moments = sorted(chance.sample(range(NUMBER * 9 // 10), KILLS))
    print(f"KILL_SEED={seed}: killed after letters {moments}")
    outbox(technician, now() - timedelta(minutes=1))
    with MailSink() as sink:
        worker = Worker(tmp_path, sink.port)
        began = time.monotonic()
        try:
            worker.start()
            for kill, moment in enumerate(moments, 1):
                wait_until(lambda moment=moment: len(sink.letters) > moment)
                time.sleep(chance.uniform(0, 0.1))  # before, in or after a send, a record, a claim
                worker.kill()
                if kill == 2:
                    worker.empty_the_broker()
                # at once: the lease of what it had in hand runs out while others are sent
                worker.start()
            ended = time.monotonic() + PATIENCE_S
            while left := Delivery.objects.exclude(state=DeliveryState.SENT).count():
                assert time.monotonic() < ended, left
                time.sleep(0.5)
                # the clock's wake-up, for what was leased when the worker looked last
                if (
                    not worker.waking()
                    and not Delivery.objects.filter(state=DeliveryState.SENDING, lease_until__gt=now()).exists()
                ):
                    worker.wake()
            took = time.monotonic() - began
        finally:
            worker.close()
    letters = Counter(letter["Message-ID"] for letter in sink.letters)
    doubles = sum(times - 1 for times in letters.values())
    told = deliveries_report(at=now())
    with capsys.disabled():
        print(
            f"\n{NUMBER} deliveries, {KILLS} kills -9 after letters {moments} (KILL_SEED={seed}), {took:.0f} s: "
            f"{len(letters)} told, none lost, {doubles} twice; "
            f"reported: {told.interrupted} interrupted, {told.twice} may have come twice"
        )
    assert len(letters) == NUMBER and told.sent == NUMBER
    assert doubles <= told.twice <= told.interrupted <= KILLS
    assert Attempt.objects.filter(went=True).count() == NUMBER
