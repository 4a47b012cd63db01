"""Keep the web server, the worker and the clock running, and stop them in order. Knows no Django."""

import errno
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field

STOP_AFTER_S = 60.0
BACKOFF_S = (1, 2, 5, 10, 30)
STEADY_S = 60.0  # after running this long, a child's next death is forgiven as the first


@dataclass
class Child:
    """One process to keep running. Children are stopped in the order of `stop_rank`."""

    name: str
    command: list[str]
    stop_rank: int
    env: dict[str, str] = field(default_factory=dict)
    process: subprocess.Popen[bytes] | None = None
    deaths: int = 0
    started: float = 0.0
    again_at: float = field(default=0.0)


def port_taken(host: str, port: int) -> str:
    """Return a sentence if nothing can listen there, else nothing."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host.strip("[]"), port))
        except PermissionError:
            return f"Port {port} may be used by an administrator only. Choose one above 1023: PORT=8765."
        except OSError as error:
            if isinstance(error, socket.gaierror) or error.errno == errno.EADDRNOTAVAIL:
                return f"There is no address {host} on this machine. Leave HOST out, or name one of this machine's addresses."
            return f"Port {port} on {host} is taken by another program. Stop that one, or choose another: PORT={port + 1}."
    return ""


class Supervisor:
    """Start children, restart those that die with a growing pause, and stop them all when told to."""

    def __init__(self, children: list[Child], say: Callable[[str], None], stop_after_s: float = STOP_AFTER_S) -> None:
        self.children = children
        self.say = say
        self.stop_after_s = stop_after_s
        self.stopping = False
        self.hurry = False

    def run(self, ready: Callable[[], None]) -> int:
        """Run until TERM or Ctrl-C; `ready` is called once everything was started. Returns the exit status."""
        for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
            signal.signal(number, self._told)
        for child in self.children:
            self._start(child)
        ready()
        while not self.stopping:
            self._look()
            time.sleep(0.1)
        return self._stop()

    def _told(self, number: int, frame: object) -> None:
        self.hurry = self.stopping  # told a second time: do not wait for anybody
        self.stopping = True

    def _start(self, child: Child) -> None:
        # a session of its own: Ctrl-C reaches this process alone, which then stops the children in order
        environment = {**os.environ, **child.env}
        child.process = subprocess.Popen(child.command, env=environment, start_new_session=True)  # noqa: S603 (our own words)
        child.started = time.monotonic()

    def _look(self) -> None:
        at = time.monotonic()
        for child in self.children:
            if child.process is None:
                if at >= child.again_at:
                    self._start(child)
            elif (status := child.process.poll()) is not None:
                _kill_rest(child.process.pid)
                child.deaths = 0 if at - child.started > STEADY_S else child.deaths
                pause = BACKOFF_S[min(child.deaths, len(BACKOFF_S) - 1)]
                child.deaths += 1
                child.process, child.again_at = None, at + pause
                self.say(f"The {child.name} stopped ({_why(status)}). It starts again in {pause} s.")

    def _stop(self) -> int:
        self.say("Stopping: what is under way may finish first. Once more Ctrl-C stops at once.")
        clean = True
        for child in sorted(self.children, key=lambda c: c.stop_rank):
            if child.process is None or child.process.poll() is not None:
                continue
            child.process.terminate()
            if not self._wait(child.process):
                clean = False
                self.say(f"The {child.name} did not stop in {self.stop_after_s:.0f} s and was ended.")
            _kill_rest(child.process.pid)
            child.process.wait()
        self.say("Stopped.")
        return 0 if clean else 1

    def _wait(self, process: subprocess.Popen[bytes]) -> bool:
        until = time.monotonic() + self.stop_after_s
        while process.poll() is None:
            if self.hurry or time.monotonic() > until:
                return self.hurry
            time.sleep(0.05)
        return True


def _kill_rest(leader: int) -> None:
    """End whatever a child left behind in its session: a killed worker's own children would go on unseen."""
    try:
        os.killpg(leader, signal.SIGKILL)
    except (ProcessLookupError, PermissionError):
        return


def _why(status: int) -> str:
    return f"status {status}" if status >= 0 else f"ended by {signal.Signals(-status).name}"


def python(*arguments: str) -> list[str]:
    """Return a command of this very interpreter."""
    return [sys.executable, *arguments]
