"""What the program speaks up about on its own account, and what every rule's sentence is made with."""

from collections.abc import Callable, Iterable
from datetime import date, datetime, time, timedelta
from functools import wraps
from zoneinfo import ZoneInfo

from django.urls import reverse
from django.utils import timezone

from company import backups, record_check
from company.models import Company
from company.pulses import silence_ended, worker_silent
from company.registries import ALERT_RULES, AlertRule, Cause, RuleTerms
from company.templatetags.tape import moment

CLOSING_TIME = time(17, 0)  # by when a thing due on a day is sorted into the running order
TITLE_MOST, SAYS_MOST = 160, 500

Find = Callable[[datetime, RuleTerms], Iterable[Cause]]


def closing(day: date, zone: ZoneInfo) -> datetime:
    """Return the instant by which a thing due on a day should be done."""
    return datetime.combine(day, CLOSING_TIME, tzinfo=zone)


def spoken(find: Find) -> Callable[[datetime, RuleTerms], list[Cause]]:
    """Have a rule's sentences tell days and hours as the shop's clock does: a worker has no page to set its zone."""

    @wraps(find)
    def found(at: datetime, terms: RuleTerms) -> list[Cause]:
        with timezone.override(Company.current().zone):
            return list(find(at, terms))

    return found


def stage_before(due: datetime, at: datetime, terms: RuleTerms) -> int:
    """Return how many of a rule's further stages have come, each so long before something is due."""
    return sum(at >= due - stage for stage in terms.stages)


def stage_after(due: datetime, at: datetime, terms: RuleTerms) -> int:
    """Return how many of a rule's further stages have come, each so long after something was due."""
    return sum(at >= due + stage for stage in terms.stages)


def cut(text: str, most: int = SAYS_MOST) -> str:
    """Shorten what is longer than an alert may be, at a word."""
    return text if len(text) <= most else text[: most - 1].rsplit(" ", 1)[0] + "…"


def number_of(count: int, one: str, many: str) -> str:
    """Say a number of things: 1 set, 3 sets."""
    return f"{count} {one if count == 1 else many}"


@spoken
def worker_stood_still(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell of a worker that is silent while the machine is on, and for a day of one that was: only one that is back can."""
    since, ended = worker_silent(at), None
    if since is None and (last := silence_ended(at)) is not None:
        since, ended = last.since, last.until
    if since is None:
        return
    if ended is None:
        says = f"It has said nothing since {moment(since)}, and the machine is on. Start it again: until then nothing is told."
    else:
        says = (
            f"It said nothing from {moment(since)} to {moment(ended)}, and the machine was on. "
            "What came due in between is told late: look through the alerts, and at its log for why."
        )
    yield Cause(
        subject="shop",
        occasion=f"silent:{since.isoformat()}",
        title="The worker stood still",
        says=says,
        url=reverse("status"),
        by=since,
    )


@spoken
def no_backup(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell that the last good backup is too long ago, or that there never was one; one alert a last backup."""
    last = backups.last_backup(at)
    company = Company.current()
    since = last if last is not None else company.set_up_at
    if since is None or since > at - terms.lead:
        return
    known = f"The last one was made on {moment(last)}." if last is not None else "There has never been one."
    yield Cause(
        subject="shop",
        occasion=f"backup:{last.isoformat() if last is not None else 'never'}",
        title="No backup for too long",
        says=f"{known} Make one now, and see there why the nightly one was not made.",
        url=reverse("status"),
        by=since + terms.lead,
    )


@spoken
def record_unwell(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell that the nightly check found the record damaged, or rows that point at nothing; once, until it is whole again."""
    found = record_check.last_check()
    if found is None or found.well or found.since is None:
        return
    yield Cause(
        subject="shop",
        occasion=f"record:{found.since.isoformat()}",
        title="The record does not hold together",
        says=cut(f"{found.says}. {record_check.what_to_do(found)}"),
        url=reverse("status"),
        by=found.since,
    )


WORKER = AlertRule(
    key="worker-silent",
    name="Worker silent",
    why="While it stands still nobody is told anything. A machine that slept is no alarm.",
    find=worker_stood_still,
    done="It runs again.",
    role="owner",
)
BACKUP = AlertRule(
    key="no-backup",
    name="No backup for too long",
    why="A disk that dies takes with it all that came after the last backup.",
    find=no_backup,
    done="A backup was made.",
    role="owner",
    terms=RuleTerms(lead=timedelta(days=3)),
    lead_means="after the last backup",
)
RECORD = AlertRule(
    key="record-unwell",
    name="Record does not hold together",
    why="A backup of a damaged record is a damaged backup: the sooner it is mended, the less is lost.",
    find=record_unwell,
    done="The last check found it whole.",
    role="owner",
    urgent=True,
    digest=False,
)


def register() -> None:
    """Fill the registry; called once, when the program starts."""
    ALERT_RULES.add(WORKER.key, lambda: WORKER, rank=90)
    ALERT_RULES.add(BACKUP.key, lambda: BACKUP, rank=91)
    ALERT_RULES.add(RECORD.key, lambda: RECORD, rank=92)
