"""What a target costs: bench minutes a month against bad ones at a show, so that the owner sees both before choosing."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from maintenance.calc.retest_defaults import Rule
from maintenance.calc.retest_due import DAYS_A_MONTH, MOST_SHOWS
from maintenance.calc.retest_record import Floats, Records
from maintenance.calc.retest_type import TypeModel, chance, shows_until
from maintenance.calc.retest_wear import Clock

TARGETS = tuple(float(f"{t:.3g}") for t in np.geomspace(0.005, 0.3, 19))
MOST_ITEMS = 120  # a type's items are stood for by so many of them, spread over their records
_POINTS, _WEIGHTS = np.polynomial.legendre.leggauss(6)


@dataclass(frozen=True, kw_only=True)
class CostPoint:
    """What one target comes to in the long run. `target` is the chance of being bad that is not passed before the next test.

    `bad_a_show` are those of the type that are bad when taken to a show, on average; `interval_shows` the middle interval.
    `cents_a_month` is what bad ones cost in use, at line check and in the show. `held` says that the rule's clamps, not the
    target, set most intervals.
    """

    target: float
    bad_a_show: float
    tests_a_month: float
    minutes_a_month: float
    interval_shows: float
    cents_a_month: float
    held: bool


def line_check_share(at_line_check: int, in_show: int) -> float:
    """Return the share of faults that come out at line check and not in the show, by what was seen, one of each at first."""
    return (at_line_check + 1) / (at_line_check + in_show + 2)


def _sample(records: Records | None, count: int) -> tuple[Floats, Floats]:
    """Return r and T of the items that stand for the type, spread evenly over their order of rate."""
    if records is None or not len(records):
        return np.zeros(1), np.zeros(1)
    order = np.lexsort((records.shows, records.failures))
    if len(order) > MOST_ITEMS:
        order = order[((np.arange(MOST_ITEMS) + 0.5) * len(order) / MOST_ITEMS).astype(np.int64)]
    return records.failures[order], records.shows[order]


def cost_of_target(
    *,
    model: TypeModel,
    rule: Rule,
    count: int,
    shows_a_month: float,
    a_show: float,
    records: Records | None = None,
    sees_show: float = 0.0,
    at_line_check: int = 0,
    in_show: int = 0,
    targets: Sequence[float] = TARGETS,
    clock: Clock | None = None,
) -> tuple[CostPoint, ...]:
    """Return a curve over targets: what keeping to each takes at the bench and lets through to the shows.

    `count` items of the type; the company does `shows_a_month`, each takes `a_show` of them. `records` are the items' own
    (without them each is like the type). `sees_show` as in `retest_record`: uneventful shows stretch the intervals.
    `at_line_check` and `in_show` are the faults seen so far in each, for the cost pair. ValueError for no items or negative
    figures.

    In the long run an item is tested, goes out for h shows and is tested again; h is what the target allows, clamped by the
    rule. On average it is then bad with int_0^h P(k u) du / h, where k = 1 - sees_show is what uneventful shows leave unseen.
    With the age clock of a type that wears out, all of that from each item's age now, which is taken to be its exposure.
    """
    if count < 1 or shows_a_month < 0 or a_show < 0:
        raise ValueError("There is at least one item, and no fewer than no shows.")
    failures, shows = _sample(records, count)
    age = clock.age(shows) if clock else shows
    keep = max(1e-9, 1.0 - sees_show)
    uses = min(a_show, count) * shows_a_month / count  # shows a month of one item
    line = line_check_share(at_line_check, in_show)
    cents = line * rule.line_check_cents + (1 - line) * rule.show_cents
    longest = float(MOST_SHOWS) if rule.most_shows is None else float(rule.most_shows)
    if rule.most_days is not None:
        longest = min(longest, max(uses * rule.most_days / DAYS_A_MONTH, 1e-6))
    shortest = max(float(rule.least_shows), uses * rule.least_days / DAYS_A_MONTH, 1e-6)
    found = []
    for target in targets:
        wanted = shows_until(model, failures, shows, np.full(len(failures), target))
        wanted = (clock.age(shows + wanted) - age if clock else wanted) / keep
        interval = np.minimum(np.maximum(wanted, shortest), max(longest, shortest) if rule.most_days is None else longest)
        # where bad: averaged over the interval by Gauss and Legendre
        at = interval[:, None] * (_POINTS + 1) / 2 * keep
        bad = np.zeros(len(failures))
        for node, weight in zip(at.T, _WEIGHTS, strict=True):
            bad += chance(model, failures, shows, clock.on(age + node) - shows if clock else node) * weight / 2
        rate = uses / interval
        tests = count * float(rate.mean()) if uses > 0 else _resting_tests(rule, count)
        bad_a_show = min(a_show, count) * float(bad.mean())
        found.append(
            CostPoint(
                target=float(target),
                bad_a_show=bad_a_show,
                tests_a_month=tests,
                minutes_a_month=tests * rule.minutes_a_test,
                interval_shows=float(np.median(interval)),
                cents_a_month=bad_a_show * shows_a_month * cents,
                held=bool(np.mean(np.abs(interval - wanted) > 1e-9) > 0.5),
            )
        )
    return tuple(found)


def _resting_tests(rule: Rule, count: int) -> float:
    return count * DAYS_A_MONTH / rule.most_days if rule.most_days else 0.0


def target_for(
    *,
    bad_a_show: float,
    model: TypeModel,
    rule: Rule,
    count: int,
    shows_a_month: float,
    a_show: float,
    records: Records | None = None,
    sees_show: float = 0.0,
    clock: Clock | None = None,
) -> float:
    """Return the target that lets so many bad ones of the type come to a show on average, within 0.0001 and 0.9; by bisection.

    Where the rule's clamps let no fewer or no more through than wanted, the end of that range is returned.
    """
    low, high = 1e-4, 0.9
    for _ in range(40):
        middle = (low * high) ** 0.5
        (point,) = cost_of_target(
            model=model,
            rule=rule,
            count=count,
            shows_a_month=shows_a_month,
            a_show=a_show,
            records=records,
            sees_show=sees_show,
            targets=(middle,),
            clock=clock,
        )
        if point.bad_a_show > bad_a_show:
            high = middle
        else:
            low = middle
        if high / low < 1.0005:
            break
    return low


def cost_words(now: CostPoint, then: CostPoint, noun: str) -> str:
    """Say what another target changes: 0.5 bad leads a show instead of 1.1, for 140 bench minutes a month, 60 more than now."""
    more = then.minutes_a_month - now.minutes_a_month
    change = "as many as now" if abs(more) < 0.5 else f"{abs(more):.0f} {'more' if more > 0 else 'fewer'} than now"
    return (
        f"{then.bad_a_show:.2g} bad {noun} a show instead of {now.bad_a_show:.2g}, "
        f"for {then.minutes_a_month:.0f} bench minutes a month, {change}"
    )
