"""The page that sets a phone up: open to a phone that has no account, true to how the program was started."""

from datetime import UTC, datetime

import pytest
from cryptography import x509
from django.test import Client
from django.urls import reverse

from company.certificates import certificates_ready


@pytest.fixture
def stranger(company):
    return Client()


def test_started_for_this_machine_alone_it_says_how_phones_get_in(stranger):
    page = stranger.get(reverse("phone")).content.decode()
    assert "start --lan" in page and "shop's root" not in page


def test_a_hand_is_asked_for_nothing_a_hand_cannot_do(as_hand, as_technician):
    assert "start --lan" not in as_hand.get(reverse("phone")).content.decode()
    assert "start --lan" in as_technician.get(reverse("phone")).content.decode()


def test_on_the_shops_network_it_leads_a_phone_through_three_steps(stranger, settings, tmp_path):
    settings.LAN_ADDRESS, settings.LAN_SECURE_ADDRESS = "http://192.168.4.20:8765", "https://192.168.4.20:8766"
    settings.TLS_FOLDER = tmp_path
    made = certificates_ready(tmp_path, company="Odd", addresses=["192.168.4.20"], names=["localhost"], at=datetime.now(UTC))
    page = stranger.get(reverse("phone")).content.decode()
    assert "http://192.168.4.20:8765/phone/" in page and "https://192.168.4.20:8766/phone/" in page
    assert made.fingerprint[-23:] in page and reverse("phone-root") in page


def test_the_root_is_handed_out_and_no_key(stranger, settings, tmp_path):
    settings.TLS_FOLDER = tmp_path
    assert stranger.get(reverse("phone-root")).status_code == 404
    certificates_ready(tmp_path, company="Odd", addresses=["127.0.0.1"], names=["localhost"], at=datetime.now(UTC))
    answer = stranger.get(reverse("phone-root"))
    assert answer["Content-Type"] == "application/x-x509-ca-cert"
    assert x509.load_der_x509_certificate(answer.content).subject and b"PRIVATE" not in answer.content


def test_a_shop_with_a_certificate_of_its_own_installs_nothing(stranger, settings):
    settings.LAN_ADDRESS = settings.LAN_SECURE_ADDRESS = "https://gear.example.org"
    page = stranger.get(reverse("phone")).content.decode()
    assert "https://gear.example.org/phone/" in page and reverse("phone-root") not in page
