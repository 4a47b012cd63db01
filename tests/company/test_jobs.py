"""Jobs: one run at a time under a lease, progress that is seen, and an end that is told."""

from datetime import timedelta

import pytest
from django.core.files.base import ContentFile
from django.db import OperationalError, transaction
from django.urls import reverse

from company import jobs
from company.clock import now
from company.jobs import JobError, JobLostError, job_progress, job_result, job_run, job_start, jobs_forget, jobs_left_over
from company.models import Job
from company.registries import JOBS
from company.tasks import tick
from tests.builders import make_person
from tests.conftest import signed_in


@pytest.fixture
def kind(settings, tmp_path, monkeypatch):
    """Register jobs for one test: `kind(runner)` returns the kind's name."""
    settings.MEDIA_ROOT = tmp_path
    monkeypatch.setattr(JOBS, "_entries", dict(JOBS._entries))

    def register(runner, name="test"):
        JOBS.add(name, runner)
        return name

    return register


def queue(kind, person=None, **kw):
    return job_start(kind=kind, title="Count the leads", given={}, person=person, at=now(), **kw)


def test_job_runs_once_the_row_is_committed_and_ends_done(db, kind, django_capture_on_commit_callbacks):
    seen = []

    def run(job):
        seen.append(job.given)
        job_progress(job=job, done=3, total=3, said="Three counted.")
        job_result(job=job, result={"leads": 3})

    name = kind(run)
    with django_capture_on_commit_callbacks(execute=True):
        job = job_start(kind=name, title="x", given={"a": 1}, person=None, at=now())
        assert seen == []
    job.refresh_from_db()
    assert seen == [{"a": 1}]
    assert (job.state, job.done, job.total, job.said, job.result) == ("done", 3, 3, "Three counted.", {"leads": 3})
    assert job.ended_at and job.lease_until is None and job.tries == 1


def test_unregistered_kind_is_refused_before_a_row_is_made(db):
    with pytest.raises(LookupError):
        queue("no-such-kind")
    assert not Job.objects.exists()


def test_second_message_for_a_job_runs_nothing(db, kind):
    seen = []
    job = queue(kind(lambda job: seen.append(job.pk)))
    assert job_run(job.pk) and not job_run(job.pk) and not job_run(10**9)
    assert seen == [job.pk]


def test_running_job_is_left_alone_until_its_lease_runs_out(db, kind):
    seen = []
    job = queue(kind(lambda job: seen.append(job.tries)))
    Job.objects.update(state="running", tries=1, lease_until=now() + timedelta(seconds=30))
    assert jobs_left_over(now()) == [] and not job_run(job.pk)
    Job.objects.update(lease_until=now() - timedelta(seconds=1))
    assert jobs_left_over(now()) == [job.pk]
    tick.delay()
    assert seen == [2]


def test_tick_takes_what_no_message_ever_told_of(db, kind):
    """A broker that lost every message loses no work."""
    seen = []
    name = kind(lambda job: seen.append(job.pk))
    wanted = [queue(name).pk for _ in range(5)]  # on_commit never fires inside the test's transaction
    tick.delay()
    assert seen == wanted and set(Job.objects.values_list("state", flat=True)) == {"done"}


def test_broker_that_is_down_does_not_spoil_the_page(db, kind, monkeypatch, django_capture_on_commit_callbacks):
    def down(*_):
        raise ConnectionError("no broker")

    monkeypatch.setattr("company.tasks.job_wake.delay", down)
    with django_capture_on_commit_callbacks(execute=True):
        job = queue(kind(lambda job: None))
    assert Job.objects.get(pk=job.pk).state == "queued"


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (JobError("Row 7 has no code."), "Row 7 has no code."),
        (ZeroDivisionError("x"), "The program made a mistake here (ZeroDivisionError)"),
        (KeyError("code"), "The program made a mistake here (KeyError)"),
        (OperationalError("disk I/O error"), "The database did not answer"),
    ],
)
def test_failure_is_told_in_a_sentence(db, kind, error, said):
    def run(job):
        raise error

    job = queue(kind(run))
    assert job_run(job.pk)
    job.refresh_from_db()
    assert job.state == "failed" and job.said.startswith(said) and job.ended_at


def test_what_a_failed_job_wrote_in_its_transaction_is_gone(db, kind):
    def run(job):
        with transaction.atomic():
            make_person(username="half-written")
            raise JobError("No.")

    job_run(queue(kind(run)).pk)
    from company.models import Person

    assert not Person.objects.filter(username="half-written").exists()


def test_busy_database_puts_the_job_back_three_times_and_then_says_so(db, kind):
    def run(job):
        raise OperationalError("database is locked")

    job = queue(kind(run))
    states = []
    for _ in range(3):
        job_run(job.pk)
        job.refresh_from_db()
        states.append(job.state)
    assert states == ["queued", "queued", "failed"]


def test_job_that_kills_its_worker_is_given_up(db, kind):
    job = queue(kind(lambda job: None))
    Job.objects.update(state="running", tries=3, lease_until=now() - timedelta(seconds=1))
    assert job_run(job.pk)
    job.refresh_from_db()
    assert job.state == "failed" and "3 times" in job.said


def test_worker_that_lost_its_job_writes_nothing_more(db, kind):
    seen = []

    def run(job):
        Job.objects.filter(pk=job.pk).update(tries=job.tries + 1, said="taken over")
        with pytest.raises(JobLostError):
            job_result(job=job, result={"late": True})
        try:
            job_progress(job=job, done=1)
        except JobLostError:
            seen.append("stopped")
            raise

    job = queue(kind(run))
    job_run(job.pk)
    job.refresh_from_db()
    assert seen == ["stopped"] and (job.state, job.said, job.result) == ("running", "taken over", {})


