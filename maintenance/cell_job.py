"""The nightly reckoning of cells as a job, and what the clock asks for by day: lists stored at load-in, outcomes."""

from datetime import datetime

from company.clock import now
from company.jobs import job_progress, job_result, job_start
from company.models import Company, Job
from maintenance.models import FittedSet
from maintenance.retest_job import NIGHT
from maintenance.services.cell_forecasts import lists_freeze_due, outcomes_resolve
from maintenance.services.cell_night import JOB_KIND, cells_reckon

TITLE = "What is left in cells"


def job_run(job: Job) -> None:
    """Work out all fitted sets, and what came of forecasts."""

    def tell(done: int, total: int) -> None:
        job_progress(job=job, done=done, total=total, said=f"{done} of {total} sets worked out.")

    done = cells_reckon(at=now(), progress=tell, types=job.given.get("types"))
    done.resolved = outcomes_resolve(at=now())
    job_result(job=job, result={"sets": done.sets, "written": done.written, "resolved": done.resolved})
    job_progress(job=job, done=done.sets, total=done.sets, said=done.said)


def nightly_start(*, at: datetime) -> Job | None:
    """Start the day's reckoning, once a day from 3 in the morning on; None where it was started, or nothing is fitted."""
    zone = Company.current().zone
    day = (at.astimezone(zone) - NIGHT).date()
    since = datetime(day.year, day.month, day.day, tzinfo=zone) + NIGHT
    started = Job.objects.filter(kind=JOB_KIND, title=TITLE, made_at__gte=since).exists()
    if started or not FittedSet.objects.filter(removed_at=None).exists():
        return None
    return job_start(kind=JOB_KIND, title=TITLE, given={}, person=None, at=at)


def clock_tick(*, at: datetime) -> None:
    """Do what is due: store the lists of shows that have loaded in, and start the night's work."""
    lists_freeze_due(at=at)
    nightly_start(at=at)
