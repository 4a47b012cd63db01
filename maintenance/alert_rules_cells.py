"""What cells speak up about: the list to swap before a show, and what is to do with them between shows."""

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db.models import Max
from django.urls import reverse

from company.alert_rules import TITLE_MOST, closing, cut, number_of, spoken, stage_before
from company.clock import today
from company.models import Company
from company.registries import ALERT_RULES, AlertRule, Cause, RuleTerms
from company.templatetags.tape import day as day_words
from company.templatetags.tape import moment
from maintenance.calc.cell_words import Pool
from maintenance.cell_between import SOON, capacity_due, expired_sets, expiring_lots, stored_sets, types_low
from maintenance.cell_querysets import counting_capacity_tests
from maintenance.models import CellLot
from maintenance.swap_needs import swaps_left

MOST = 10_000  # of a sort: what is cut off would close


@spoken
def swap_before_show(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell of a show's swap list with something left to do on it; one alert a show, told again at each further stage."""
    for left in swaps_left(at, at + terms.lead):
        show = left.found.needs
        again = "Still to do: " if stage_before(show.load_in, at, terms) else ""
        words = f"{again}{left.words}" if again else left.words[0].upper() + left.words[1:]
        yield Cause(
            subject=f"show:{show.key}",
            occasion=f"show:{show.key}",
            title=cut(f"{show.name}: {left.words}", TITLE_MOST),
            says=cut(f"{words} before load-in, {moment(show.load_in)}. {left.why} Work through its swap list."),
            url=reverse("swap-list", args=[show.key]),
            by=show.load_in,
            stage=stage_before(show.load_in, at, terms),
            show=show.key,
        )


@spoken
def cells_low(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell of cells that run low; one alert a type and the lot bought last."""
    low = types_low()
    new = CellLot.objects.filter(pool=Pool.NEW, type__in=[type_ for type_, _left in low]).order_by()
    last = dict(new.values_list("type").annotate(last=Max("pk")))
    for type_, left in low:
        there = number_of(left, "is", "are") if left > 0 else "None is"
        buy = type_.keep_at_least - max(left, 0)
        yield Cause(
            subject=f"cell-type:{type_.pk}",
            occasion=f"lot:{last.get(type_.pk, 'none')}",
            title=cut(f"{type_.name}: {max(left, 0)} left", TITLE_MOST),
            says=f"{there} left, and you keep at least {type_.keep_at_least}. Buy {buy} or more, and add the lot.",
            url=reverse("cell-stock"),
        )


@spoken
def cells_expiring(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell of new cells on the shelf whose date comes; one alert a lot and its date."""
    zone, day = Company.current().zone, today(at)
    for lot in expiring_lots(today(at + terms.lead), MOST):
        assert lot.expires_on is not None  # noqa: S101 (the question asks for a day)
        left = lot.left  # type: ignore[attr-defined]
        past = lot.expires_on < day
        do = "Take them out of stock." if past else "Use them first, at rehearsals."
        yield Cause(
            subject=f"lot:{lot.pk}",
            occasion=f"lot:{lot.pk}:{lot.expires_on.isoformat()}",
            title=cut(f"{left} × {lot.type}: {'past their date' if past else 'expire soon'}", TITLE_MOST),
            says=f"Their date {'was' if past else 'is'} {day_words(lot.expires_on)}. {do}",
            url=reverse("cell-lot", args=[lot.pk]),
            by=closing(lot.expires_on, zone),
        )


@spoken
def cells_stored(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell of cells left in gear that is not used; one alert a set."""
    for one in stored_sets(at, MOST):
        item, weeks = one.fitted.item, number_of(one.weeks, "week", "weeks")
        yield Cause(
            subject=f"item:{item.pk}",
            occasion=f"set:{one.fitted.opened_uid}",
            title=cut(f"{item}: cells left in", TITLE_MOST),
            says=f"In it unused since {day_words(one.since)}; this kind may lie so for {weeks}. "
            "Take them out: an empty cell left in place may leak.",
            url=reverse("item-cells", args=[item.code]),
        )


@spoken
def cells_expired(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell of sets in gear that are past their date; one alert a set."""
    zone = Company.current().zone
    for fitted in expired_sets(today(at), MOST):
        assert fitted.lot is not None and fitted.lot.expires_on is not None  # noqa: S101 (the question asks for it)
        yield Cause(
            subject=f"item:{fitted.item_id}",
            occasion=f"set:{fitted.opened_uid}",
            title=cut(f"{fitted.item}: cells past their date", TITLE_MOST),
            says=f"What is in it expired on {day_words(fitted.lot.expires_on)}. Swap it before its next show.",
            url=reverse("item-cells", args=[fitted.item.code]),
            by=closing(fitted.lot.expires_on, zone),
        )


@spoken
def capacity_tests(at: datetime, terms: RuleTerms) -> Iterable[Cause]:
    """Tell of labelled sets due a capacity test; one alert a set and the test before."""
    due = capacity_due(today(at), MOST)
    tests = counting_capacity_tests().filter(item__in=[one.item.pk for one in due]).order_by()
    last = dict(tests.values_list("item").annotate(last=Max("pk")))
    for one in due:
        when = f"It was last tested on {day_words(one.last)}." if one.last else "It was never tested."
        yield Cause(
            subject=f"item:{one.item.pk}",
            occasion=f"capacity:{last.get(one.item.pk, 'none')}",
            title=cut(f"{one.item}: capacity to test", TITLE_MOST),
            says=f"{when} Discharge it on the tester and write down what it gave: that tells when it no longer covers a show.",
            url=reverse("cell-set-test", args=[one.item.code]),
        )


RULES = (
    AlertRule(
        key="swap-before-show",
        name="Swap before a show",
        why="A cell that dies takes its channel with it.",
        find=swap_before_show,
        done="Nothing on its swap list is left to do, or it is over.",
        digest=False,
        terms=RuleTerms(lead=timedelta(hours=24), stages=(timedelta(hours=4),)),
        lead_means="before load-in",
    ),
    AlertRule(
        key="cells-low",
        name="Cells run low",
        why="What is not on the shelf cannot be fitted the night before.",
        find=cells_low,
        done="There are enough again.",
    ),
    AlertRule(
        key="cells-expiring",
        name="Cells near their date",
        why="They are best used up before it.",
        find=cells_expiring,
        done="They were used, or taken out of stock.",
        terms=RuleTerms(lead=SOON),
        lead_means="before their date",
        page="cells-between",
    ),
    AlertRule(
        key="cells-stored",
        name="Cells left in stored gear",
        why="An empty cell left in place may leak.",
        find=cells_stored,
        done="They were taken out, or it goes to a show.",
        page="cells-between",
    ),
    AlertRule(
        key="cells-expired",
        name="Sets past their date",
        why="What is left in them is anybody's guess.",
        find=cells_expired,
        done="They were swapped, or it is not in the shop.",
        page="cells-between",
    ),
    AlertRule(
        key="capacity-due",
        name="Capacity tests",
        why="A rechargeable set fades slowly; only a discharge test shows how far.",
        find=capacity_tests,
        done="It was tested.",
        page="cells-between",
    ),
)


def register() -> None:
    """Fill the registry; called once, when the program starts."""
    for turn, rule in enumerate(RULES):
        ALERT_RULES.add(rule.key, lambda rule=rule: rule, rank=20 if turn == 0 else 70 + turn)  # type: ignore[misc]
