"""Do the jobs that wait, here and now: what the worker's tick does, for a shop whose worker is down."""

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from company.clock import now
from company.jobs import job_run, jobs_left_over
from company.models import Job


class Command(BaseCommand):
    help = "Do the jobs that wait, the oldest first; or those whose numbers are given."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("number", nargs="*", type=int, help="The numbers of jobs, as their pages' addresses show.")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["number"]:
            unknown = set(options["number"]) - set(Job.objects.filter(pk__in=options["number"]).values_list("pk", flat=True))
            if unknown:
                raise CommandError(f"There is no job {', '.join(map(str, sorted(unknown)))}.")
            for job_id in options["number"]:
                self._do(job_id)
            return
        tried: set[int] = set()
        while waiting := [job_id for job_id in jobs_left_over(now()) if job_id not in tried]:
            for job_id in waiting:
                tried.add(job_id)
                self._do(job_id)
        if not tried:
            self.stdout.write("No job is waiting.")

    def _do(self, job_id: int) -> None:
        taken = job_run(job_id)
        job = Job.objects.filter(pk=job_id).first()
        if job is not None:
            self.stdout.write(
                f"{job.pk} {job.title}: {f'{job.state}. {job.said}'.strip() if taken else 'somebody else has it.'}"
            )
