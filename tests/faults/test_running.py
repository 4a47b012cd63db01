"""What goes wrong with broker, database, clock, mail server: a sentence in the log and on the status page, nothing lost."""

import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest
from kombu.exceptions import OperationalError as BrokerError

from company.clock import now
from company.jobs import job_start
from company.models import Job
from company.registries import JOBS
from company.running import broker_line, folder_problem
from config.broker import Folder
from tests.made_database import made_copy

ROOT = Path(__file__).resolve().parents[2]
WORKER = ("worker", "-c", "1", "--loglevel", "WARNING", "--without-gossip", "--without-mingle", "--without-heartbeat")
BEAT = ("beat", "--loglevel", "WARNING", "--pidfile=")


class Shop:
    """A database and a folder of its own, and real workers and clocks on them."""

    def __init__(self, var: Path) -> None:
        self.var = var
        clean = {k: v for k, v in os.environ.items() if k not in {"DATABASE_URL", "CELERY_BROKER_URL"}}
        self.env = {**clean, "VAR_DIR": str(var), "DJANGO_SETTINGS_MODULE": "config.settings"}
        self.running: list[subprocess.Popen] = []

    def python(self, script: str, **env: str) -> str:
        script = "import django; django.setup()\n" + script
        done = subprocess.run(
            [sys.executable, "-c", script],
            cwd=ROOT,
            env=self.env | env,
            capture_output=True,
            text=True,
            check=False,
            timeout=120,
        )
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    def migrate(self) -> None:
        made_copy(self.var / "knowngood.sqlite3")  # where there is one, little is left to do
        self.python("from django.core.management import call_command; call_command('migrate', verbosity=0)")

    def job(self, times: int = 1) -> None:
        script = "from company.jobs import job_start; from company.clock import now\n"
        self.python(
            script + f"for n in range({times}): job_start(kind='retest dates', title='x', given={{}}, person=None, at=now())"
        )

    def jobs(self) -> list[tuple[str, int]]:
        with closing(sqlite3.connect(self.var / "knowngood.sqlite3", timeout=20)) as db:
            return db.execute("select state, tries from company_job order by id").fetchall()

    def run(self, log: str, *words: str, script: str = "", **env: str) -> subprocess.Popen:
        command = ["-c", script] if script else ["-m", "celery", "--quiet", "-A", "config", *words]
        with (self.var / log).open("a") as file:
            one = subprocess.Popen(
                [sys.executable, *command], cwd=ROOT, env=self.env | env, stdout=file, stderr=file, start_new_session=True
            )
        self.running.append(one)
        return one

    def said(self, log: str) -> str:
        return (self.var / log).read_text() if (self.var / log).exists() else ""

    def close(self) -> None:
        for one in self.running:
            if one.poll() is None:
                os.killpg(one.pid, signal.SIGKILL)
                one.wait(20)


@pytest.fixture
def shop(tmp_path):
    one = Shop(tmp_path)
    yield one
    one.close()
    for log in sorted(tmp_path.glob("*.log")):
        print(f"---- {log.name}\n{log.read_text()}")  # shown where the test failed


def until(condition, seconds=90.0):
    """Wait for what is to happen. How fast is not asked: a worker takes half a minute to start where five other programs do."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if result := condition():
            return result
        time.sleep(0.2)
    raise AssertionError("it did not happen in time")


# the settings' own clock, made faster: what is asked every 30 s is asked every second
FAST_BEAT = """
import sys
from config.celery import app
app.conf.beat_schedule = {
    name: {**entry, "schedule": 0.5} for name, entry in app.conf.beat_schedule.items() if entry["task"] == "company.tasks.tick"
}
app.conf.beat_max_loop_interval = 0.5
app.start(["--quiet", "beat", "--loglevel", "WARNING", "--pidfile="])
"""


def test_two_clocks_by_accident_do_no_harm(shop):
    shop.migrate()
    shop.job(6)
    for message in (shop.var / "broker").glob("*.msg"):
        message.unlink()  # the clocks alone bring the work
    shop.run("worker.log", *WORKER)
    for n in (1, 2):
        shop.run(f"beat{n}.log", script=FAST_BEAT)
    until(lambda: {state for state, _ in shop.jobs()} == {"done"})
    time.sleep(4)
    assert shop.jobs() == [("done", 1)] * 6, "each once"
    for log in ("worker.log", "beat1.log", "beat2.log"):
        assert "Traceback" not in shop.said(log) and "ERROR" not in shop.said(log), shop.said(log)
    assert all(one.poll() is None for one in shop.running)
    assert shop.python("from company.models import Pulse; print(sorted(Pulse.objects.values_list('name', flat=True)))") == (
        "['clock', 'worker']"
    )


def test_a_second_clock_is_noticed_and_said_once(shop):
    shop.migrate()
    script = """
