"""The kinds and draws of the shipped fixture, for tests of cells."""

import json
from pathlib import Path

from hypothesis import settings

from maintenance.calc.cell_life import draw_of
from maintenance.calc.cell_words import CellKind, Draw, Load
from maintenance.calc.cells import kind_of

FIXTURE = json.loads((Path(__file__).resolve().parents[2] / "fixtures" / "cells.json").read_text())
KINDS: dict[str, CellKind] = {row["key"]: kind_of(row) for row in FIXTURE["types"]}
PLANS = {row["type"]: row for row in FIXTURE["plans"]}
BLOCK = KINDS["6LR61"]
unhurried = settings(deadline=None)  # the first to reckon loads scipy; a busy machine is no fault


def box(sigma: float = 0.45, ma: float = 4.5, stops_below_v: float = 6.0) -> Draw:
    """Return the draw of an active direct box on one 9 V block."""
    return draw_of(load=Load.CURRENT, draw=ma, sigma=sigma, stops_below_v=stops_below_v)


def transmitter(sigma: float = 0.25, mw: float = 550.0) -> Draw:
    """Return the draw of a transmitter on two AA cells."""
    return draw_of(load=Load.POWER, draw=mw, sigma=sigma, stops_below_v=1.9, in_series=2)
