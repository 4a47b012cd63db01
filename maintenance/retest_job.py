"""The nightly reckoning as a job: started once a day by the clock, whenever the machine is on; run by a worker."""

from datetime import datetime, timedelta

from company.clock import now
from company.jobs import job_progress, job_result, job_start
from company.models import Company, Job
from inventory.models import Item
from maintenance.services.retest import JOB_KIND
from maintenance.services.retest_wear import night_reckon

NIGHT = timedelta(hours=3)  # of the company's clock: when a day's work is over
TITLE = "When to test things again"


def job_run(job: Job) -> None:
    """Reckon all types, or those the job names."""

    def tell(done: int, total: int) -> None:
        job_progress(job=job, done=done, total=total, said=f"{done} of {total} things worked out.")

    def look(done: int, total: int) -> None:
        job_progress(job=job, done=done, total=total, said=f"Does age matter? {done} of {total} kinds of gear looked at.")

    done = night_reckon(at=now(), progress=tell, looking=look, types=job.given.get("types"))
    job_result(job=job, result={"items": done.items, "written": done.written, "failed": done.failed})
    job_progress(job=job, done=done.items, total=done.items, said=done.said)


def nightly_start(*, at: datetime) -> Job | None:
    """Start the day's reckoning, once a day from 3 in the morning on; None where it was started, or there is nothing to do.

    A machine that is off at night does it when it is switched on: dates must not depend on the hour a laptop is open.
    """
    zone = Company.current().zone
    day = (at.astimezone(zone) - NIGHT).date()
    since = datetime(day.year, day.month, day.day, tzinfo=zone) + NIGHT
    started = Job.objects.filter(kind=JOB_KIND, title=TITLE, made_at__gte=since).exists()
    if started or not Item.objects.filter(type__has_standing=True).exists():
        return None
    return job_start(kind=JOB_KIND, title=TITLE, given={}, person=None, at=at)
