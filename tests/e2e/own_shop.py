"""A shop with a folder, ports and processes of its own, so that a test may start it, stop it and kill it."""

import os
import signal
import sqlite3
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import closing
from pathlib import Path

from tests.company.test_supervisor import free_port
from tests.made_database import made_copy

ROOT = Path(__file__).resolve().parents[2]
WEB = ("-m", "gunicorn", "-c", "python:config.gunicorn", "config.wsgi:application")
PASSWORD = "harrow-lane-9"  # nobody's but this shop's: those of the demo are refused on a network

# As a scanner's Enter does: the text stands in the field, the form is submitted.
SCANNED = """
async (texts) => {
  const field = document.getElementById("code");
  for (const text of texts) {
    field.value = text;
    field.form.requestSubmit();
    await new Promise((done) => setTimeout(done));
  }
}
"""
# How many scans the dock's page has not sent yet.
WAITING = "JSON.parse(localStorage[`kg.queue.${document.getElementById('kit').dataset.person}`] ?? '[]').length"


class OwnShop:
    """A record in a folder of its own, and a web server on it that can be killed and started again."""

    def __init__(self, var: Path) -> None:
        self.var, self.port = var, free_port()
        apart = {"DATABASE_URL", "CELERY_BROKER_URL", "HOST", "SITE_ADDRESS", "LAN_HOST"}
        clean = {name: value for name, value in os.environ.items() if name not in apart}
        self.env = {**clean, "VAR_DIR": str(var), "PORT": str(self.port), "DJANGO_SETTINGS_MODULE": "config.settings"}
        self.web: subprocess.Popen | None = None
        made_copy(var / "knowngood.sqlite3")

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def python(self, script: str) -> str:
        """Run a script in this shop and return what it printed."""
        done = subprocess.run(
            [sys.executable, "-c", f"import django; django.setup()\n{script}"],
            cwd=ROOT,
            env=self.env,
            capture_output=True,
            text=True,
            check=False,
            timeout=180,
        )
        assert done.returncode == 0, done.stdout + done.stderr
        return done.stdout.strip()

    def serve(self) -> None:
        """Start the web server, a session of its own, and wait until it answers."""
        self.begin()
        end = time.monotonic() + 60
        while self.health() != 200:
            assert time.monotonic() < end, self.said()
            time.sleep(0.05)

    def begin(self) -> None:
        """Start the web server and go on at once."""
        with (self.var / "web.log").open("a") as log:
            self.web = subprocess.Popen(
                [sys.executable, *WEB], cwd=ROOT, env=self.env, stdout=log, stderr=log, start_new_session=True
            )

    def kill(self) -> None:
        """End the web server as a dead battery does: it learns of nothing."""
        if self.web is not None and self.web.poll() is None:
            os.killpg(self.web.pid, signal.SIGKILL)
            self.web.wait(20)

    def health(self) -> int:
        try:
            with urllib.request.urlopen(f"{self.url}/health/", timeout=5) as answer:
                return answer.status
        except urllib.error.HTTPError as error:
            return error.code
        except OSError:
            return 0

    def said(self) -> str:
        log = self.var / "web.log"
        return log.read_text() if log.exists() else ""

    def rows(self, question: str, *given: object) -> list[tuple]:
        with closing(sqlite3.connect(self.var / "knowngood.sqlite3", timeout=20)) as db:
            return db.execute(question, given).fetchall()


COMPANY = f"""
from datetime import timedelta
from django.contrib.sessions.backends.db import SessionStore
from django.core.management import call_command
from django.test import Client
from company.clock import now
from company.models import Company
from tests.builders import make_case, make_item, make_person, make_show, make_type

call_command("make_ready", verbosity=0)
at = now()
company = Company.current()
company.name, company.set_up_at = "Saltmarsh Sound", at
company.save()
person = make_person("technician", username="ines", password={PASSWORD!r})
client = Client(headers={{"host": "127.0.0.1"}})
client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
session = client.cookies["knowngood"].value
"""
"""A script's beginning: a company with a technician who has a session; what follows adds gear and prints what it is."""
