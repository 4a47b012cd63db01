"""What is left in a set and what to do about it: the front door of the rooms `cell_*`.

The way through: a gear type's plan or a device's own record gives a Draw (`draw_of`, `learn`, `pool`); with the kind of cell,
hours used and readings it makes a Life (`life`, many at once `lives_of`); a show's need gives the chance of dying in it
(`chance_of_dying`), and its share of the show's limit (`shares`) says keep or swap.
"""

from maintenance.calc.cell_life import (
    CLASS_GUESS,
    MAKERS_FIGURE,
    METERED,
    Prior,
    at_temperature,
    capacity_sigma,
    chance_of_dying,
    draw_of,
    fresh_life,
    life,
    life_from_full,
    life_of,
    standby_hours,
)

VERSION = 1

__all__ = [
    "CLASS_GUESS",
    "MAKERS_FIGURE",
    "METERED",
    "VERSION",
    "Prior",
    "at_temperature",
    "capacity_sigma",
    "chance_of_dying",
    "draw_of",
    "fresh_life",
    "life",
    "life_from_full",
    "life_of",
    "standby_hours",
]
