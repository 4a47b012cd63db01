"""The allow-list: each service calls its one host, takes no other, and what it answers is understood."""

from urllib.parse import urlsplit

import pytest
import requests

from maintenance.sending.message import Message
from maintenance.sending.outcome import Fate
from maintenance.sending.push import push_send
from maintenance.sending.services import SERVICES, NoSuchAddressError, address_of, plugin_of

FILLED = {
    "ntfy": {"topic": "saltmarsh-bench-7"},
    "pushover": {"user": "u" * 30, "token": "a" * 30},
    "telegram": {"token": "123456789:" + "A" * 35, "chat": "-10012345"},
    "slack": {"a": "T12345678", "b": "B12345678", "c": "c" * 24},
    "discord": {"id": "1" * 18, "token": "t" * 68},
    "gchat": {"space": "AAAA12345", "key": "k" * 39, "token": "t" * 43},
    "threema": {"gateway": "*SALT123", "secret": "s" * 16, "who": "ABCD1234"},
    "twilio": {"account": "AC" + "a" * 32, "token": "b" * 32, "sender": "447700900123", "phone": "447700900124"},
}
MESSAGE = Message(key="k", subject="Swap the cells", text="Swap the cells before Friday.")


class Net:
    """The network as the library sees it: notes who is called, and answers as told."""

    def __init__(self) -> None:
        self.called: list[str] = []
        self.code, self.shut, self.where = 200, False, ""

    def send(self, session, request, **kw):
        self.called.append(request.url)
        assert kw.get("verify"), "certificates are checked"
        assert kw.get("allow_redirects") is False, "a secret follows no redirect"
        if self.shut:
            raise requests.ConnectionError("no route")
        answer = requests.Response()
        answer.status_code, answer.request, answer.url = self.code, request, request.url
        answer._content = b"ok" if "slack" in request.url and self.code == 200 else b"{}"
        return answer


@pytest.fixture
def net(monkeypatch):
    found = Net()
    monkeypatch.setattr(requests.Session, "send", lambda session, request, **kw: found.send(session, request, **kw))
    return found


def test_every_service_of_the_table_is_tried_here():
    assert FILLED.keys() == SERVICES.keys()


@pytest.mark.parametrize("key", SERVICES)
def test_a_message_calls_the_services_one_host_over_tls(key, net):
    outcome = push_send(key, address_of(SERVICES[key], FILLED[key]), MESSAGE)
    assert outcome.fate == Fate.WENT, outcome
    assert {(urlsplit(u).scheme, urlsplit(u).hostname, urlsplit(u).port) for u in net.called} == {
        ("https", SERVICES[key].host, None)
    }
    assert len(net.called) == 1


@pytest.mark.parametrize("key", SERVICES)
@pytest.mark.parametrize(
    ("code", "fate", "down"),
    [
        (401, Fate.GONE, False),
        (403, Fate.GONE, False),
        (404, Fate.GONE, False),
        (410, Fate.GONE, False),
        (400, Fate.REFUSED, False),
        (500, Fate.LATER, True),
        (503, Fate.LATER, True),
    ],
)
def test_what_a_service_answers_decides_what_follows(key, code, fate, down, net):
    net.code = code
    outcome = push_send(key, address_of(SERVICES[key], FILLED[key]), MESSAGE)
    assert (outcome.fate, outcome.down) == (fate, down), outcome
    assert str(code) in outcome.said and SERVICES[key].name in outcome.said


@pytest.mark.parametrize("key", SERVICES)
def test_a_service_that_cannot_be_reached_is_tried_later(key, net):
    net.shut = True
    outcome = push_send(key, address_of(SERVICES[key], FILLED[key]), MESSAGE)
    assert (outcome.fate, outcome.down) == (Fate.LATER, True)


@pytest.mark.parametrize("key", [k for k in SERVICES if k != "discord"])
def test_asked_for_a_pause_it_waits(key, net):
    net.code = 429
    outcome = push_send(key, address_of(SERVICES[key], FILLED[key]), MESSAGE)
    assert (outcome.fate, outcome.down) == (Fate.LATER, False)


BAD = ["", " ", "x", "127.0.0.1/x", "a@b", "a/../b", "http://10.0.0.1", "?verify=no", "x" * 500, "\u0661" * 30, "a\nb", "%2f"]


@pytest.mark.parametrize("key", SERVICES)
def test_no_gap_takes_a_host_a_path_or_a_question(key):
    service = SERVICES[key]
    for gap in service.gaps:
        for bad in BAD:
            with pytest.raises(NoSuchAddressError):
                address_of(service, {**FILLED[key], gap.name: bad})


def test_a_topic_that_reads_like_a_machine_is_a_topic_still(net):
    for topic in ("localhost", "10-0-0-1", "example-org"):
        push_send("ntfy", address_of(SERVICES["ntfy"], {"topic": topic}), MESSAGE)
    assert {urlsplit(u).hostname for u in net.called} == {"ntfy.sh"} and len(net.called) == 3


@pytest.mark.parametrize(
    "address",
    [
        "json://10.0.0.1/x",
        "xmls://example.org",
        "form://localhost",
        "ntfy://10.0.0.1/topic",
        "ntfys://example.org/topic",
        "ntfys://user@example.org:8443/topic",
        "dbus://",
        "syslog://",
        "mailto://a:b@example.org",
        "tgram://nonsense",
    ],
)
def test_no_other_address_passes_for_a_service(address):
    for service in SERVICES.values():
        with pytest.raises(NoSuchAddressError):
            plugin_of(service, address)


def test_a_service_taken_off_the_list_switches_its_addresses_off():
    assert push_send("carrier", "carrier://x", MESSAGE).fate == Fate.GONE