import time
from datetime import timedelta
from company import pulses
from company.clock import now
mine, other = pulses.ClockPulse(), pulses.ClockPulse()
beats = pulses.Beats.read()
def at(s): return pulses.Beats(boot=beats.boot, awake_s=beats.awake_s + s, since_boot_s=beats.since_boot_s + s)
mine.put(at(0)); mine.last_s = 1
mine.put(at(30))
assert not mine.other_said
pulses.pulse_write(name="clock", at=now(), beats=at(31), started_at=now() - timedelta(hours=1))
mine.put(at(60)); mine.put(at(90))
assert mine.other_said
"""
    shop.python(script)


@pytest.mark.parametrize("broken", ["file", "file inside", "read-only"])
def test_a_broken_folder_is_one_sentence_and_loses_nothing(shop, broken):
    shop.migrate()
    folder = shop.var / "broker"
    if folder.exists():
        for part in sorted(folder.rglob("*"), reverse=True):
            part.rmdir() if part.is_dir() else part.unlink()
        folder.rmdir()
    if broken == "file":
        folder.write_text("not a folder")
    elif broken == "file inside":
        folder.mkdir()
        (folder / "inflight").write_text("not a folder")
    else:
        shop.var.joinpath("outer").write_text("x")
        folder.symlink_to(shop.var / "outer" / "inner")  # can never be made
    assert folder_problem(folder).endswith(("move it away.", ".")) and "broker" in folder_problem(folder)
    script = (
        "from company.jobs import job_start; from company.clock import now; from company.models import Job\n"
        "job_start(kind='retest dates', title='x', given={}, person=None, at=now())\n"
        "print(Job.objects.get().state)"
    )
    assert shop.python(script) == "queued", "the page that asked for it never noticed"
    worker = shop.run("worker.log", *WORKER)
    assert worker.wait(60) != 0
    said = shop.said("worker.log")
    assert said.count("The worker cannot start:") == 1 and "Traceback" not in said, said
    shop.run("beat.log", script=FAST_BEAT)
    until(lambda: "takes no message" in shop.said("beat.log"))
    time.sleep(3)
    said = shop.said("beat.log")
    assert said.count("takes no message") == 1 and "Traceback" not in said, said

    folder.unlink() if folder.is_symlink() or folder.is_file() else (folder / "inflight").unlink()
    shop.run("worker.log", *WORKER)
    until(lambda: shop.jobs() == [("done", 1)])
    assert "takes messages again" in shop.said("beat.log")


def test_garbage_in_the_folder_is_moved_aside_and_the_worker_works_on(shop):
    shop.migrate()
    shop.job()
    folder = shop.var / "broker"
    garbage = {
        "00_a.0.celery.msg": b"",
        "00_b.0.celery.msg": b"\x00\xff",
        "00_c.0.celery.msg": b"[]",
        "00_d.0.celery.msg": b'{"body": 1}',
        "00_e.x.celery.msg": b"{}",
        "readme.txt": b"hello",
    }
    for name, content in garbage.items():
        (folder / name).write_bytes(content)
    (folder / "00_f.0.celery.msg").mkdir()
    shop.run("worker.log", *WORKER)
    until(lambda: shop.jobs() == [("done", 1)])
    assert "moved aside" in shop.said("worker.log") and "Traceback" not in shop.said("worker.log")
    assert len(list((folder / "dead").iterdir())) == 5
    assert shop.running[0].poll() is None


def test_emptied_and_removed_folders_are_made_anew(tmp_path):
    folder = Folder(tmp_path / "broker")
    folder.put("celery", {"body": "", "properties": {"delivery_tag": "1"}})
    for part in sorted(folder.path.rglob("*"), reverse=True):
        part.rmdir() if part.is_dir() else part.unlink()
    folder.path.rmdir()
    assert folder.size("celery") == 0 and folder.inflight.is_dir()


def test_a_database_locked_for_long_is_one_sentence_and_the_work_is_done_after(shop):
    shop.migrate()
    shop.job()
    db = shop.var / "knowngood.sqlite3"
    # the wait of twenty seconds, made short: the lock is held for three such waits
    quick = (
        "import config.env as env\nreal = env._sqlite\n"
        "def short(path):\n    found = real(path); found['OPTIONS']['timeout'] = 1; return found\n"
        "env._sqlite = short\n"
    )
    with closing(sqlite3.connect(db, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        work = "from config.celery import app\napp.start(['--quiet', *sys.argv_])"
        worker = quick + "import sys\nsys.argv_ = " + repr(list(WORKER)) + "\n" + work
        shop.run("worker.log", script=worker)
        shop.run("beat.log", script=quick + FAST_BEAT)
        until(lambda: "The database did not answer" in shop.said("worker.log"))
        time.sleep(3)
        other.execute("ROLLBACK")
    until(lambda: shop.jobs() == [("done", 1)], 90)
    said = shop.said("worker.log") + shop.said("beat.log")
    assert "Traceback" not in said, said
    assert all(one.poll() is None for one in shop.running)


@pytest.mark.django_db(transaction=True)
def test_a_broker_that_is_down_spoils_no_page_and_is_one_sentence(company, monkeypatch, settings, caplog):
    def down(*_args, **_kw):
        raise BrokerError("Error 111 connecting to 127.0.0.1:1. Connection refused.")

    monkeypatch.setitem(JOBS._entries, "fine", (1, lambda job: None))
    monkeypatch.setattr("company.tasks.job_wake.delay", down)
    job = job_start(kind="fine", title="x", given={}, person=None, at=now())
    assert Job.objects.get(pk=job.pk).state == "queued"
    assert sum("took no wake-up" in r.getMessage() for r in caplog.records) == 1
    assert not any(r.exc_info for r in caplog.records)
    settings.CELERY_BROKER_URL = "redis://127.0.0.1:1/0"
    line = broker_line()
    assert line.well is False and "Redis does not answer" in line.says and "Nothing is lost" in line.says


def test_a_clock_and_a_worker_start_without_redis_and_say_so(shop):
    shop.migrate()
    beat = shop.run("beat.log", script=FAST_BEAT, CELERY_BROKER_URL="redis://127.0.0.1:1/0")
    worker = shop.run("worker.log", *WORKER, CELERY_BROKER_URL="redis://127.0.0.1:1/0")
    until(lambda: "takes no message" in shop.said("beat.log"))
    until(lambda: "Cannot connect" in shop.said("worker.log"))
    time.sleep(3)
    assert shop.said("beat.log").count("takes no message") == 1
    assert "Traceback" not in shop.said("beat.log") + shop.said("worker.log")
    assert beat.poll() is None and worker.poll() is None


def test_a_mail_server_that_is_down_keeps_nothing_from_starting(shop):
    env = {"SMTP_HOST": "127.0.0.1", "SMTP_PORT": "1", "SMTP_SECURITY": "none", "MAIL_FROM": "gear@example.org"}
    shop.migrate()
    shop.job()
    shop.run("worker.log", *WORKER, **env)
    until(lambda: shop.jobs() == [("done", 1)])
    assert "Traceback" not in shop.said("worker.log")
