"""What the worker does for maintenance. Every message is a wake-up: the work is found in the database."""

from celery import shared_task

from company.clock import now
from maintenance import cell_job
from maintenance.retest_job import nightly_start
from maintenance.services import alerts, outbox

SEND_FOR_S = 20.0  # then other messages have their turn


@shared_task
def dates_due() -> None:
    """Start the day's reckoning of test-by dates, once a day."""
    nightly_start(at=now())


@shared_task
def cells_due() -> None:
    """Store swap lists at load-in, and start the day's reckoning of cells, once a day."""
    cell_job.clock_tick(at=now())


@shared_task
def alerts_due() -> None:
    """Run the alert rules when their last run is five minutes old; asked every minute."""
    if alerts.alerts_due(at=now()):
        alerts.alerts_run(at=now())


@shared_task
def deliveries_due() -> None:
    """Make the digests that are due and send what waits, for some seconds; then ask for another turn if there is more."""
    outbox.digests_make(at=now())
    if outbox.deliveries_send(at=now(), seconds=SEND_FOR_S).left:
        deliveries_due.delay()
