"""What is left in a set and what to do about it: the front door of the rooms `cell_*`.

The way through: a gear type's plan or a device's own record gives a Draw (`draw_of`, `metered`, `learn`, `pool`); with the kind
of cell, hours used and readings it makes a Life (`life`, many at once `lives_of`); a show's need gives the chance of dying in
it (`chance_of_dying`), and its share of the show's limit (`shares`) says keep or swap (`hard_rules` first, then `advise`).
"""

from maintenance.calc.cell_advice import (
    LINE_LIMITS,
    SHOW_LIMIT,
    Rule,
    Ruling,
    advise,
    behind_phantom,
    chance_of_losing_one,
    hard_rules,
    hours_down,
    hours_up,
    said_chance,
    said_left,
    sentence,
    shares,
)
from maintenance.calc.cell_arrays import LOADS, Fleet, Lives, fleet_of, lives_of
from maintenance.calc.cell_chart import CurvePoint, curve_points
from maintenance.calc.cell_learn import Ended, Finished, Off, learn, metered, persistently_off, pool, swap_point
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
from maintenance.calc.cell_remedies import Remedy, Saved, Worth, fresh_chance, metering_worth, saved, what_would_do
from maintenance.calc.cell_trend import Trend, capacity_trend, need_mah

VERSION = 1

__all__ = [
    "CLASS_GUESS",
    "LINE_LIMITS",
    "LOADS",
    "MAKERS_FIGURE",
    "METERED",
    "SHOW_LIMIT",
    "VERSION",
    "CurvePoint",
    "Ended",
    "Finished",
    "Fleet",
    "Lives",
    "Off",
    "Prior",
    "Remedy",
    "Rule",
    "Ruling",
    "Saved",
    "Trend",
    "Worth",
    "advise",
    "at_temperature",
    "behind_phantom",
    "capacity_sigma",
    "capacity_trend",
    "chance_of_dying",
    "chance_of_losing_one",
    "curve_points",
    "draw_of",
    "fleet_of",
    "fresh_chance",
    "fresh_life",
    "hard_rules",
    "hours_down",
    "hours_up",
    "learn",
    "life",
    "life_from_full",
    "life_of",
    "lives_of",
    "metered",
    "metering_worth",
    "need_mah",
    "persistently_off",
    "pool",
    "said_chance",
    "said_left",
    "saved",
    "sentence",
    "shares",
    "standby_hours",
    "swap_point",
    "what_would_do",
]
