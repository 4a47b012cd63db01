"""What is to go back to whom it was borrowed from, and what is to come back from whom it was lent to."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from hashlib import sha256

from django.db.models import Count, QuerySet
from django.urls import reverse

from company.alert_rules import TITLE_MOST, closing, cut, number_of, spoken
from company.clock import today
from company.models import Company
from company.registries import ALERT_RULES, AlertRule, Cause, RuleTerms
from company.templatetags.tape import day as day_words
from inventory.models import Item

GIVE_BACK, GET_BACK = timedelta(days=3), timedelta(days=1)


@dataclass(frozen=True, kw_only=True)
class GiveBack:
    """So many things borrowed from one lender, to go back by one day."""

    lender: str
    by: date
    things: int


def to_give_back(until: date, most: int | None = None) -> list[GiveBack]:
    """Return what was borrowed and must go back by a day, by day and lender; one query."""
    rows = (
        Item.objects.owned()
        .filter(give_back_by__lte=until)
        .values("borrowed_from", "give_back_by")
        .annotate(things=Count("pk"))
        .order_by("give_back_by", "borrowed_from")
    )
    return [GiveBack(lender=row["borrowed_from"], by=row["give_back_by"], things=row["things"]) for row in rows[:most]]


def to_get_back(until: date) -> QuerySet[Item]:
    """Return what we lent and should have home by a day, the longest overdue first."""
    lent = Item.objects.owned().exclude(lent_to="").filter(lent_home_by__lte=until)
    return lent.select_related("type").order_by("lent_home_by", "code")


@spoken
def give_back(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell of borrowed gear to give back; one alert a lender and day."""
    zone, day = Company.current().zone, today(at)
    for row in to_give_back(today(at + terms.lead)):
        things = number_of(row.things, "thing", "things")
        of = f" to {row.lender}" if row.lender else ""
        when = f"{'Was' if row.by < day else 'Is'} to be back by {day_words(row.by)}"
        yield Cause(
            subject=f"lender:{sha256(row.lender.encode()).hexdigest()[:24]}",
            occasion=f"give-back:{row.by.isoformat()}",
            title=cut(f"Give back {things}{of}", TITLE_MOST),
            says=f"{when}. Take {'it' if row.things == 1 else 'them'} back{of}, and say so here; or agree on a later day.",
            url=reverse("gear") + "?borrowed=1",
            by=closing(row.by, zone),
        )


@spoken
def get_back(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell of lent gear to get back; one alert an item and the day it was lent."""
    zone, day = Company.current().zone, today(at)
    for item in to_get_back(today(at + terms.lead)):
        assert item.lent_home_by is not None  # noqa: S101 (the question asks for a day)
        late = item.lent_home_by < day
        yield Cause(
            subject=f"item:{item.pk}",
            occasion=f"lent:{item.lent_on.isoformat() if item.lent_on else item.lent_home_by.isoformat()}",
            title=cut(f"{item.label}: lent to {item.lent_to}", TITLE_MOST),
            says=f"{'Was to' if late else 'To'} be home by {day_words(item.lent_home_by)}. Ask {item.lent_to} for it, "
            "or say that it is lent for longer.",
            url=item.get_absolute_url(),
            by=closing(item.lent_home_by, zone),
        )


GIVE = AlertRule(
    key="give-back",
    name="Give back what was borrowed",
    why="Who lent it counts on having it by that day.",
    find=give_back,
    done="It went back, or may stay longer.",
    digest=False,
    terms=RuleTerms(lead=GIVE_BACK),
    lead_means="before the day it is to go back",
)
GET = AlertRule(
    key="get-back",
    name="Get back what was lent",
    why="What is lent is on no shelf when a show wants it.",
    find=get_back,
    done="It is home, or lent for longer.",
    terms=RuleTerms(lead=GET_BACK),
    lead_means="before the day it is to be home",
)


def register() -> None:
    """Fill the registry; called once, when the program starts."""
    ALERT_RULES.add(GIVE.key, lambda: GIVE, rank=50)
    ALERT_RULES.add(GET.key, lambda: GET, rank=51)