def test_progress_is_never_written_inside_the_job_s_own_transaction(db, kind, django_assert_num_queries):
    def run(job):
        job_progress(job=job, done=1, said="one")
        assert Job.objects.get(pk=job.pk).said == "one"
        with transaction.atomic():
            with django_assert_num_queries(0):
                job_progress(job=job, done=2, said="two")
            assert Job.objects.get(pk=job.pk).said == "one"
        job_progress(job=job, done=job.done, said=job.said)
        assert Job.objects.get(pk=job.pk).said == "two"

    job = queue(kind(run))
    job_run(job.pk)
    job.refresh_from_db()
    assert job.state == "done", job.said


@pytest.mark.django_db(transaction=True)
def test_lease_is_renewed_while_one_step_takes_long(kind, monkeypatch):
    monkeypatch.setattr(jobs, "HEARTBEAT_S", 0.05)
    import time

    leases = []

    def run(job):
        leases.append(Job.objects.get(pk=job.pk).lease_until)
        until = time.monotonic() + 10
        while time.monotonic() < until:
            time.sleep(0.05)
            leases.append(Job.objects.get(pk=job.pk).lease_until)
            if leases[-1] > leases[0]:
                return

    job = queue(kind(run))
    job.refresh_from_db()
    assert leases and leases[-1] > leases[0] and job.state == "done"


def test_pages_show_progress_and_end_without_a_script(as_hand, hand, kind):
    job = queue(kind(lambda job: None), person=hand)
    page = as_hand.get(job.get_absolute_url()).content.decode()
    assert "Waiting" in page and '<noscript><meta http-equiv="refresh"' in page and 'type="module"' in page
    Job.objects.update(state="running", done=1200, total=20000, said="Reading rows.", lease_until=now() + timedelta(seconds=9))
    part = as_hand.get(f"{job.get_absolute_url()}?part=1").content.decode()
    assert "1200 of 20000" in part and "Reading rows." in part and 'data-state="running"' in part and "<html" not in part
    Job.objects.update(state="failed", said="Row 7 has no code.", ended_at=now())
    page = as_hand.get(job.get_absolute_url()).content.decode()
    assert "Failed" in page and "Row 7" in page and "refresh" not in page


def test_job_nobody_takes_says_the_worker_is_not_running(as_hand, hand, kind):
    job = queue(kind(lambda job: None), person=hand)
    Job.objects.update(made_at=now() - timedelta(minutes=5))
    assert "worker is not running" in as_hand.get(job.get_absolute_url()).content.decode()


def make_file_job(kind, person, **given):
    def run(job):
        job_result(job=job, result={"file_name": "leads.csv"}, file_name="leads.csv", file=ContentFile(b"code\n"))

    job = job_start(kind=kind(run), title="Export", given=given, person=person, at=now())
    job_run(job.pk)
    return job


def test_result_is_fetched_by_whoever_asked_and_by_technicians_alone(as_hand, hand, as_technician, as_owner, kind):
    job = make_file_job(kind, hand)
    address = reverse("job-file", args=[job.pk])
    for client in (as_hand, as_technician, as_owner):
        answer = client.get(address)
        assert answer.status_code == 200 and b"".join(answer.streaming_content) == b"code\n"
        assert 'filename="leads.csv"' in answer["Content-Disposition"] and "no-store" in answer["Cache-Control"]
    other = signed_in(make_person("hand"))
    assert other.get(address).status_code == 404 and other.get(job.get_absolute_url()).status_code == 404
    assert "Fetch the file" in as_hand.get(job.get_absolute_url()).content.decode()


def test_result_with_prices_is_for_owners_alone(owner, as_owner, as_technician, kind):
    job = make_file_job(kind, owner, least_role="owner")
    assert as_technician.get(reverse("job-file", args=[job.pk])).status_code == 403
    assert "Fetch the file" not in as_technician.get(job.get_absolute_url()).content.decode()
    answer = as_owner.get(reverse("job-file", args=[job.pk]))
    assert answer.status_code == 200
    answer.close()


def test_job_without_a_file_says_so(as_hand, hand, kind):
    job = queue(kind(lambda job: None), person=hand)
    assert as_hand.get(reverse("job-file", args=[job.pk])).status_code == 404


def test_hand_lists_their_own_jobs_and_a_technician_everybody_s(as_hand, hand, as_technician, technician, kind):
    name = kind(lambda job: None)
    job_start(kind=name, title="Hers", given={}, person=technician, at=now())
    job_start(kind=name, title="Mine", given={}, person=hand, at=now())
    assert "Hers" not in as_hand.get("/jobs/").content.decode()
    page = as_technician.get("/jobs/").content.decode()
    assert "Hers" in page and "Mine" in page


@pytest.mark.parametrize("number", [1, 50])
def test_jobs_list_costs_the_same_for_one_and_for_fifty(as_technician, technician, kind, django_assert_num_queries, number):
    name = kind(lambda job: None)
    for _ in range(number):
        queue(name, person=technician)
    as_technician.get("/jobs/")
    with django_assert_num_queries(5):  # company, session, person, jobs, alerts
        page = as_technician.get("/jobs/?before=999999999").content.decode()
    assert page.count("Count the leads") == number


def test_jobs_that_ended_long_ago_are_forgotten_with_their_files(db, kind, tmp_path):
    old, new = make_file_job(kind, None), None
    Job.objects.update(ended_at=now() - timedelta(days=31))
    new = queue("test")
    job_run(new.pk)
    stored = Job.objects.get(pk=old.pk).result_file.path
    assert jobs_forget(at=now()) == 1
    assert list(Job.objects.values_list("pk", flat=True)) == [new.pk]
    from pathlib import Path

    assert not Path(stored).exists()
