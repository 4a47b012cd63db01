"""When an item is tested again: shows left under the target, clamped by the rule, made a date by the bookings, with reasons."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from maintenance.calc.retest_defaults import Rule
from maintenance.calc.retest_guard import Guard
from maintenance.calc.retest_record import Floats, Ints, Record, Records, records_of
from maintenance.calc.retest_type import TypeModel, chance, guess_share, rate_above, rate_quantile, shows_until
from maintenance.calc.retest_wear import Clock
from maintenance.calc.retest_words import (
    By,
    Limit,
    counted,
    date_words,
    in_shows,
    left_words,
    limit_words,
    per_cent,
    record_words,
    times_words,
)

DAYS_A_MONTH = 365.25 / 12
MOST_SHOWS = 100_000  # further ahead than anybody plans
# How often a thing goes out before its own past says: gamma prior of the shows a day, worth 1 in 10 days (our proposal).
PRIOR_SHOWS, PRIOR_DAYS = 1.0, 10.0
SURE = 0.8  # with this chance no more shows than are left come before a date reckoned from the rate of shows
RETIRE_TIMES, RETIRE_SURE = 3.0, 0.9
STEP_UP = 2.0  # an interval grows to at most twice the one before


@dataclass(frozen=True, kw_only=True)
class Situation:
    """What an item's date depends on besides its record.

    `tested_on` is None while it never passed a test. `bookings` are the coming shows it is planned for, (day, shows).
    `past_shows` in `past_days` tell how often it goes out. `last_interval` is the interval in shows that its last test was
    planned after (the shows of the forecast then), `last_short` that the model wanted it shorter than the rule's least.
    """

    tested_on: date | None = None
    bookings: Sequence[tuple[date, float]] = ()
    past_shows: float = 0.0
    past_days: float = 0.0
    last_interval: float | None = None
    last_short: bool = False


@dataclass(kw_only=True, slots=True)
class Situations:
    """Situations of many items as arrays; days as ordinals, -1 for none; NaN for no interval. Bookings by item, then day."""

    tested_on: Ints
    past_shows: Floats
    past_days: Floats
    last_interval: Floats
    last_short: np.ndarray
    booked_item: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    booked_day: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    booked_shows: Floats = field(default_factory=lambda: np.zeros(0))

    def of(self, items: Ints) -> "Situations":
        """Return those of some of the items, in the order given (each at most once)."""
        place = np.full(len(self.tested_on), -1, dtype=np.int64)
        place[items] = np.arange(len(items))
        mine = np.flatnonzero(place[self.booked_item] >= 0)
        mine = mine[np.argsort(place[self.booked_item[mine]], kind="stable")]
        return Situations(
            tested_on=self.tested_on[items],
            past_shows=self.past_shows[items],
            past_days=self.past_days[items],
            last_interval=self.last_interval[items],
            last_short=self.last_short[items],
            booked_item=place[self.booked_item[mine]],
            booked_day=self.booked_day[mine],
            booked_shows=self.booked_shows[mine],
        )


def situations_of(rows: Sequence[Situation]) -> Situations:
    """Put single situations side by side."""
    booked = [
        (index, day.toordinal(), shows)
        for index, row in enumerate(rows)
        for day, shows in sorted(row.bookings, key=lambda b: b[0])
    ]
    return Situations(
        tested_on=np.array([row.tested_on.toordinal() if row.tested_on else -1 for row in rows], dtype=np.int64),
        past_shows=np.array([row.past_shows for row in rows], dtype=np.float64),
        past_days=np.array([row.past_days for row in rows], dtype=np.float64),
        last_interval=np.array([np.nan if row.last_interval is None else row.last_interval for row in rows], dtype=np.float64),
        last_short=np.array([row.last_short for row in rows], dtype=bool),
        booked_item=np.array([b[0] for b in booked], dtype=np.int64),
        booked_day=np.array([b[1] for b in booked], dtype=np.int64),
        booked_shows=np.array([b[2] for b in booked], dtype=np.float64),
    )


@dataclass(kw_only=True, slots=True)
class Reckoning:
    """Where many items stand, as arrays; words as lists.

    `chance_now` that it is bad now; `shows_left` whole shows until the next test; `chance_then` that it is bad after those;
    `wanted` the shows left by the target alone, before any clamp; `test_by` an ordinal or -1; `limit` and `by` what set them.
    """

    chance_now: Floats
    shows_left: Ints
    chance_then: Floats
    wanted: Floats
    test_by: Ints
    limit: list[Limit]
    by: list[By]
    prior_share: Floats
    short: np.ndarray
    retire: np.ndarray
    retire_why: list[str]
    why: list[str]


@dataclass(frozen=True, kw_only=True)
class Reckoned:
    """Where one item stands; the fields of Reckoning for it, the date as a date."""

    chance_now: float
    shows_left: int
    chance_then: float
    wanted: float
    test_by: date | None
    limit: Limit
    by: By
    prior_share: float
    short: bool
    retire: bool
    retire_why: str
    why: str


def bad_chance(model: TypeModel, records: Records, ahead: Floats) -> Floats:
    """Return the chance that each item is bad after `ahead` more shows: from the start, or failed since, and unseen."""
    start = model.start_chance * records.start_missed
    start = start / (1.0 - model.start_chance + start)
    found = 1.0 - (1.0 - start) * (1.0 - chance(model, records.failures, records.shows, records.since + ahead))
    return np.where(records.down, 1.0, found)


def _wanted(model: TypeModel, records: Records, target: float) -> Floats:
    start = model.start_chance * records.start_missed
    start = start / (1.0 - model.start_chance + start)
    spare = 1.0 - (1.0 - target) / (1.0 - start)  # what the target leaves to failing since
    total = shows_until(model, records.failures, records.shows, np.maximum(spare, 0.0))
    return np.minimum(np.maximum(total - records.since, 0.0), MOST_SHOWS)


def days_for(shows: Floats, past_shows: Floats, past_days: Floats) -> Floats:
    """Return the days in which, with chance SURE, no more than `shows` shows come; the rate of shows is learnt from the past.

    Shows to come are negative binomial, N ~ NB(c, d / (d + t)) with c = 1 + past shows, d = 10 + past days; P(N <= k) is a beta
    integral, I_p(c, k + 1), so the day is had without search (our derivation of the gamma-Poisson count).
    """
    from scipy.special import betaincinv

    c, d = PRIOR_SHOWS + past_shows, PRIOR_DAYS + past_days
    share = betaincinv(c, np.floor(shows) + 1.0, SURE)
    return d * (1.0 / share - 1.0)


def _clamped(rule: Rule, guard: Guard, wanted: Floats, records: Records, situations: Situations) -> tuple[Floats, Ints]:
    """Return shows left after all clamps, and the index in Limit of what set each. Intervals count from the last test."""
    limits = list(Limit)
    left, which = wanted.copy(), np.zeros(len(wanted), dtype=np.int64)

    def most(limit: Limit, at: Floats) -> None:
        bound = np.maximum(at, 0.0)
        hit = bound < left
        left[hit], which[hit] = bound[hit], limits.index(limit)

    most(Limit.STEP, np.nan_to_num(STEP_UP * situations.last_interval, nan=np.inf) - records.since_test)
    if guard.most_shows is not None:
        most(Limit.GUARD, guard.most_shows - records.since_test)
    if rule.most_shows is not None:
        most(Limit.MOST, rule.most_shows - records.since_test)
    least = rule.least_shows - records.since_test
    hit = least > left
    left[hit], which[hit] = least[hit], limits.index(Limit.LEAST)
    return left, which


def _dates(rule: Rule, left: Floats, situations: Situations, today: int) -> tuple[Ints, Ints]:
    """Return the day to test by of each item, as an ordinal, and the index in By of what set it."""
    sources = list(By)
    count = len(left)
    stored = rule.storage_shows_a_month / DAYS_A_MONTH
    item, day, shows = situations.booked_item, situations.booked_day, situations.booked_shows
    total = np.bincount(item, shows, minlength=count) if len(item) else np.zeros(count)
    last = np.full(count, today, dtype=np.int64)
    np.maximum.at(last, item, day)
    after = np.maximum(left - total - stored * (last - today), 0.0)
    days = days_for(after, situations.past_shows, situations.past_days)
    if stored > 0:  # resting counts too: the two rates share what is left
        days = days * after / np.maximum(after + stored * days, 1e-12)
    due = last + np.minimum(days, 36_500).astype(np.int64)
    by = np.full(count, sources.index(By.RATE), dtype=np.int64)
    if len(item):
        so_far = np.cumsum(shows)
        begin = np.searchsorted(item, np.arange(count))
        before = np.concatenate([[0.0], so_far])[begin]
        passes = so_far - before[item] + stored * (day - today) > left[item] + 1e-9
        who, where = np.unique(item[passes], return_index=True)
        due[who] = np.maximum(day[passes][where] - 1, today)
        by[who] = sources.index(By.BOOKED)
    if rule.most_days is not None:
        latest = situations.tested_on + rule.most_days
        sooner = latest < due
        due[sooner], by[sooner] = latest[sooner], sources.index(By.CALENDAR)
    soonest = situations.tested_on + rule.least_days
    held = soonest > due
    due[held], by[held] = soonest[held], sources.index(By.SOONEST)
    never = situations.tested_on < 0
    due[never], by[never] = -1, sources.index(By.NOTHING)
    return due, by


def reckon_many(
    *,
    model: TypeModel,
    rule: Rule,
    records: Records,
    situations: Situations,
    today: date,
    guard: Guard | None = None,
    clock: Clock | None = None,
    noun: str = "item",
) -> Reckoning:
    """Reckon all items of one type: chance bad now, shows left, date and sentence of each, in the order of the records.

    `noun` is what one is called in the sentences. `clock` is the age clock of a type that wears out (`retest_wear`), with a
    model learnt by it; shows stay shows in all that goes in and comes out.
    """
    kept = guard or Guard()
    timed = clock.records(records) if clock else records

    def ahead(shows: Floats) -> Floats:
        return clock.on(records.age + shows) - clock.on(records.age) if clock else shows

    now = bad_chance(model, timed, ahead(np.zeros(len(records))))
    wanted = _wanted(model, timed, rule.target)
    if clock:
        wanted = np.minimum(clock.age(clock.on(records.age) + wanted) - records.age, MOST_SHOWS)
    clamped, which = _clamped(rule, kept, wanted, records, situations)
    left = np.floor(clamped + 1e-9)
    then = bad_chance(model, timed, ahead(left))
    due, by_code = _dates(rule, left, situations, today.toordinal())
    due[records.down], by_code[records.down] = -1, 0
    shares = guess_share(model, timed.shows)
    limits, sources = list(Limit), list(By)
    limit = [limits[code] for code in which.tolist()]
    by = [sources[code] for code in by_code.tolist()]
    short = wanted + records.since_test < rule.least_shows
    retire, retire_why = _retire(model, rule, records, timed, situations, short, noun)
    why = _sentences(model, rule, kept, records, noun, limit, by, left, due, then, shares)
    return Reckoning(
        chance_now=now,
        shows_left=left.astype(np.int64),
        chance_then=then,
        wanted=wanted,
        test_by=due,
        limit=limit,
        by=by,
        prior_share=shares,
        short=short,
        retire=retire,
        retire_why=retire_why,
        why=why,
    )


def _sentences(
    model: TypeModel,
    rule: Rule,
    guard: Guard,
    records: Records,
    noun: str,
    limit: list[Limit],
    by: list[By],
    left: Floats,
    due: Ints,
    then: Floats,
    shares: Floats,
) -> list[str]:
    """Say of each, in two sentences, what is on record and how many shows that leaves, until when and why."""
    found = []
    rows = zip(
        *(records.failures.tolist(), records.shows.tolist(), records.down.tolist(), limit, by),
        *(left.astype(np.int64).tolist(), due.tolist(), then.tolist(), shares.tolist()),
        strict=True,
    )
    written: dict[tuple, str] = {}
    for failures, shows, down, what, source, ahead, day, chance_then, share in rows:
        others = model.items - (failures > 0 or shows > 0)
        times, exposure = max(0.0, model.failures - failures), max(0.0, model.shows - shows)
        own = record_words(noun, failures, shows, others, times, exposure, share)
        if down:
            found.append(f"{own} It has failed and was not mended since.")
            continue
        key = (what, chance_then if what is Limit.LEAST else 0.0)
        words = written.get(key)
        if words is None:
            words = written[key] = limit_words(rule, guard, what, chance_then)
        found.append(f"{own} {left_words(ahead, date_words(source, day), words)}")
    return found


def _retire(
    model: TypeModel, rule: Rule, records: Records, timed: Records, situations: Situations, short: np.ndarray, noun: str
) -> tuple[np.ndarray, list[str]]:
    """Say which items are far worse than their kind: 90 % sure of 3 x the type's median rate, or too short twice."""
    count = len(records)
    sure = np.zeros(count)
    failed = np.flatnonzero(records.failures > 0)  # one that never failed cannot be shown to be worse than its kind
    if len(failed):
        usual = RETIRE_TIMES * rate_quantile(model, 0.5)
        sure[failed] = rate_above(model, timed.failures[failed], timed.shows[failed], usual)
    fresh = shows_until(model, np.zeros(1), np.zeros(1), np.array([rule.target]))[0]
    again = short & situations.last_short & (records.failures > 1) & bool(fresh >= rule.least_shows)
    worse = sure >= RETIRE_SURE
    why = [""] * count
    for index in np.flatnonzero(worse | again).tolist():
        sure_words = per_cent(min(sure[index], 0.99))
        history = f"it has {times_words(records.failures[index])} {in_shows(records.shows[index])}"
        why[index] = (
            f"{history}: {sure_words} sure that this {noun} fails over {RETIRE_TIMES:g} times as often as its kind"
            if worse[index]
            else f"{history}: mended, and twice running it wants a test before {counted(rule.least_shows, 'show')} are done"
        )
    return worse | again, why


def reckon(
    *,
    model: TypeModel,
    rule: Rule,
    record: Record,
    situation: Situation,
    today: date,
    guard: Guard | None = None,
    clock: Clock | None = None,
    noun: str = "item",
) -> Reckoned:
    """Reckon one item, by the same arithmetic as its whole type."""
    found = reckon_many(
        model=model,
        rule=rule,
        records=records_of([record]),
        situations=situations_of([situation]),
        today=today,
        guard=guard,
        clock=clock,
        noun=noun,
    )
    return reckoned_at(found, 0)


def reckoned_at(found: Reckoning, index: int) -> Reckoned:
    """Return one item of a reckoning."""
    day = int(found.test_by[index])
    return Reckoned(
        chance_now=float(found.chance_now[index]),
        shows_left=int(found.shows_left[index]),
        chance_then=float(found.chance_then[index]),
        wanted=float(found.wanted[index]),
        test_by=date.fromordinal(day) if day > 0 else None,
        limit=found.limit[index],
        by=found.by[index],
        prior_share=float(found.prior_share[index]),
        short=bool(found.short[index]),
        retire=bool(found.retire[index]),
        retire_why=found.retire_why[index],
        why=found.why[index],
    )
