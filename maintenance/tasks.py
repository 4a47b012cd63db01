"""What the worker does for maintenance. Every message is a wake-up: the work is found in the database."""

from celery import shared_task

from company.clock import now
from maintenance import cell_job
from maintenance.retest_job import nightly_start


@shared_task
def dates_due() -> None:
    """Start the day's reckoning of test-by dates, once a day."""
    nightly_start(at=now())


@shared_task
def cells_due() -> None:
    """Store swap lists at load-in, and start the day's reckoning of cells, once a day."""
    cell_job.clock_tick(at=now())
