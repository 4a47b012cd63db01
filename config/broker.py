"""A message broker in a folder, for a shop with one machine: no server, and no message lost when a worker is killed.

A message is a file. Putting writes a `.part` and renames it; getting renames it into `inflight/`; only an acknowledgement
removes it. A worker that starts puts back what its killed predecessor had in flight. One worker a folder (a lock sees to it).
What is no JSON, or has killed its worker too often, is moved to `dead/` and said in the log.
"""

import fcntl
import json
import logging
import os
import time
import uuid
from pathlib import Path
from queue import Empty
from typing import Any, TextIO

from kombu.transport import filesystem, virtual

log = logging.getLogger(__name__)

MOST_DELIVERIES = 5


class FolderTakenError(SystemExit):
    """Another worker reads this folder."""


class FolderBrokenError(OSError):
    """The folder cannot be used; the sentence says why."""


class Folder:
    """The files of the broker. Names are `<wall-clock ns>_<uuid>.<deliveries>.<queue>.msg`, so that sorting is first come first
    served, also across a reboot."""

    _lock: TextIO | None = None  # kept open for the life of the process: closing it would free the lock

    def __init__(self, path: Path | str) -> None:
        self.path = Path(path)
        self.inflight = self.path / "inflight"
        self.dead = self.path / "dead"
        self.make()

    def make(self) -> None:
        """Make the folders that are missing; raise FolderBrokenError with a sentence where they cannot be."""
        for folder in (self.path, self.inflight, self.dead):
            if folder.exists() and not folder.is_dir():
                raise FolderBrokenError(f"{folder} is a file where the broker needs a folder: move it away.")
            try:
                folder.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise FolderBrokenError(f"The broker's folder {folder} cannot be made: {error.strerror}.") from error

    def take(self) -> None:
        """Become the folder's only worker and put back what was in flight; exit with a sentence if there is another."""
        handle = (self.path / "worker.lock").open("a+")
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            handle.close()
            raise FolderTakenError(f"Another worker is already reading {self.path}. One worker a folder.") from None
        Folder._lock = handle
        self.put_back()

    def put(self, queue: str, payload: dict[str, Any]) -> None:
        name = f"{time.time_ns():020d}_{uuid.uuid4().hex}.0.{queue}.msg"
        part = self.path / f"{name}.part"
        part.write_text(json.dumps(payload))
        os.replace(part, self.path / name)

    def get(self, queue: str) -> tuple[Path, dict[str, Any]]:
        """Move the oldest message into flight and return it; raise Empty when there is none."""
        for name in sorted(self._waiting(queue)):
            held = self.inflight / name
            try:
                os.rename(self.path / name, held)
            except FileNotFoundError:  # purged meanwhile, or inflight/ was
                self.make()
                continue
            try:
                payload = json.loads(held.read_bytes())
                payload["properties"]["delivery_tag"], payload["body"]
            except (
                ValueError,
                TypeError,
                KeyError,
                RecursionError,
                OSError,
            ):  # the last: a folder of that name, not to be read
                log.error("a broken message was moved aside: %s", name)
                os.replace(held, self.dead / name)
                continue
            return held, payload
        raise Empty

    def done(self, held: Path) -> None:
        held.unlink(missing_ok=True)

    def give_back(self, held: Path) -> None:
        """Make a message in flight available again, counting the delivery; too many deliveries and it is dead."""
        head, deliveries, queue, _msg = _parts(held.name)
        times = deliveries + 1
        try:
            if times >= MOST_DELIVERIES:
                log.error("a message was delivered %s times without an end and was moved aside: %s", times, held.name)
                os.replace(held, self.dead / held.name)
            else:
                os.replace(held, self.path / f"{head}.{times}.{queue}.msg")
        except FileNotFoundError:
            log.info("already given back: %s", held.name)

    def put_back(self) -> None:
        for held in sorted(self.inflight.glob("*.msg")):
            self.give_back(held)

    def size(self, queue: str) -> int:
        return len(self._waiting(queue))

    def purge(self, queue: str) -> int:
        gone = 0
        for name in self._waiting(queue):
            try:
                (self.path / name).unlink()
                gone += 1
            except FileNotFoundError:
                continue
        return gone

    def _waiting(self, queue: str) -> list[str]:
        try:
            names = os.listdir(self.path)
        except FileNotFoundError:  # cleared away while the program runs: a message is only a wake-up
            self.make()
            return []
        return [name for name in names if name.endswith(".msg") and _parts(name)[2] == queue]


def _parts(name: str) -> tuple[str, int, str, str]:
    """Take a name apart; the queue's own name may hold dots. What is not ours belongs to no queue."""
    head, _, rest = name.partition(".")
    deliveries, _, rest = rest.partition(".")
    queue, _, end = rest.rpartition(".")
    return (head, int(deliveries), queue, end) if deliveries.isdigit() else (head, 0, "", end)


class QoS(virtual.QoS):
    """Tie each message in hand to its file."""

    def ack(self, delivery_tag: str) -> None:
        self.channel.release(delivery_tag)
        super().ack(delivery_tag)

    def reject(self, delivery_tag: str, requeue: bool = False) -> None:
        self.channel.release(delivery_tag, requeue=requeue)
        self._quick_ack(delivery_tag)

    def restore_unacked(self) -> list[Any]:
        """At an orderly stop: put back what was fetched and not done."""
        self._flush()
        for delivery_tag in list(self._delivered):
            self.channel.release(delivery_tag, requeue=True)
        self._delivered.clear()
        return []


class Channel(filesystem.Channel):
    QoS = QoS
    do_restore = True

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._held: dict[str, Path] = {}
        self.folder = Folder(self.transport_options["folder"])

    @property
    def control_folder(self) -> Path:
        return self.folder.path / "control"

    def _put(self, queue: str, payload: dict[str, Any], **kwargs: Any) -> None:  # type: ignore[override]
        self.folder.put(queue, payload)

    def _get(self, queue: str, timeout: float | None = None) -> dict[str, Any]:
        held, payload = self.folder.get(queue)
        self._held[payload["properties"]["delivery_tag"]] = held
        return payload

    def release(self, delivery_tag: str, requeue: bool = False) -> None:
        """Let go of a message in hand: done with, or back into the folder."""
        held = self._held.pop(delivery_tag, None)
        if held is None:
            return
        if requeue:
            self.folder.give_back(held)
        else:
            self.folder.done(held)

    def basic_consume(self, queue: str, no_ack: bool, *args: Any, **kwargs: Any) -> Any:
        if no_ack:
            raise NotImplementedError("This broker has acknowledged messages only.")
        return super().basic_consume(queue, no_ack, *args, **kwargs)

    def _purge(self, queue: str) -> int:
        return self.folder.purge(queue)

    def _size(self, queue: str) -> int:
        return self.folder.size(queue)


class Transport(filesystem.Transport):
    Channel = Channel
    driver_type = driver_name = "folder"
    global_state = virtual.BrokerState()
