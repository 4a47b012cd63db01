"""What the status page says of the rules and of the mail."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.conf import settings
from django.urls import reverse

from company.registries import ALERT_RULES, StatusLine
from company.running import ago_words
from maintenance.calc.alert_words import AddressKind, DeliveryState
from maintenance.models import Attempt, Delivery, RuleRun

LATE = timedelta(minutes=30)  # a rule that has not ended well for so long is said to be late
SLOW_MS = 30_000  # what all of them together may take in a large shop


def rules_lines(at: datetime) -> Iterable[StatusLine]:
    """Say how the rules ran, and which of them took longest."""
    runs = {run.rule: run for run in RuleRun.objects.all()}
    rules = {make().key: make() for make in ALERT_RULES}
    threw = [run for key, run in runs.items() if key in rules and run.said]
    last = max((run.began_at for run in runs.values()), default=None)
    url = reverse("alert-rules")
    if last is None:
        yield StatusLine(name="Alert rules", says="They have not run yet.", url=url)
        return
    late = last < at - LATE
    long = " That is long: is the worker running?" if late else ""
    timed = [(run.took_ms, rules[key].name) for key, run in runs.items() if key in rules and run.took_ms is not None]
    slowest, name = max(timed, default=(0, ""))
    took = f" The slowest took {seconds_words(slowest)}: {name}." if name else ""
    yield StatusLine(
        name="Alert rules",
        says=f"{len(rules)} rules, last run {ago_words(at - last)}.{took}{long}",
        well=not late and not threw and slowest < SLOW_MS,
        url=url,
    )
    for run in threw:
        yield StatusLine(name=rules[run.rule].name, says=run.said, well=False, url=url)


def mail_lines(at: datetime) -> Iterable[StatusLine]:
    """Say when the mail server last took something and when it last failed; an address that refuses is no fault of its.

    What failed and waits to be tried again is the server's; three queries.
    """
    tried = Attempt.objects.filter(delivery__address__kind=AddressKind.EMAIL, ended_at__isnull=False)
    went = tried.filter(went=True).order_by("-pk").values_list("ended_at", flat=True).first()
    failed = tried.filter(went=False, delivery__state=DeliveryState.WAITING).order_by("-pk").first()
    waiting = Delivery.objects.filter(
        address__kind=AddressKind.EMAIL, state=DeliveryState.WAITING, not_before__lte=at - LATE
    ).exists()
    into_files = not settings.EMAIL_HOST or "smtp" not in settings.EMAIL_BACKEND
    said = [f"Last taken {ago_words(at - went)}." if went else "Nothing was mailed yet."]
    down = failed is not None and failed.ended_at is not None and (went is None or failed.ended_at >= went)
    if failed is not None and failed.ended_at is not None:
        said.append(f"Last failed {ago_words(at - failed.ended_at)}: {failed.said.rstrip('.')}. It is tried again by itself.")
    if waiting and not down:
        said.append("Some mail is due for over half an hour: is the worker running?")
    if into_files:
        said.append("No mail server is set: mail is written into files.")
    well = False if down or waiting else True if went and not into_files else None
    yield StatusLine(name="Mail", says=" ".join(said), well=well, url=reverse("deliveries"))


def seconds_words(ms: int) -> str:
    """Write how long something took: `40 ms`, `1.2 s`, `75 s`."""
    if ms < 1_000:
        return f"{ms}\u2009ms"
    return f"{ms / 1_000:.1f}\u2009s" if ms < 10_000 else f"{ms / 1_000:.0f}\u2009s"
