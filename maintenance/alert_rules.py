"""What the bench speaks up about: a test-by date that comes, and one that is past."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import OuterRef, QuerySet, Subquery

from company.alert_rules import TITLE_MOST, closing, cut, spoken
from company.clock import today
from company.models import Company
from company.registries import ALERT_RULES, AlertRule, Cause, RuleTerms
from company.templatetags.tape import day as day_words
from inventory.models import Item
from maintenance.querysets import telling_tests

SOON = timedelta(days=7)


def to_test(*, upto: date) -> QuerySet[Item]:
    """Return what must be tested by a day and could be: owned, at hand sooner or later, and not suspect (that is news of its
    own). Each with `last_test`, the key of the last test that counts and came to something."""
    last = telling_tests().filter(item=OuterRef("pk")).order_by("-done_at", "-pk").values("pk")[:1]
    rows: QuerySet[Item] = Item.objects.due_on(upto).filter(
        suspect_since=None, missing_since=None, lent_to="", type__has_standing=True
    )
    return rows.select_related("type").annotate(last_test=Subquery(last)).order_by("test_by", "pk")


def _only(rows: QuerySet[Item]) -> QuerySet[Item]:
    return rows.only("code", "name", "length_mm", "test_by", "type__name")


@spoken
def retest_soon(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell of a test-by date that comes; one alert an item and the test before."""
    zone = Company.current().zone
    for item in _only(to_test(upto=today(at + terms.lead)).filter(test_by__gt=today(at))).iterator(2000):
        says = f"Its proof runs out on {day_words(item.test_by)}. Test it before then, in a quiet hour."
        yield _cause(item, f"{item.label}: test by {day_words(item.test_by)}", says, zone)


@spoken
def retest_overdue(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell of a test-by date that is past: from its day on a proof proves nothing. One alert an item and the test before."""
    zone = Company.current().zone
    for item in _only(to_test(upto=today(at - terms.lead))).iterator(2000):
        says = f"It was to be tested by {day_words(item.test_by)}. Test it before it goes out again."
        yield _cause(item, f"{item.label}: past its test-by date", says, zone)


def _cause(item: Item, title: str, says: str, zone: ZoneInfo) -> Cause:
    assert item.test_by is not None  # noqa: S101 (the question asks for a day)
    last = item.last_test  # type: ignore[attr-defined]
    return Cause(
        subject=f"item:{item.pk}",
        occasion=f"test:{last or 'none'}",
        title=cut(title, TITLE_MOST),
        says=says,
        url=item.get_absolute_url(),
        by=closing(item.test_by, zone),
    )


RETEST_SOON = AlertRule(
    key="retest-soon",
    name="To be tested soon",
    why="A test in a quiet hour costs less than one at load-in.",
    find=retest_soon,
    done="It was tested, its day was moved, or its day is past.",
    terms=RuleTerms(lead=SOON),
    lead_means="before its test-by day",
    page="bench",
)
RETEST_OVERDUE = AlertRule(
    key="retest-overdue",
    name="Past its test-by date",
    why="A proof that has run out proves nothing.",
    find=retest_overdue,
    done="It was tested, or need not be any more.",
    lead_means="after its test-by day",
    page="bench",
)


def register() -> None:
    """Fill the registry; called once, when the program starts."""
    ALERT_RULES.add(RETEST_SOON.key, lambda: RETEST_SOON, rank=60)
    ALERT_RULES.add(RETEST_OVERDUE.key, lambda: RETEST_OVERDUE, rank=61)
