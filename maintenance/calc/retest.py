"""When to test again: the front door of the rooms `retest_*`.

The way through: an item's events fold to a Record (`retest_record`); the records of a type make a TypeModel (`retest_type`)
from the first guesses of its Rule (`retest_defaults`); with its Situation each item is reckoned (`retest_due`), and what is
foretold is stored (`retest_forecast`) and scored (`scoring`). Guard, wear-out and cost look at a whole type (`retest_guard`,
`retest_wear`, `retest_cost`).
"""

from dataclasses import replace

import numpy as np

from maintenance.calc.retest_defaults import Rule, default_rule, rule_from
from maintenance.calc.retest_due import (
    Reckoned,
    Reckoning,
    Situation,
    Situations,
    bad_chance,
    reckon,
    reckon_many,
    reckoned_at,
    situations_of,
)
from maintenance.calc.retest_forecast import chance_by, chance_range, forecast_chance, forecast_given
from maintenance.calc.retest_guard import Guard, guard
from maintenance.calc.retest_record import CODES, Event, Record, Records, What, fold, fold_many, records_of
from maintenance.calc.retest_type import VERSION, TypeModel, model_from, rate_quantile, type_fit
from maintenance.calc.retest_wear import Clock, WearOut, wear_fit

__all__ = [
    "CODES",
    "VERSION",
    "Clock",
    "Event",
    "Guard",
    "Reckoned",
    "Reckoning",
    "Record",
    "Records",
    "Rule",
    "Situation",
    "Situations",
    "TypeModel",
    "WearOut",
    "What",
    "bad_chance",
    "chance_by",
    "chance_range",
    "default_rule",
    "fold",
    "fold_many",
    "forecast_chance",
    "forecast_given",
    "guard",
    "guard_of",
    "model_from",
    "model_of",
    "rate_quantile",
    "reckon",
    "reckon_many",
    "reckoned_at",
    "records_of",
    "rule_from",
    "situations_of",
    "type_fit",
    "wear_of",
]


def model_of(rule: Rule, records: Records, clock: Clock | None = None) -> TypeModel:
    """Learn a type's model from the records of all its items, retired and lost ones too: they are evidence like any other.

    With `clock`, that of a type that wears out, the model is by the clock and `reckon` must be given the same.
    """
    timed = clock.records(records) if clock else records
    model = type_fit(
        median_shows=rule.median_shows,
        pessimistic_shows=rule.pessimistic_shows,
        failures=timed.failures,
        shows=timed.shows,
        starts=int(np.sum(records.starts)),
        starts_bad=int(np.sum(records.starts_bad)),
    )
    return replace(model, shows=float(np.sum(records.shows))) if clock else model  # what is told of it is in shows


def wear_of(rule: Rule, records: Records, *, replacement_cents: int = 0) -> WearOut:
    """Look for wear in a type. With what a new one costs, an age to replace at is named where the evidence allows."""
    return wear_fit(
        records=records,
        median_shows=rule.median_shows,
        pessimistic_shows=rule.pessimistic_shows,
        planned_cost=replacement_cents,
        failure_cost=replacement_cents + rule.show_cents if replacement_cents else 0,
    )


def guard_of(rule: Rule, records: Records) -> Guard:
    """Hold the model against the plain count of the type's intervals."""
    return guard(
        intervals=int(np.sum(records.intervals)),
        good=int(np.sum(records.good)),
        interval_shows=float(np.sum(records.interval_shows)),
        target=rule.target,
    )
