"""Kill the worker in the middle of its work, with the real broker, and lose nothing."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.made_database import made_copy

ROOT = Path(__file__).resolve().parents[2]
NUMBER = 120

# What the killed worker runs: a celery program of its own on our broker, whose task leaves a file a number.
PROGRAM = """
import sys, time
from pathlib import Path
from celery import Celery
from kombu.transport import TRANSPORT_ALIASES

TRANSPORT_ALIASES["folder"] = "config.broker:Transport"
here = Path(sys.argv[0]).resolve().parent if __name__ == "__main__" else Path(__file__).resolve().parent
app = Celery("killed", broker="folder://here")
app.conf.update(
    broker_transport_options={"folder": str(here / "broker"), "polling_interval": 0.02},
    task_acks_late=True, task_reject_on_worker_lost=True, worker_prefetch_multiplier=1, task_ignore_result=True,
    worker_enable_remote_control=False, broker_connection_retry_on_startup=True,
)

from celery.signals import worker_init

@worker_init.connect
def take(**_):
    from config.broker import Folder
    Folder(here / "broker").take()

@app.task
def leave(number):
    time.sleep(0.01)
    with (here / "done" / str(number)).open("a") as file:
        file.write("x")
"""


class Killed:
    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "done").mkdir()
        (folder / "killed.py").write_text(PROGRAM)
        # the folder is what is tried here, whatever the suite itself runs on
        env = {k: v for k, v in os.environ.items() if k not in {"DATABASE_URL", "CELERY_BROKER_URL"}}
        self.env = {**env, "PYTHONPATH": f"{folder}{os.pathsep}{ROOT}", "DJANGO_SETTINGS_MODULE": "config.settings"}
        self.process: subprocess.Popen[bytes] | None = None

    def send(self, number: int) -> None:
        script = f"from killed import leave\nfor n in range({number}): leave.delay(n)"
        subprocess.run([sys.executable, "-c", script], env=self.env, cwd=self.folder, check=True, timeout=120)

    def work(self) -> None:
        command = [sys.executable, "-m", "celery", "--quiet", "-A", "killed", "worker", "-c", "1", "--loglevel", "ERROR"]
        command += ["--without-gossip", "--without-mingle", "--without-heartbeat"]
        self.process = subprocess.Popen(command, env=self.env, cwd=self.folder, start_new_session=True)

    def stop(self, number: int) -> None:
        if self.process is not None and self.process.poll() is None:
            if number == signal.SIGKILL:
                os.killpg(self.process.pid, number)
            else:
                self.process.send_signal(number)
            self.process.wait(60)
        self.process = None

    def done(self) -> int:
        return len(list((self.folder / "done").iterdir()))

    def wait(self, number: int, seconds: float = 120) -> None:
        end = time.monotonic() + seconds
        while self.done() < number and time.monotonic() < end:
            time.sleep(0.02)


@pytest.fixture
def killed(tmp_path):
    one = Killed(tmp_path)
    yield one
    one.stop(signal.SIGKILL)


def test_worker_killed_again_and_again_loses_no_message(killed):
    killed.send(NUMBER)
    for stop_at in (20, 60):
        killed.work()
        killed.wait(stop_at)
        killed.stop(signal.SIGKILL)
        assert killed.done() < NUMBER, "killed in the middle, or the test proves nothing"
    killed.work()
    killed.wait(NUMBER)
    assert killed.done() == NUMBER
    twice = [f.name for f in (killed.folder / "done").iterdir() if f.read_text() != "x"]
    assert len(twice) <= 2, f"at most what was in hand is done twice: {twice}"
    time.sleep(1)
    assert not list((killed.folder / "broker").glob("*.msg")) and not list((killed.folder / "broker/inflight").iterdir())


def test_worker_told_to_stop_puts_back_what_it_had_not_begun(killed):
    killed.send(NUMBER)
    killed.work()
    killed.wait(20)
    killed.stop(signal.SIGTERM)
    left = len(list((killed.folder / "broker").glob("*.msg")))
    assert killed.done() + left == NUMBER and left > 0
    assert not list((killed.folder / "broker/inflight").iterdir())


JOBS = """
import os, sys, time
import django
django.setup()
from company.clock import now
from company.jobs import job_run, jobs_left_over, job_start
from company.models import Job
from company.registries import JOBS

def slow(job):
    if job.given.get("die") and job.tries == 1:
        os.kill(os.getpid(), 9)
    time.sleep(0.01)

JOBS.add("slow", slow)
"""


def run_python(script: str, var: Path) -> subprocess.CompletedProcess[str]:
    env = {k: v for k, v in os.environ.items() if k not in {"DATABASE_URL", "CELERY_BROKER_URL"}}
    env |= {"VAR_DIR": str(var), "DJANGO_SETTINGS_MODULE": "config.settings"}
    return subprocess.run([sys.executable, "-c", JOBS + script], cwd=ROOT, env=env, capture_output=True, text=True, check=False)


def test_emptying_the_folder_and_killing_the_worker_lose_no_job(tmp_path):
    """Messages are wake-ups: with every one of them gone, and a worker killed inside a job, the tick finds all the work."""
    made_copy(tmp_path / "knowngood.sqlite3")
    migrate = "from django.core.management import call_command; call_command('migrate', verbosity=0)\n"
    made = run_python(
        migrate + "for n in range(6): job_start(kind='slow', title='x', given={'die': n == 2}, person=None, at=now())", tmp_path
    )
    assert made.returncode == 0, made.stderr
    messages = list((tmp_path / "broker").glob("*.msg"))
    assert len(messages) == 6, "each job sent one wake-up"
    for message in messages:
        message.unlink()

    take = "for j in jobs_left_over(now()): job_run(j)\n"
    first = run_python(take, tmp_path)
    assert first.returncode == -signal.SIGKILL
    second = run_python(take, tmp_path)
    assert second.returncode == 0, second.stderr
    expire = "Job.objects.filter(state='running').update(lease_until='2020-01-01T00:00:00Z')\n"
    state = "print(sorted(Job.objects.values_list('state', 'tries')))"
    third = run_python(expire + take + state, tmp_path)
    assert third.stdout.strip() == str(sorted([("done", 1)] * 5 + [("done", 2)])), third.stdout + third.stderr
