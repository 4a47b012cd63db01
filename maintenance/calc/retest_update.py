"""A type's model after one item's record has changed, without its other items; and records of many parts put together."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from maintenance.calc.retest_record import Floats, Record, Records
from maintenance.calc.retest_type import TypeModel


@dataclass(frozen=True, kw_only=True, slots=True)
class Share:
    """What a type's model has learnt from one item: r, T, how often it was put in use afresh, and was bad from then."""

    failures: float = 0.0
    shows: float = 0.0
    starts: int = 0
    starts_bad: int = 0

    @property
    def told(self) -> bool:
        """Say whether it counts among the items the model was learnt from."""
        return self.failures > 0 or self.shows > 0


def share_of(record: Record) -> Share:
    """Return what a record adds to its type's model."""
    return Share(failures=record.failures, shows=record.shows, starts=record.starts, starts_bad=record.starts_bad)


def _log_chance(model: TypeModel, share: Share) -> Floats:
    """Return the log chance of an item's record in each cell, up to a term that is the same in all: see `retest_type`."""
    from scipy.special import gammaln

    power = model.a + share.failures
    return gammaln(power) - gammaln(model.a) + model.a * np.log(model.b) - power * np.log(model.b + share.shows)


def _spread(model: TypeModel, weight: Floats) -> float:
    """Return the variance of ln(mean rate) over the cells."""
    log_mean = np.log(model.a / model.b)
    return float(weight @ (log_mean - weight @ log_mean) ** 2)


def model_moved(model: TypeModel, *, was: Share, now: Share) -> TypeModel:
    """Return the model with one item's record changed: exact on the cells it has, which stay where they were laid.

    By Bayes each weight changes by the chance of the new record over that of the old. A whole fit lays the cells anew; until
    then what one item adds moves no weight to where there are no cells.
    """
    logs = np.log(model.weight) + _log_chance(model, now) - _log_chance(model, was)
    weight = np.exp(logs - logs.max())
    weight = np.maximum(weight / weight.sum(), 1e-300)  # a stored weight of nothing would be refused
    bad, good = model.start_bad
    bad += now.starts_bad - was.starts_bad
    good += (now.starts - now.starts_bad) - (was.starts - was.starts_bad)
    return replace(
        model,
        weight=weight,
        guess_left=min(1.0, model.guess_left * _spread(model, weight) / max(_spread(model, model.weight), 1e-12)),
        start_bad=(max(bad, 1e-6), max(good, 1e-6)),
        items=model.items + now.told - was.told,
        failures=model.failures + now.failures - was.failures,
        shows=model.shows + now.shows - was.shows,
    )


def records_joined(parts: Sequence[Records]) -> Records:
    """Put the records of several parts one after the other."""
    offsets = np.cumsum([0, *(len(part) for part in parts)])
    names = [name for name in Records.__dataclass_fields__ if name != "spans_item"]
    return Records(
        spans_item=np.concatenate([part.spans_item + offset for part, offset in zip(parts, offsets, strict=False)]),
        **{name: np.concatenate([getattr(part, name) for part in parts]) for name in names},
    )
