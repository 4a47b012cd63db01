"""How many spares give a show's stated chance of finishing with every line.

A kind's failures a show are counted, not measured: with c failures in n item-shows and a gamma prior on the rate, the number
that fail at the next show is negative binomial (Gelman and others, Bayesian Data Analysis, section 2.6). Kinds fail apart from
each other, so chances multiply; the next spare goes where it helps most for what it costs to carry.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from scipy.special import betainc

PRIOR_SHOWS = 50.0  # how many item-shows a prior's word is worth
MOST_SPARES = 50


@dataclass(frozen=True, kw_only=True)
class Stock:
    """A kind on a show: how many lines need one, its record (failures in item-shows), the prior rate a show, cost to carry."""

    key: str
    name: str
    used: int
    failures: float
    item_shows: float
    prior_rate: float
    free: int = MOST_SPARES  # spares there are to take
    cost: float = 1.0

    def __post_init__(self) -> None:
        if self.used < 0 or self.free < 0 or self.failures < 0 or self.item_shows < 0:
            raise ValueError("Counts are not below nothing.")
        if not (math.isfinite(self.prior_rate) and self.prior_rate > 0 and self.cost > 0):
            raise ValueError("A prior rate and a cost are more than nothing.")

    @property
    def shape(self) -> float:
        return self.failures + self.prior_rate * PRIOR_SHOWS

    @property
    def exposure(self) -> float:
        return self.item_shows + PRIOR_SHOWS


@dataclass(frozen=True, kw_only=True)
class Taken:
    """A kind and how many spares of it go along, with the chance that they are enough."""

    stock: Stock
    spares: int
    chance: float


@dataclass(frozen=True, kw_only=True)
class Plan:
    """Spares a kind, the chance of finishing with every line, whether the goal is met, the chance after each spare added."""

    taken: tuple[Taken, ...]
    chance: float
    met: bool
    steps: tuple[tuple[str, float], ...]


def enough(stock: Stock, spares: int) -> float:
    """Return the chance that at most `spares` of a kind's used ones fail: the negative binomial's distribution function.

    P(N <= s) = I_p(r, s + 1) with r the gamma's shape and p = exposure / (exposure + used).
    """
    if spares < 0:
        raise ValueError("Spares are not below nothing.")
    if stock.used == 0:
        return 1.0
    return float(betainc(stock.shape, spares + 1, stock.exposure / (stock.exposure + stock.used)))


def table(stock: Stock, most: int = 4) -> list[tuple[int, float]]:
    """Return spares against chance, from none to `most`."""
    return [(spares, enough(stock, spares)) for spares in range(most + 1)]


def plan(stocks: Sequence[Stock], *, goal: float) -> Plan:
    """Return the spares that reach a goal in (0, 1): each next one where the chance's logarithm gains most for its cost.

    Each chance is concave in its spares, so no other choice of the same cost reaches more (Fox, Operations Research 14, 1966).
    Where there are no more spares to take, the plan says what is reached.
    """
    if not 0 < goal < 1:
        raise ValueError("A goal lies between 0 and 1.")
    taken = {stock.key: Taken(stock=stock, spares=0, chance=enough(stock, 0)) for stock in stocks}
    steps: list[tuple[str, float]] = []
    while (chance := math.prod(one.chance for one in taken.values())) < goal:
        best = max((_gain(one) for one in taken.values()), default=(0.0, ""))
        if best[0] <= 0:
            break
        one = taken[best[1]]
        taken[best[1]] = replace(one, spares=one.spares + 1, chance=enough(one.stock, one.spares + 1))
        steps.append((best[1], math.prod(one.chance for one in taken.values())))
    return Plan(taken=tuple(taken.values()), chance=chance, met=chance >= goal, steps=tuple(steps))


def _gain(one: Taken) -> tuple[float, str]:
    if one.spares >= min(one.stock.free, MOST_SPARES):
        return 0.0, one.stock.key
    return (math.log(enough(one.stock, one.spares + 1)) - math.log(one.chance)) / one.stock.cost, one.stock.key
