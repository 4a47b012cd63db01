"""What gets used up, and how much of it to buy."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, kw_only=True)
class UsedAShow:
    """How much the shows that took any used up: the mean, the least and the most of them, and how many shows that is."""

    mean: Decimal
    least: int
    most: int
    shows: int


def used_a_show(used: Sequence[int]) -> UsedAShow | None:
    """Average over the shows that took any; None before the first. One figure a show; the mean has one decimal."""
    if not used:
        return None
    mean = (Decimal(sum(used)) / len(used)).quantize(Decimal("0.1"))
    return UsedAShow(mean=mean, least=min(used), most=max(used), shows=len(used))


def to_buy(*, left: int, keep_at_least: int, buy_by: int = 1) -> int:
    """Return how many to buy so that at least `keep_at_least` are there again, in whole multiples of `buy_by`."""
    wanting = keep_at_least - left
    if wanting <= 0:
        return 0
    pack = max(buy_by, 1)
    return -(-wanting // pack) * pack
