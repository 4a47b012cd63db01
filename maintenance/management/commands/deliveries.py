"""Send what waits, as the worker does; or say how the outbox stands."""

from typing import Any

from django.core.management.base import BaseCommand

from company.clock import now
from maintenance.services.outbox import deliveries_report, deliveries_send, digests_make


class Command(BaseCommand):
    help = "Make the digests that are due and send what waits. With --report, say how the outbox stands and send nothing."

    def add_arguments(self, parser: Any) -> None:
        parser.add_argument("--report", action="store_true", help="counts by state, and what may have been told twice")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["report"]:
            told = deliveries_report(at=now())
            self.stdout.write(
                f"{told.waiting} waiting, {told.sending} being sent, {told.sent} sent, {told.aside} put aside, "
                f"{told.dropped} no longer wanted. {told.interrupted} attempts fell between sending and recording; "
                f"{told.twice} of these were sent again and may have come twice."
            )
            return
        made = digests_make(at=now())
        sent = deliveries_send(at=now())
        self.stdout.write(
            f"{made} digests made. {sent.sent} sent, {sent.later} later, {sent.aside} put aside, {sent.dropped} dropped."
        )
        for said in sent.down:
            self.stderr.write(said)
