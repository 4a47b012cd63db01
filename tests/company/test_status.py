"""The page that says how the program is, and its backups."""

import pytest
from django.test import override_settings

from company.backups import backup_make
from company.clock import now
from company.models import Job
from company.registries import STATUS, StatusLine

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def backups(tmp_path):
    with override_settings(BACKUP_DIR=tmp_path / "backups"):
        yield tmp_path / "backups"


def test_every_part_says_a_sentence_and_what_is_not_well_stands_first(as_technician, monkeypatch):
    lines = [
        StatusLine(name="Good part", says="It runs.", well=True),
        StatusLine(name="Bad part", says="It burns.", well=False),
    ]
    monkeypatch.setattr(STATUS, "_entries", {"a": (1, lambda at: lines)})
    page = as_technician.get("/status/").content.decode()
    assert "1 thing to see to." in page and page.index("It burns.") < page.index("It runs.")
    lines.pop()
    assert "All is well." in as_technician.get("/status/").content.decode()


def test_the_real_lines_name_worker_clock_broker_disk_database_rules_and_backup(as_technician):
    page = as_technician.get("/status/").content.decode()
    for name in ("Worker", "Clock", "Broker", "Disk", "Database", "Alert rules", "Backup"):
        assert name in page


def test_little_room_is_said(as_technician, monkeypatch):
    from collections import namedtuple

    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr("shutil.disk_usage", lambda _path: usage(10, 9, 4_000_000))
    assert "That is little" in as_technician.get("/status/").content.decode()


def test_back_up_now_shows_the_job_and_the_backup_stands_on_the_page(
    as_technician, backups, django_capture_on_commit_callbacks
):
    answer = as_technician.post("/status/backup/", follow=True)
    assert "under way" in answer.content.decode() and Job.objects.get().kind == "backup"


def test_an_owner_fetches_a_backup_and_nobody_else_nor_anything_else(as_owner, as_technician, backups, transactional_db):
    made = backup_make(at=now())
    assert made.name in as_owner.get("/status/").content.decode()
    answer = as_owner.get(f"/status/backups/{made.name}/")
    assert b"".join(answer.streaming_content)[:2] == b"PK"
    assert as_technician.get(f"/status/backups/{made.name}/").status_code == 403
    for odd in ("..%2Fsecret_key", "secret_key", "knowngood-20260101-020000.zip", "x" * 300):
        assert as_owner.get(f"/status/backups/{odd}/").status_code == 404
