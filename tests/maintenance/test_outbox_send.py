"""Sending: by a real mail server on this machine, with everything that can go wrong on the way."""

from datetime import UTC, datetime, timedelta
from email import message_from_bytes

import pytest
from django.core import mail
from django.db import OperationalError

from maintenance.calc.alert_words import DeliveryState
from maintenance.models import Address, Alert, Attempt, Delivery, Telling
from maintenance.services import outbox_send
from maintenance.services.address_book import address_add
from maintenance.services.outbox import deliveries_again, deliveries_queue, deliveries_report, deliveries_send
from tests.builders import make_person
from tests.maintenance.mail_sink import MailSink

NOON = datetime(2026, 6, 5, 11, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
DAY = timedelta(days=1)


def make_alert(**kw):
    kw = {"rule": "swap", "subject": "show:1", "occasion": "1", "title": "Swap the cells", "says": "Do it.", "url": "/x/", **kw}
    return Alert.objects.create(**{"digest": False, "raised_at": NOON, **kw})


@pytest.fixture
def bo(company):
    person = make_person("technician", username="bo", email="bo@example.org")
    # told at any hour: these tests are about other things
    Telling.objects.create(person=person, quiet_from=None, quiet_until=None)
    return person


@pytest.fixture
def sink(settings):
    with MailSink() as found:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", found.port
        settings.EMAIL_HOST_USER = settings.EMAIL_HOST_PASSWORD = ""
        settings.EMAIL_USE_TLS = settings.EMAIL_USE_SSL = False
        settings.DEFAULT_FROM_EMAIL = "Gear <gear@example.org>"
        yield found


def queue(number=1, **kw):
    alerts = [make_alert(occasion=f"{n}", title=f"Alert {n}", **kw) for n in range(number)]
    deliveries_queue(alerts=alerts, at=NOON)
    return alerts


def the_one():
    return Delivery.objects.get()


def test_an_alert_arrives_once_with_subject_text_and_html(bo, sink, settings):
    settings.SITE_ADDRESS = "https://gear.example.org"
    queue()
    sent = deliveries_send(at=NOON)
    assert (sent.sent, sent.left) == (1, False)
    assert deliveries_send(at=NOON + DAY).sent == 0
    (letter,) = sink.letters
    assert letter["To"] == "bo@example.org" and letter["Subject"] == "Alert 0"
    assert letter["From"] == "Gear <gear@example.org>" and letter["Auto-Submitted"] == "auto-generated"
    text, html = [part.get_content() for part in letter.iter_parts()]
    assert "Do it." in text and "https://gear.example.org/x/" in text
    assert 'href="https://gear.example.org/x/"' in html and "<table" not in html and "<script" not in html
    attempt = Attempt.objects.get()
    assert attempt.went and attempt.ended_at and attempt.number == 1
    assert the_one().state == DeliveryState.SENT and the_one().sent_at is not None


def test_without_an_address_of_the_site_it_says_where_to_look(bo, sink):
    queue()
    deliveries_send(at=NOON)
    text, html = [part.get_content() for part in sink.letters[0].iter_parts()]
    assert "choose Alerts" in text and "http" not in text
    assert "href" not in html


def test_one_connection_serves_a_batch(bo, sink):
    queue(30)
    assert deliveries_send(at=NOON).sent == 30
    assert (len(sink.letters), sink.connections) == (30, 1)


def test_the_message_id_stays_the_same_from_try_to_try(bo, sink):
    queue()
    sink.data = "451 come again"
    deliveries_send(at=NOON)
    sink.data = ""
    deliveries_send(at=NOON + MINUTE + MINUTE)
    assert len({letter["Message-ID"] for letter in sink.seen}) == 1 and len(sink.seen) == 2
    assert the_one().state == DeliveryState.SENT and the_one().tries == 2


def test_a_line_break_in_a_title_ends_no_head(bo, sink):
    make = make_alert(title="Swap\nBcc: eve@example.org")
    deliveries_queue(alerts=[make], at=NOON)
    deliveries_send(at=NOON)
    assert sink.letters[0]["Subject"] == "Swap Bcc: eve@example.org" and sink.letters[0]["Bcc"] is None
    assert sink.rcpts == ["bo@example.org"]


def test_a_refused_address_is_switched_off_and_what_waits_for_it_is_put_aside(bo, sink):
    queue(3)
    other = make_person("owner", username="ines", email="ines@example.org")
    deliveries_queue(alerts=Alert.objects.all(), at=NOON)
    sink.refuse = {"bo@example.org": "550 no such letter box"}
    sent = deliveries_send(at=NOON)
    assert (sent.sent, sent.aside) == (3, 1)
    address = Address.objects.get(person=bo)
    assert address.off_at is not None and "550 no such letter box" in address.off_why
    assert sink.tried.count("bo@example.org") == 1, "a refusing server is not asked again and again"
    states = Delivery.objects.filter(address=address).values_list("state", flat=True)
    assert sorted(states) == [DeliveryState.ASIDE] + [DeliveryState.DROPPED] * 2 or set(states) == {DeliveryState.ASIDE}
    assert not Delivery.objects.filter(address__person=other).exclude(state=DeliveryState.SENT).exists()
    queue_more = make_alert(occasion="later")
    assert deliveries_queue(alerts=[queue_more], at=NOON + MINUTE) == 1, "no more is written for that address"


def test_a_full_letter_box_is_tried_later(bo, sink):
    queue()
    sink.refuse = {"bo@example.org": "452 letter box full"}
    assert deliveries_send(at=NOON).later == 1
    delivery = the_one()
    assert delivery.state == DeliveryState.WAITING and MINUTE <= delivery.not_before - NOON < 2 * MINUTE
    assert "452" in delivery.said and Address.objects.get().off_at is None


def test_a_mail_that_is_refused_for_what_it_says_is_put_aside_and_the_address_stays(bo, sink):
    queue(2)
    sink.data = "554 not wanted here"
    assert deliveries_send(at=NOON).aside == 2
    assert Address.objects.get().off_at is None
    assert all("554" in said for said in Delivery.objects.values_list("said", flat=True))


def test_the_mail_server_down_for_a_day_loses_nothing(bo, sink):
    queue(40)
    sink.stop()
    at, waits = NOON, []
    while at < NOON + DAY:
        deliveries_send(at=at)
        waits.append(Delivery.objects.order_by("not_before").values_list("not_before", flat=True)[0])
        at += timedelta(seconds=30) if at < NOON + timedelta(hours=2) else timedelta(minutes=30)
    assert set(Delivery.objects.values_list("state", flat=True)) == {DeliveryState.WAITING}
    assert "does not answer" in Delivery.objects.first().said
    sink.start()
    while at < NOON + DAY + timedelta(hours=2):
        deliveries_send(at=at)
        at += timedelta(minutes=5)
    assert set(Delivery.objects.values_list("state", flat=True)) == {DeliveryState.SENT}
    assert len(sink.letters) == 40 and len({letter["Message-ID"] for letter in sink.letters}) == 40


def test_pauses_grow_and_after_a_day_it_is_put_aside_and_can_be_sent_again(bo, sink):
    queue()
    sink.refuse = {"bo@example.org": "450 later"}
    at, pauses = NOON, []
    while the_one().state == DeliveryState.WAITING:
        at = max(at, the_one().not_before)
        deliveries_send(at=at)
        pauses.append((the_one().not_before - at).total_seconds() / 60)
    assert [round(pause) for pause in pauses[:6]] == [1, 5, 15, 60, 60, 60]
    assert DAY < at - NOON < DAY + timedelta(hours=2)
    assert the_one().state == DeliveryState.ASIDE and "given up" in the_one().said
    sink.refuse = {}
    assert deliveries_again(deliveries=Delivery.objects.all(), at=at) == 1
    assert deliveries_send(at=at).sent == 1


def test_a_mail_server_that_hangs_up_in_the_middle_is_tried_later_and_the_rest_goes_on(bo, sink):
    queue(3)
    sink.hang_up_after = 1
    deliveries_send(at=NOON)
    deliveries_send(at=NOON + 2 * MINUTE)
    assert set(Delivery.objects.values_list("state", flat=True)) == {DeliveryState.SENT}
    assert len({letter["Subject"] for letter in sink.letters}) == 3


def test_one_that_cannot_be_written_is_put_aside_after_three_tries_and_blocks_no_other(bo, sink, monkeypatch):
    alerts = queue(5)
    written = outbox_send.alert_message

    def poisoned(*, alert, **kw):
        if alert.pk == alerts[0].pk:
            raise RuntimeError("poison")
        return written(alert=alert, **kw)

    monkeypatch.setattr(outbox_send, "alert_message", poisoned)
    assert deliveries_send(at=NOON).sent == 4
    for hour in range(1, 4):
        deliveries_send(at=NOON + timedelta(hours=hour))
    poison = Delivery.objects.get(alert=alerts[0])
    assert (poison.state, poison.tries) == (DeliveryState.ASIDE, 3)
    assert "could not be written" in poison.said and "RuntimeError" in poison.said


def test_a_changed_secret_key_switches_an_address_off_with_a_sentence_and_heals_ones_own(bo, sink, settings):
    address_add(person=bo, service="email", filled={"email": "second@example.org"}, at=NOON)
    queue()
    settings.SECRET_KEY = "another"
    sent = deliveries_send(at=NOON)
    assert (sent.aside, sent.sent) == (1, 1)
    off = Address.objects.get(off_at__isnull=False)
    assert "secret key" in off.off_why and off.service == "email"
    assert sink.rcpts == ["bo@example.org"]


@pytest.mark.parametrize("why", ["closed", "snoozed", "left", "removed", "handed"])
def test_what_is_no_longer_wanted_is_dropped_not_sent(why, bo, sink):
    (alert,) = queue()
    if why == "closed":
        Alert.objects.filter(pk=alert.pk).update(closed_at=NOON, closed_how="gone")
    elif why == "snoozed":
        Alert.objects.filter(pk=alert.pk).update(snoozed_until=NOON + DAY)
    elif why == "left":
        type(bo).objects.filter(pk=bo.pk).update(is_active=False)
    elif why == "removed":
        Address.objects.update(removed_at=NOON)
    else:
        Alert.objects.filter(pk=alert.pk).update(handed_to=make_person("hand"))
    sent = deliveries_send(at=NOON)
    assert (sent.sent, sent.dropped, sink.letters) == (0, 1, [])
    assert the_one().state == DeliveryState.DROPPED and the_one().said


def test_one_that_closes_while_the_batch_is_under_way_is_not_sent(bo, sink):
    alerts = queue(3)
    sink.on_letter = lambda: Alert.objects.filter(pk=alerts[-1].pk).update(closed_at=NOON, closed_how="gone")
    with outbox_send._Run(NOON) as run:
        batch = run.claim(10)
        sink.on_letter()
        run.work(batch, until_s=60)
    assert (run.sent.sent, run.sent.dropped) == (2, 1)


def test_a_machine_that_wakes_in_the_quiet_hours_keeps_still(bo, sink):
    Telling.objects.update(quiet_from="22:00", quiet_until="07:00")
    queue()
    urgent = make_alert(occasion="urgent", urgent=True, title="Now")
    deliveries_queue(alerts=[urgent], at=NOON)
    night = datetime(2026, 6, 5, 22, 0, tzinfo=UTC)  # London: 23:00
    assert deliveries_send(at=night).sent == 1
    assert sink.letters[0]["Subject"] == "Urgent: Now"
    assert deliveries_send(at=night + timedelta(hours=7, minutes=59)).sent == 0
    assert deliveries_send(at=night + timedelta(hours=8)).sent == 1


def test_the_urgent_goes_before_the_oldest(bo, sink):
    queue(150)
    deliveries_queue(alerts=[make_alert(occasion="u", urgent=True, title="Now")], at=NOON)
    deliveries_send(at=NOON, most=1)
    assert [letter["Subject"] for letter in sink.letters] == ["Urgent: Now"]


def test_a_sender_that_died_is_followed_by_another_and_counted(bo, sink):
    queue(2)
    dead = outbox_send._Run(NOON)
    batch = dead.claim(10)
    assert dead._step(batch[0]) == 1  # and here the power fails
    assert deliveries_send(at=NOON + MINUTE).sent == 0, "its lease runs"
    assert deliveries_report(at=NOON + MINUTE).interrupted == 0
    later = NOON + outbox_send.lease_length() + MINUTE
    assert deliveries_report(at=later).interrupted == 1
    assert deliveries_send(at=later).sent == 2
    report = deliveries_report(at=later)
    assert (report.interrupted, report.twice, report.sent) == (1, 1, 2)
    assert [a.said for a in Attempt.objects.filter(ended_at=None)] == [outbox_send.INTERRUPTED]


def test_a_sender_thought_dead_that_comes_back_sends_nothing_it_lost(bo, sink):
    queue(2)
    later = NOON + outbox_send.lease_length() + MINUTE
    with outbox_send._Run(NOON) as slow:
        batch = slow.claim(10)
        assert deliveries_send(at=later).sent == 2
        slow.work(batch, until_s=60)
    assert slow.sent.sent == 0 and len(sink.letters) == 2


def test_one_that_stops_the_program_again_and_again_is_put_aside(bo, sink):
    queue()
    at = NOON
    for _ in range(outbox_send.MOST_INTERRUPTED):
        run = outbox_send._Run(at)
        run._step(run.claim(1)[0])
        at += outbox_send.lease_length() + MINUTE
    assert deliveries_send(at=at).aside == 1 and sink.letters == []
    assert "stopped the program 5 times" in the_one().said
    assert deliveries_again(deliveries=Delivery.objects.all(), at=at) == 1
    assert deliveries_send(at=at).sent == 1


def test_a_busy_database_does_not_forget_what_went(bo, sink, monkeypatch):
    queue(3)
    record, failures = outbox_send._Run._record, iter([True, True, False, True, False, False])
    monkeypatch.setattr(outbox_send.time, "sleep", lambda seconds: None)

    def busy(run, done):
        if next(failures, False):
            raise OperationalError("database is locked")
        record(run, done)

    monkeypatch.setattr(outbox_send._Run, "_record", busy)
    assert deliveries_send(at=NOON).sent == 3
    assert len(sink.letters) == 3 and not Attempt.objects.filter(ended_at=None).exists()


def test_a_run_stops_in_time_and_leaves_the_rest_to_the_next(bo, sink):
    queue(5)
    sent = deliveries_send(at=NOON, seconds=0.0)
    assert sent.sent == 0 and sent.left
    assert deliveries_send(at=NOON, most=2).left
    assert deliveries_send(at=NOON).sent == 3


def test_a_full_disk_for_mail_in_files_says_so_and_is_tried_later(bo, settings, tmp_path):
    blocked = tmp_path / "mail"
    settings.EMAIL_BACKEND = "company.mail_files.EmailBackend"
    settings.EMAIL_FILE_PATH = str(blocked)
    queue()
    blocked.mkdir()
    settings.EMAIL_FILE_PATH = "/dev/full/mail"
    assert deliveries_send(at=NOON).later == 1
    assert "did not take it" in the_one().said
    settings.EMAIL_FILE_PATH = str(blocked)
    assert deliveries_send(at=NOON + 2 * MINUTE).sent == 1
    assert len(list(blocked.iterdir())) == 1


def test_without_a_mail_server_each_mail_is_a_file(bo, settings, tmp_path):
    settings.EMAIL_BACKEND = "company.mail_files.EmailBackend"
    settings.EMAIL_FILE_PATH = str(tmp_path)
    queue(30)
    assert deliveries_send(at=NOON).sent == 30
    files = list(tmp_path.iterdir())
    assert len(files) == 30 and {file.suffix for file in files} == {".eml"}
    mails = [message_from_bytes(file.read_bytes()) for file in files]
    assert len({mail["Message-ID"] for mail in mails}) == 30 and all(mail["To"] and mail["Subject"] for mail in mails)


def test_the_queries_of_a_batch_do_not_grow_but_for_the_few_of_each(bo, django_assert_max_num_queries):
    queue(20)
    assert mail.outbox == []
    with django_assert_max_num_queries(25 + 20 * 8):
        assert deliveries_send(at=NOON).sent == 20
