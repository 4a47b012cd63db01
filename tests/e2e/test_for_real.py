"""The program as a grown shop runs it: PostgreSQL and Redis, two web and two worker processes, one clock, a real browser.

Started by DATABASE_URL and CELERY_BROKER_URL; without them it is skipped, unless KG_REQUIRE_REAL=1 makes that fail.
"""

import os
import re
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from urllib.parse import urlsplit

import psycopg
import pytest
import redis
from playwright.sync_api import expect

from tests.company.test_supervisor import free_port, until
from tests.e2e.test_dock import opened, type_scan
from tests.e2e.test_main_job import sign_in
from tests.maintenance.mail_sink import MailSink

ROOT = Path(__file__).resolve().parents[2]
WORKER = ("-m", "celery", "--quiet", "-A", "config", "worker", "-c", "1", "--loglevel", "INFO", "--without-gossip")

BEAT = ("-m", "celery", "--quiet", "-A", "config", "beat", "--loglevel", "WARNING", "--pidfile=")

# one technician, one show that has loaded in, one thing to scan, labels that take a while to draw
COMPANY = """
import django; django.setup()
from datetime import timedelta
from company.clock import now
from company.models import Company
from tests.builders import make_item, make_person, make_show
at = now()
company = Company.current(); company.set_up_at = at; company.save()
person = make_person("technician", username="technician", email="technician@example.org")
person.set_password("saltmarsh"); person.save()
show = make_show(load_in=at - timedelta(hours=1), name="Harvest ceilidh")
item = make_item(name="A")
for n in range(300):
    make_item(type=item.type, name=str(n))
print(show.pk, item.code, item.type.pk)
"""


# a show that is over, with one thing that never came home; whom it concerns has an address
AWAY = """
import django; django.setup()
from datetime import timedelta
from company.clock import now
from company.models import Company
from shows.services.scans import scans_record
from tests.builders import make_item, make_person, make_show
at = now()
company = Company.current(); company.set_up_at = at; company.save()
person = make_person("technician", username="technician", email="technician@example.org")
person.set_password("saltmarsh"); person.save()
show = make_show(load_in=at - timedelta(hours=12), name="Chapel supper")
item = make_item(name="A")
out = at - timedelta(hours=11)
scan = {"id": "00000000-0000-4000-8000-000000000001", "code": item.code, "action": "out", "show": show.pk}
scans_record(actor=person, device="dock", sent_at=None, scans=[scan | {"happened_at": out.isoformat()}], received_at=out)
print(show.pk, item.code)
"""


class Real:
    """A database, a broker and processes of its own."""

    def __init__(self, var: Path, database: str, broker: str) -> None:
        self.var, self.port, self.database = var, free_port(), database
        self.env = os.environ | {
            "VAR_DIR": str(var), "DATABASE_URL": database, "CELERY_BROKER_URL": broker,
            "DJANGO_SETTINGS_MODULE": "config.settings",
            "HOST": "127.0.0.1", "PORT": str(self.port), "WEB_WORKERS": "2", "LOG_FORMAT": "json", "LOG_LEVEL": "info",
            "SITE_ADDRESS": f"http://127.0.0.1:{self.port}",
        }  # fmt: skip
        self.running: dict[str, subprocess.Popen] = {}

    def python(self, *words: str) -> str:
        done = subprocess.run(
            [sys.executable, *words], cwd=ROOT, env=self.env, capture_output=True, text=True, check=False, timeout=120
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout

    def run(self, name: str, *words: str) -> None:
        with (self.var / f"{name}.log").open("a") as log:
            self.running[name] = subprocess.Popen(
                [sys.executable, *words], cwd=ROOT, env=self.env, stdout=log, stderr=log, start_new_session=True
            )

    def said(self, name: str) -> str:
        return (self.var / f"{name}.log").read_text()

    def ask(self, path: str) -> tuple[int, str]:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}{path}", timeout=5) as answer:
                return answer.status, answer.read().decode()
        except urllib.error.HTTPError as error:
            return error.code, error.read().decode()
        except OSError:
            return 0, ""

    def rows(self, question: str) -> list[tuple]:
        with psycopg.connect(self.database) as db:
            return db.execute(question).fetchall()

    def stop(self, name: str, number: int) -> None:
        one = self.running.pop(name)
        if one.poll() is None:
            if number == signal.SIGKILL:
                os.killpg(one.pid, number)
            else:
                one.send_signal(number)
            one.wait(60)

    def close(self) -> None:
        for name in list(self.running):
            self.stop(name, signal.SIGKILL)


@pytest.fixture
def real(tmp_path):
    database, broker = os.environ.get("DATABASE_URL", ""), os.environ.get("CELERY_BROKER_URL", "")
    if not (database.startswith("postgres") and broker.startswith("redis")):
        if os.environ.get("KG_REQUIRE_REAL") == "1":
            pytest.fail("KG_REQUIRE_REAL=1 needs DATABASE_URL and CELERY_BROKER_URL.")
        pytest.skip("DATABASE_URL and CELERY_BROKER_URL name no PostgreSQL and Redis.")
    name = f"kg_real_{os.getpid()}"
    with psycopg.connect(database, autocommit=True) as db:
        db.execute(f"CREATE DATABASE {name}")
    redis.Redis.from_url(broker).flushdb()
    one = Real(tmp_path, urlsplit(database)._replace(path=f"/{name}").geturl(), broker)
    try:
        yield one
    finally:
        one.close()
        redis.Redis.from_url(broker).flushdb()
        with psycopg.connect(database, autocommit=True) as db:
            db.execute(f"DROP DATABASE {name} WITH (FORCE)")


