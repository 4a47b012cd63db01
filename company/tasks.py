"""What the worker does. Every message is a wake-up: the work is found in the database."""

from celery import shared_task

from company.clock import now
from company.jobs import job_run, jobs_forget, jobs_left_over
from company.pulses import absences_forget
from company.registries import TIDY


@shared_task
def job_wake(job_id: int) -> None:
    job_run(job_id)


@shared_task
def tick() -> None:
    """Take what is left over: jobs whose message was lost, or whose worker died.

    That the worker lives is written down before each task (config/celery.py), so also with this one.
    """
    for job_id in jobs_left_over(now()):
        job_run(job_id)


@shared_task
def tidy() -> None:
    """Once an hour: forget old jobs and their files, old exports, and sessions that have ended."""
    from django.core.management import call_command

    from company.exports import exports_forget

    at = now()
    jobs_forget(at=at)
    exports_forget(at=at)
    absences_forget(at=at)
    for forget in TIDY:
        forget(at=at)
    call_command("clearsessions")


@shared_task
def backup_due() -> None:
    """Asked often, done once a day: a laptop is on when it is on."""
    from company.backups import nightly_start

    nightly_start(at=now())
