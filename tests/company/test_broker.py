"""The broker in a folder: first come first served, nothing lost, and nothing bad stops it."""

import json
from queue import Empty

import pytest
from kombu import Connection, Exchange, Queue
from kombu.transport import TRANSPORT_ALIASES

from config.broker import MOST_DELIVERIES, Folder, FolderTakenError


@pytest.fixture
def folder(tmp_path):
    yield Folder(tmp_path / "broker")
    if Folder._lock is not None:
        Folder._lock.close()
        Folder._lock = None


def message(number: int) -> dict:
    return {"body": str(number), "properties": {"delivery_tag": str(number)}}


def body(got) -> str:
    return got[1]["body"]


def test_messages_come_in_order_and_an_acknowledged_one_is_gone(folder):
    for number in range(5):
        folder.put("celery", message(number))
    assert folder.size("celery") == 5
    seen = []
    for _ in range(5):
        held, payload = folder.get("celery")
        seen.append(payload["body"])
        folder.done(held)
    assert seen == list("01234") and not list(folder.inflight.iterdir())
    with pytest.raises(Empty):
        folder.get("celery")


def test_message_in_hand_is_on_disk_until_it_is_acknowledged(folder):
    folder.put("celery", message(1))
    held, _ = folder.get("celery")
    assert held.exists() and held.parent == folder.inflight
    with pytest.raises(Empty):
        folder.get("celery")
    folder.put_back()
    assert body(folder.get("celery")) == "1"


def test_half_written_message_is_not_seen(folder):
    (folder.path / "00000000000000000001_x.0.celery.msg.part").write_text('{"bo')
    with pytest.raises(Empty):
        folder.get("celery")


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"body": 1}', "\x00\xff", '{"properties": []}'])
def test_broken_message_is_moved_aside_and_the_next_one_comes(folder, text, caplog):
    (folder.path / "00000000000000000001_x.0.celery.msg").write_bytes(text.encode("latin-1"))
    folder.put("celery", message(2))
    assert body(folder.get("celery")) == "2"
    assert len(list(folder.dead.iterdir())) == 1 and "moved aside" in caplog.text


def test_message_that_kills_its_worker_is_given_up_after_so_many_times(folder, caplog):
    folder.put("celery", message(1))
    for _ in range(MOST_DELIVERIES):
        assert body(folder.get("celery")) == "1"
        folder.put_back()
    with pytest.raises(Empty):
        folder.get("celery")
    [dead] = folder.dead.iterdir()
    assert json.loads(dead.read_text())["body"] == "1" and "without an end" in caplog.text


def test_redelivered_message_keeps_its_place_in_the_queue(folder):
    for number in range(3):
        folder.put("celery", message(number))
    folder.get("celery")
    folder.put_back()
    assert body(folder.get("celery")) == "0"


def test_queues_do_not_mix_even_with_dots_in_their_names(folder):
    folder.put("a.b", message(1))
    folder.put("b", message(2))
    assert body(folder.get("b")) == "2" and body(folder.get("a.b")) == "1"


def test_one_worker_a_folder(folder):
    folder.take()
    import subprocess
    import sys

    script = f"from config.broker import Folder; Folder({str(folder.path)!r}).take()"
    second = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=False)
    assert second.returncode != 0 and "One worker a folder" in second.stderr and "Traceback" not in second.stderr
    assert issubclass(FolderTakenError, SystemExit)


def test_starting_worker_puts_back_what_a_killed_one_had_in_hand(folder):
    folder.put("celery", message(1))
    folder.get("celery")
    folder.take()
    assert body(folder.get("celery")) == "1"


def test_purging_empties_one_queue(folder):
    for number in range(3):
        folder.put("a", message(number))
    folder.put("b", message(9))
    assert folder.purge("a") == 3 and folder.size("a") == 0 and folder.size("b") == 1


def test_through_kombu_an_unacknowledged_message_comes_back_and_an_acknowledged_one_does_not(tmp_path):
    assert TRANSPORT_ALIASES["folder"] == "config.broker:Transport"
    options = {"folder": str(tmp_path / "broker"), "polling_interval": 0.01}
    queue = Queue("celery", Exchange("celery"), routing_key="celery")

    def connect():
        return Connection("folder://here", transport_options=options)

    with connect() as sender:
        producer = sender.Producer()
        for number in range(3):
            producer.publish({"n": number}, exchange=queue.exchange, routing_key="celery", declare=[queue])
    seen = []
    with connect() as reader:
        channel = reader.channel()
        bound = queue(channel)
        bound.declare()
        first = bound.get()
        seen.append(first.payload["n"])
        first.ack()
        second = bound.get()
        seen.append(second.payload["n"])
        second.requeue()
        third = bound.get()
        seen.append(third.payload["n"])
        channel.close()  # an orderly stop with one in hand
    assert seen == [0, 1, 1]
    left = Folder(tmp_path / "broker")
    assert left.size("celery") == 2 and not list(left.inflight.iterdir())
