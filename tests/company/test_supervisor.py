"""`manage.py start`: serves, restarts what dies, says which port is taken, and stops everything."""

import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from company.net import is_loopback
from company.supervisor import Child, Supervisor, port_taken, python
from tests.made_database import made_copy

ROOT = Path(__file__).resolve().parents[2]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def children_of(pid: int) -> dict[str, int]:
    """Return {first telling word of the command: pid} of the direct children."""
    found = {}
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        try:
            status, line = (entry / "status").read_text(), (entry / "cmdline").read_bytes().decode().split("\0")
        except (FileNotFoundError, ProcessLookupError):
            continue
        if f"PPid:\t{pid}\n" in status:
            name = next((w for w in ("gunicorn", "worker", "beat") if w in line), None)
            if name:
                found[name] = int(entry.name)
    return found


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


def until(condition, seconds=90.0):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if result := condition():
            return result
        time.sleep(0.1)
    raise AssertionError("it did not happen in time")


class Started:
    """A real `manage.py start` in a folder of its own."""

    def __init__(self, var: Path, *arguments: str, **environment: str) -> None:
        self.port = int(environment.get("PORT") or free_port())
        self.log = (var / "log").open("w+")
        clean = {k: v for k, v in os.environ.items() if k not in {"DATABASE_URL", "CELERY_BROKER_URL", "HOST"}}
        self.process = subprocess.Popen(
            [sys.executable, "manage.py", "start", *arguments],
            cwd=ROOT,
            env={**clean, "VAR_DIR": str(var), "PORT": str(self.port), **environment},
            stdout=self.log,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )

    def said(self) -> str:
        self.log.flush()
        return Path(self.log.name).read_text()

    def health(self) -> int:
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{self.port}/health/", timeout=5) as answer:
                return answer.status
        except OSError:
            return 0

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGTERM)
            try:
                self.process.wait(70)
            except subprocess.TimeoutExpired:
                self.process.kill()
        self.log.close()


@pytest.fixture
def start(tmp_path):
    running = []

    def begin(*arguments, **environment):
        running.append(Started(tmp_path, *arguments, **environment))
        return running[-1]

    yield begin
    for one in running:
        one.close()


def test_start_serves_restarts_a_killed_worker_and_stops_everything(start, tmp_path):
    made_copy(tmp_path / "knowngood.sqlite3")  # migrating from nothing takes half a minute
    one = start()
    until(lambda: one.health() == 200)
    said = one.said()
    assert f"http://127.0.0.1:{one.port}/" in said and re.search(r"one-time password \w{4}-\w{4}-\w{4}", said)
    first = until(lambda: (c := children_of(one.process.pid)) and len(c) == 3 and c)

    os.kill(first["worker"], signal.SIGKILL)
    again = until(lambda: (w := children_of(one.process.pid).get("worker")) and w != first["worker"] and w)
    assert "worker stopped (ended by SIGKILL). It starts again in 1 s." in one.said()
    assert one.health() == 200

    one.process.send_signal(signal.SIGTERM)
    assert one.process.wait(70) == 0
    assert not any(alive(pid) for pid in [*first.values(), again])
    assert one.health() == 0 and "Stopped." in one.said()


def test_second_start_says_which_port_is_taken(start, tmp_path):
    with socket.socket() as holder:
        holder.bind(("127.0.0.1", 0))
        holder.listen()
        port = holder.getsockname()[1]
        one = start(PORT=str(port))
        assert one.process.wait(60) != 0
    said = one.said()
    assert f"Port {port} on 127.0.0.1 is taken" in said and "Traceback" not in said
    assert not (tmp_path / "knowngood.sqlite3").exists(), "nothing was touched"


def test_demo_is_not_served_beyond_this_machine(start, tmp_path):
    made_copy(tmp_path / "knowngood.sqlite3")
    made = subprocess.run(
        [
            sys.executable,
            "-c",
            "import django; django.setup()\n"
            "from django.core.management import call_command; call_command('migrate', verbosity=0)\n"
            "from company.models import Company, Person\n"
            "from company.clock import today\n"
            "c = Company.current(); c.is_demo, c.demo_dated = True, today(); c.save()\n"
            "Person.objects.create_user('owner', password='saltmarsh', role='owner')",
        ],
        cwd=ROOT,
        env={
            **{k: v for k, v in os.environ.items() if k != "DATABASE_URL"},
            "VAR_DIR": str(tmp_path),
            "DJANGO_SETTINGS_MODULE": "config.settings",
        },
        check=False,
        capture_output=True,
        text=True,
    )
    assert made.returncode == 0, made.stderr
    one = start(HOST="0.0.0.0")
    assert one.process.wait(60) != 0
    assert "listens on this machine alone" in one.said() and "Traceback" not in one.said()


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.7", "::1", "[::1]", "localhost"])
def test_loopback_is_this_machine(host):
    assert is_loopback(host)


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.4", "shop.example.org", ""])
def test_everything_else_is_not(host):
    assert not is_loopback(host)


def test_address_that_is_not_ours_is_said():
    assert "no address 203.0.113.9" in port_taken("203.0.113.9", free_port())
    assert "no address nowhere.invalid" in port_taken("nowhere.invalid", 8000)
    assert port_taken("127.0.0.1", free_port()) == ""


def test_children_stop_in_order_and_get_time_to_finish(tmp_path):
    order = tmp_path / "order"
    script = (
        "import signal, sys, time\n"
        "def end(*_):\n"
        "    time.sleep(float(sys.argv[2])); open(sys.argv[3], 'a').write(sys.argv[1] + ' '); sys.exit(0)\n"
        "signal.signal(signal.SIGTERM, end)\n"
        "print('up', flush=True)\n"
        "while True: time.sleep(0.05)\n"
    )
    names = [("web", 2, "0"), ("worker", 3, "1.0"), ("clock", 1, "0")]
    children = [
        Child(name=name, command=python("-c", script, name, pause, str(order)), stop_rank=rank) for name, rank, pause in names
    ]
    supervisor = Supervisor(children, say=lambda _: None, stop_after_s=20)
    for child in children:
        supervisor._start(child)
    time.sleep(1)
    assert supervisor._stop() == 0
    assert order.read_text().split() == ["clock", "web", "worker"]


def test_child_that_will_not_stop_is_ended_and_said():
    deaf = "import signal, time\nsignal.signal(signal.SIGTERM, signal.SIG_IGN)\nwhile True: time.sleep(0.05)"
    said: list[str] = []
    child = Child(name="worker", command=python("-c", deaf), stop_rank=1)
    supervisor = Supervisor([child], say=said.append, stop_after_s=0.5)
    supervisor._start(child)
    time.sleep(0.7)
    assert supervisor._stop() == 1
    assert any("did not stop" in s for s in said) and not alive(child.process.pid)


def test_child_that_keeps_dying_is_restarted_with_growing_pauses(monkeypatch):
    said: list[str] = []
    monkeypatch.setattr("company.supervisor.BACKOFF_S", (0.0, 0.1, 0.2))
    child = Child(name="worker", command=python("-c", "raise SystemExit(3)"), stop_rank=1)
    supervisor = Supervisor([child], say=said.append)
    supervisor._start(child)

    def three_deaths():
        supervisor._look()
        return len(said) >= 3

    until(three_deaths)
    assert "status 3" in said[0] and [s.rpartition("in ")[2] for s in said[:3]] == ["0.0 s.", "0.1 s.", "0.2 s."]
    supervisor._stop()