def test_an_alert_is_raised_mailed_once_by_two_workers_and_closes_when_its_cause_is_gone(real, chromium):
    """Two workers, and two clocks by accident: one alert, one letter; the scan back closes it, and the inbox says so."""
    with MailSink() as sink:
        real.env |= {"SMTP_HOST": "127.0.0.1", "SMTP_PORT": str(sink.port), "MAIL_FROM": "gear@example.org"}
        real.env |= {"SMTP_SECURITY": "none"}
        real.python("manage.py", "make_ready")
        _show, code = real.python("-c", AWAY).split()
        for n in (1, 2):
            real.run(f"beat{n}", *BEAT, "-s", str(real.var / f"schedule{n}"))
            real.run(f"worker{n}", *WORKER, "--hostname", f"worker-{n}@%h")
        real.run("web", "-m", "gunicorn", "-c", "python:config.gunicorn", "config.wsgi:application")
        until(lambda: real.ask("/health/")[0] == 200)

        def wake() -> None:
            """Wake the worker as two clocks would."""
            twice = "t.alerts_due.delay(); t.deliveries_due.delay()\n" * 2
            real.python("-c", f"import django; django.setup()\nfrom maintenance import tasks as t\n{twice}")

        wake()
        until(lambda: len(sink.letters) == 1, 60)
        assert "not home from Chapel supper" in sink.letters[0]["subject"]
        assert sink.letters[0]["to"] == "technician@example.org"
        wake()

        context = chromium.new_context(base_url=f"http://127.0.0.1:{real.port}", viewport={"width": 390, "height": 844})
        page = context.new_page()
        page.set_default_timeout(20_000)
        sign_in(page, "technician")
        page.goto("/alerts/")
        expect(page.get_by_role("main")).to_contain_text("not home from Chapel supper")
        page.goto(f"/a/{code}/scan?way=back")
        page.get_by_role("button", name="Back", exact=True).click()
        page.wait_for_url("**/dock/**")
        real.python("manage.py", "alerts_run")  # the clock asks each rule every few minutes
        closed = "select closed_how from maintenance_alert where rule = 'not-home' and closed_at is not null"
        until(lambda: real.rows(closed) == [("gone",)], 30)
        assert real.rows("select count(*) from maintenance_alert where rule = 'not-home'") == [(1,)]
        page.goto("/alerts/")
        expect(page.get_by_role("main")).to_contain_text("It is all home")
        context.close()
        assert len([one for one in sink.letters if "not home" in one["subject"]]) == 1


def test_scan_out_labels_in_a_job_and_a_worker_killed_under_way(real, chromium):
    real.python("manage.py", "make_ready")
    show, code, gear_type = real.python("-c", COMPANY).split()
    real.run("beat", *BEAT)
    for n in (1, 2):
        real.run(f"worker{n}", *WORKER, "--hostname", f"worker-{n}@%h")
    real.run("web", "-m", "gunicorn", "-c", "python:config.gunicorn", "config.wsgi:application")
    until(lambda: real.ask("/health/")[0] == 200)
    context = chromium.new_context(base_url=f"http://127.0.0.1:{real.port}", viewport={"width": 390, "height": 844})
    page = context.new_page()
    page.set_default_timeout(20_000)

    sign_in(page, "technician")
    opened(page, f"/dock/?show={show}")
    type_scan(page, code)
    expect(page.locator("#hit")).to_have_attribute("data-signal", "fine")
    assert real.rows("select count(*) from shows_checkout where closed_at is null") == [(1,)]

    # labels too many for a page: a job, whose page shows how far it is; the worker that draws them is killed
    page.goto(f"/labels/?what=type&type={gear_type}")
    page.get_by_role("button", name=re.compile("^Print")).click()
    page.wait_for_url("**/jobs/*/")
    drawing = "select count(*) from company_job where kind = 'labels' and state = 'running' and done > 0"
    until(lambda: real.rows(drawing) == [(1,)], 30)
    killed = next(n for n in (1, 2) if "company.tasks.job_wake" in real.said(f"worker{n}"))
    real.stop(f"worker{killed}", signal.SIGKILL)
    assert real.rows("select state from company_job where kind = 'labels'") == [("running",)], "killed under way"
    # the minute its lease still has to run is not waited for
    with psycopg.connect(real.database) as db:
        db.execute("update company_job set lease_until = now() - interval '1 second' where kind = 'labels'")
    expect(page.get_by_role("main")).to_contain_text(re.compile("done", re.IGNORECASE), timeout=60_000)
    assert real.rows("select state, tries from company_job where kind = 'labels'") == [("done", 2)]

    # two web processes answer, and their figures are added up
    until(lambda: real.ask("/ready/")[0] == 200)
    status, text = real.ask("/metrics/")
    assert status == 200 and 'knowngood_jobs{state="running"} 0.0' in text
    asked = int(float(re.search(r'requests_total\{method="GET",route="health",status="200"\} (\S+)', text)[1]))
    for _ in range(20):
        real.ask("/health/")
    text = real.ask("/metrics/")[1]
    assert int(float(re.search(r'requests_total\{method="GET",route="health",status="200"\} (\S+)', text)[1])) == asked + 20
    assert len(list((real.var / "metrics").glob("counter_*.db"))) == 2

    # the worker's line names the request that asked for the work
    asked_by = re.search(r'"request_id": "([0-9a-f]{32})", .*"task": "company.tasks.job_wake"', real.said(f"worker{killed}"))
    if asked_by:
        assert asked_by[1] in real.said("web")
    for name in ("web", "beat", f"worker{3 - killed}"):
        assert "Traceback" not in real.said(name), real.said(name)[-3000:]
    context.close()
    for name in ("beat", "web", f"worker{3 - killed}"):
        began = time.monotonic()
        one = real.running[name]
        real.stop(name, signal.SIGTERM)
        assert one.returncode == 0 and time.monotonic() - began < 40, name
