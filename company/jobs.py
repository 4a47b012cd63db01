"""Work that takes longer than a page may. The row is the work; a broker message only wakes a worker."""

import logging
import threading
from datetime import datetime, timedelta
from typing import Any

from django.core.files.base import File
from django.db import OperationalError, close_old_connections, connection, transaction
from django.db.models import F, Q

from company.clock import now
from company.models import Job, Person
from company.registries import JOBS

log = logging.getLogger(__name__)

LEASE = timedelta(seconds=60)
HEARTBEAT_S = 15.0
MOST_TRIES = 3
KEPT = timedelta(days=30)
BATCH = 20  # how many leftovers one tick takes, so that a tick ends before the next two


class JobError(Exception):
    """A runner raises it with one sentence for the person who asked: what was wrong with what they gave."""


class JobLostError(Exception):
    """Another worker has taken the job over: stop, and write nothing more."""


def job_start(
    *,
    kind: str,
    title: str,
    given: dict[str, Any],
    person: Person | None,
    at: datetime,
    file: File | None = None,
    total: int = 0,
) -> Job:
    """Queue a job and wake a worker once the row is committed.

    `given` must be JSON; `given["least_role"]` (default technician) says who besides `person` may fetch the result.
    """
    if kind not in JOBS:
        raise LookupError(f"no floor has registered the job {kind!r}")
    job = Job(kind=kind, title=title[:160], given=given, person=person, made_at=at, total=total)
    if file is not None:
        job.file = file
    job.save(force_insert=True)
    # robust: a broker that is down must not spoil the page; the tick takes the job within 30 s
    transaction.on_commit(lambda: _wake(job.pk), robust=True)
    return job


def _wake(job_id: int) -> None:
    from company.tasks import job_wake

    try:
        job_wake.delay(job_id)
    except Exception as error:  # whatever a broker that is down or broken raises
        log.warning("The broker took no wake-up for job %s (%s). It waits in the database for the next tick.", job_id, error)


def job_progress(*, job: Job, done: int, total: int | None = None, said: str = "") -> None:
    """Tell the page how far the job is. Inside a transaction of the job nothing is written: it would not be seen before the
    commit, and would hold the row. Call it between the chunks.
    """
    if total is not None:
        job.total = total
    job.done, job.said = done, said[:400]
    if _depth() > getattr(job, "outside", _depth()):
        return
    at = now()
    changed = _ours(job).update(done=job.done, total=job.total, said=job.said, lease_until=at + LEASE)
    if not changed:
        raise JobLostError(job.pk)


def job_result(*, job: Job, result: dict[str, Any] | None = None, file_name: str = "", file: File | None = None) -> None:
    """Keep what came of the job: a few figures, and at most one file."""
    if result is not None:
        job.result = result
    if file is not None:
        job.result_file.save(file_name, file, save=False)
    if not _ours(job).update(result=job.result, result_file=job.result_file.name or ""):
        raise JobLostError(job.pk)


def job_take(*, job_id: int, at: datetime) -> Job | None:
    """Claim a job that is queued, or running under a lease that ran out; None if somebody else has it."""
    free = Q(state=Job.State.QUEUED) | Q(state=Job.State.RUNNING, lease_until__lt=at)
    taken = Job.objects.filter(free, pk=job_id).update(
        state=Job.State.RUNNING, lease_until=at + LEASE, started_at=at, tries=F("tries") + 1, done=0, said=""
    )
    return Job.objects.get(pk=job_id) if taken else None


def job_run(job_id: int) -> bool:
    """Take a job and run it to its end; False if there was nothing to take. Never raises for what the job did."""
    job = job_take(job_id=job_id, at=now())
    if job is None:
        return False
    if job.tries > MOST_TRIES:
        _end(
            job,
            Job.State.FAILED,
            f"It stopped the worker {MOST_TRIES} times and was given up. Ask for it again, in smaller parts.",
        )
        return True
    job.outside = _depth()  # type: ignore[attr-defined]
    beat = _Heartbeat(job)
    beat.start()
    try:
        JOBS[job.kind](job)
    except JobLostError:
        log.warning("job %s was taken over by another worker", job.pk)
    except JobError as error:
        _end(job, Job.State.FAILED, str(error))
    except OperationalError as error:
        if "locked" not in str(error).lower() or job.tries >= MOST_TRIES:
            log.exception("job %s failed", job.pk)
            _end(job, Job.State.FAILED, "The database did not answer. Nothing was half-written; ask for it again.")
        else:
            _ours(job).update(state=Job.State.QUEUED, lease_until=None, said="The database was busy; it will be tried again.")
    except KeyError as error:
        log.exception("job %s failed", job.pk)
        unknown = job.kind not in JOBS
        _end(job, Job.State.FAILED, f"This program no longer knows the job {job.kind}." if unknown else _mistake(error))
    except Exception as error:
        log.exception("job %s failed", job.pk)
        _end(job, Job.State.FAILED, _mistake(error))
    else:
        _end(job, Job.State.DONE, job.said)
    finally:
        beat.stop()
    return True


def jobs_left_over(at: datetime) -> list[int]:
    """Return the oldest jobs nobody is working on."""
    free = Q(state=Job.State.QUEUED) | Q(state=Job.State.RUNNING, lease_until__lt=at)
    return list(Job.objects.filter(free).order_by("made_at", "pk").values_list("pk", flat=True)[:BATCH])


def jobs_forget(*, at: datetime) -> int:
    """Delete what ended over 30 days ago, with its files."""
    old = list(Job.objects.filter(ended_at__lt=at - KEPT).order_by("pk")[:500])
    for job in old:
        for kept in (job.file, job.result_file):
            if kept:
                kept.delete(save=False)
    Job.objects.filter(pk__in=[job.pk for job in old]).delete()
    return len(old)


def _mistake(error: Exception) -> str:
    if type(error).__name__ == "SoftTimeLimitExceeded":
        return "It took too long and was stopped. Ask for it again, in smaller parts."
    return f"The program made a mistake here ({type(error).__name__}). Nothing else was touched; tell whoever looks after it."


def _depth() -> int:
    """How many transactions and savepoints this connection stands in."""
    return int(connection.in_atomic_block) + len(connection.savepoint_ids)


def _ours(job: Job) -> Any:
    # `tries` is the fence: whoever takes the job over counts one up, and this worker's writes then match no row
    return Job.objects.filter(pk=job.pk, state=Job.State.RUNNING, tries=job.tries)


def _end(job: Job, state: str, said: str) -> None:
    at = now()
    done = job.total if state == Job.State.DONE and job.total else job.done
    if _ours(job).update(state=state, said=said[:400], done=done, total=job.total, ended_at=at, lease_until=None):
        job.state, job.said, job.ended_at, job.done = state, said[:400], at, done


class _Heartbeat(threading.Thread):
    """Renew the lease while a runner is busy with one long step, from a connection of its own."""

    def __init__(self, job: Job) -> None:
        super().__init__(name=f"job-{job.pk}", daemon=True)
        self.job = job
        self._over = threading.Event()

    def run(self) -> None:
        try:
            while not self._over.wait(HEARTBEAT_S):
                try:
                    if not _ours(self.job).update(lease_until=now() + LEASE):
                        return
                except OperationalError:  # busy: there are three more chances before the lease runs out
                    log.info("job %s: no heartbeat this time", self.job.pk)
        finally:
            close_old_connections()
            connection.close()

    def stop(self) -> None:
        self._over.set()
        self.join()
