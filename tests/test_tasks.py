"""What the worker can do: each task has its command, each entry of the clock its task, and each is safe to do twice."""

import inspect
from io import StringIO

import pytest
from django.conf import settings
from django.core.files.base import ContentFile
from django.core.management import call_command, get_commands

from company.clock import now
from company.jobs import job_start
from company.models import Job
from company.registries import JOBS
from config.celery import app
from config.twins import TWINS
from inventory.services.photos import item_photo_set, thumbnails_make
from tests.builders import make_item


def ours() -> dict:
    app.loader.import_default_modules()
    return {name: task for name, task in app.tasks.items() if not name.startswith("celery.")}


def test_every_task_has_a_command_that_does_the_same():
    assert set(ours()) == set(TWINS), "name the new task's command in config/twins.py"
    assert set(TWINS.values()) <= set(get_commands())


def test_what_the_clock_asks_for_exists_and_does_not_pile_up():
    for name, entry in settings.CELERY_BEAT_SCHEDULE.items():
        assert entry["task"] in ours(), name
        asked_every_s = entry["schedule"]
        assert entry["options"]["expires"] <= asked_every_s, f"{name}: a machine that slept would wake to a pile"


def test_tasks_carry_keys_only():
    for name, task in ours().items():
        for parameter in inspect.signature(task.run).parameters.values():
            assert parameter.annotation in {int, str, "int", "str"}, f"{name}: {parameter}"


def test_waiting_jobs_are_done_by_hand_and_once(company, monkeypatch):
    done = []
    monkeypatch.setitem(JOBS._entries, "by hand", (1, lambda job: done.append(job.pk)))
    monkeypatch.setattr("company.jobs._wake", lambda _: None)
    jobs = [job_start(kind="by hand", title=f"Job {n}", given={}, person=None, at=now()) for n in range(3)]
    said = StringIO()
    call_command("run_jobs", str(jobs[1].pk), stdout=said)
    assert done == [jobs[1].pk] and "Job 1: done" in said.getvalue()
    for _ in range(2):
        call_command("run_jobs", stdout=said)
    assert done == [jobs[1].pk, jobs[0].pk, jobs[2].pk] and "No job is waiting." in said.getvalue()
    assert set(Job.objects.values_list("state", flat=True)) == {"done"}
    with pytest.raises(Exception, match="no job 999999"):
        call_command("run_jobs", "999999")


def picture() -> ContentFile:
    from io import BytesIO

    from PIL import Image

    out = BytesIO()
    Image.new("RGB", (900, 600), "teal").save(out, "JPEG")
    return ContentFile(out.getvalue(), name="p.jpg")


def test_small_pictures_that_are_missing_are_made_once(company, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    whole, gone, never, broken = (item_photo_set(item=make_item(), file=picture()) for _ in range(4))
    gone.thumbnail.storage.delete(gone.thumbnail.name)
    type(never).objects.filter(pk=never.pk).update(thumbnail="")
    type(broken).objects.filter(pk=broken.pk).update(thumbnail="")
    (tmp_path / broken.photo.name).write_bytes(b"no picture")
    done = thumbnails_make()
    assert (done.made, done.unreadable) == (2, [broken.code])
    for item in (gone, never):
        item.refresh_from_db()
        assert item.thumbnail.storage.exists(item.thumbnail.name)
    kept = whole.thumbnail.name
    assert thumbnails_make().made == 0
    whole.refresh_from_db()
    assert whole.thumbnail.name == kept
    call_command("make_thumbnails", stdout=(said := StringIO()))
    assert "No small pictures made." in said.getvalue() and broken.code in said.getvalue()
    call_command("tidy", stdout=said)
