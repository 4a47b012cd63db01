"""Scans carried in by hand: taken once, by the clock of the phone put right, each with its answer."""

import json
import uuid
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from company.clock import now
from inventory.models import Item
from shows.calc.carry import FORMAT, codes_of
from shows.models import Scan
from tests.builders import make_item, make_show


@pytest.fixture
def show(company):
    return make_show(load_in=now() + timedelta(hours=2), name="Harvest ceilidh")


def held(scans, **kw):
    return json.dumps({"format": FORMAT, "device": "web:phone", "offset_ms": 0, "scans": scans, **kw}).encode()


def scan_of(item, show, **kw):
    at = (now() - timedelta(hours=1)).isoformat()
    return {"id": str(uuid.uuid4()), "code": item.code, "action": "out", "show": show.pk, "happened_at": at, **kw}


def test_a_file_is_taken_in_once_however_often(as_hand, hand, show):
    item = make_item()
    content = held([scan_of(item, show)])
    for _ in range(2):
        page = as_hand.post(reverse("take-in"), {"files": SimpleUploadedFile("scans.json", content)})
        assert b"1 scan taken in" in page.content
    scan = Scan.objects.get()
    assert (scan.device, scan.actor) == ("web:phone", hand) and Item.objects.get(pk=item.pk).custody_show == show.pk


def test_what_is_to_be_looked_at_is_named_and_what_was_known_is_said(as_hand, hand, show):
    bad = make_item(name="A", suspect_since=now() - timedelta(days=1))
    content = held([scan_of(bad, show), {**scan_of(bad, show), "code": "ZZZZ9999"}])
    page = as_hand.post(reverse("take-in"), {"files": SimpleUploadedFile("scans.json", content)}).content.decode()
    assert "2 scans taken in.</b>" in page and "2 to look at</h2>" in page
    assert bad.label in page and "ZZZZ9999" in page
    again = as_hand.post(reverse("take-in"), {"files": SimpleUploadedFile("scans.json", content)}).content.decode()
    assert "2 scans taken in, all known already.</b>" in again


def test_codes_scanned_in_any_order_are_taken_in(as_hand, show):
    items = [make_item() for _ in range(12)]
    texts = codes_of(held([scan_of(item, show) for item in items]), "AAAA")
    assert len(texts) > 1
    page = as_hand.post(reverse("take-in"), {"codes": "\r\n".join(reversed(texts)).lower()})
    assert b"12 scans taken in" in page.content and Scan.objects.count() == 12


def test_codes_that_lack_one_are_kept_in_the_field_and_named(as_hand, show):
    texts = codes_of(held([scan_of(make_item(), show) for _ in range(12)]), "AAAA")
    page = as_hand.post(reverse("take-in"), {"codes": texts[0]})
    assert page.status_code == 422 and b"still missing" in page.content and texts[0].encode() in page.content
    assert Scan.objects.count() == 0


def test_a_clock_that_was_an_hour_behind_is_put_right(as_hand, show):
    behind = scan_of(make_item(), show, happened_at=(now() - timedelta(hours=3)).isoformat())
    as_hand.post(reverse("take-in"), {"files": SimpleUploadedFile("s.json", held([behind], offset_ms=3_600_000))})
    off = abs(Scan.objects.get().effective_at - (now() - timedelta(hours=2)))
    assert off < timedelta(seconds=20)


@pytest.mark.parametrize("content", [b"", b"\x00\xff", b"[]", b'{"format": "knowngood scans 1", "scans": 3}'])
def test_what_is_no_file_gets_a_sentence(as_hand, content):
    page = as_hand.post(reverse("take-in"), {"files": SimpleUploadedFile("odd.json", content or b" ")})
    assert page.status_code == 422 and b"no file of scans" in page.content


def test_odd_entries_are_left_out_and_a_scan_without_an_id_is_said(as_hand, show):
    good = scan_of(make_item(), show)
    page = as_hand.post(reverse("take-in"), {"files": SimpleUploadedFile("s.json", held([good, 7, None]))})
    assert b"2 entries are no scans" in page.content and Scan.objects.count() == 1
    page = as_hand.post(reverse("take-in"), {"files": SimpleUploadedFile("s.json", held([{"code": "X"}]))})
    assert page.status_code == 422 and b"not taken in" in page.content


def test_nothing_given_says_what_to_give(as_hand):
    page = as_hand.post(reverse("take-in"))
    assert page.status_code == 422 and b"Choose a file" in page.content


def test_a_phone_learns_whether_the_shop_still_knows_what_it_sent(as_hand, show):
    item = make_item()
    sent = scan_of(item, show)
    as_hand.post("/api/scans", json.dumps({"device": "d", "scans": [sent]}), content_type="application/json")
    assert as_hand.get(reverse("dock-hello"), {"last": sent["id"]}).json()["knows"] is True
    assert as_hand.get(reverse("dock-hello"), {"last": str(uuid.uuid4())}).json()["knows"] is False
    answer = as_hand.get(reverse("dock-hello"), {"last": "odd"}).json()
    assert answer["knows"] is True and answer["token"] and answer["now"]
