"""Cells: the front door of what is written about them. What cannot be is a CellRefused with a field and a sentence."""

from maintenance.services.cell_checks import set_at, set_type
from maintenance.services.cell_hours_noted import hours_note, hours_withdraw
from maintenance.services.cell_night import plan_changed
from maintenance.services.cell_reckon import draw_metered
from maintenance.services.cell_refused import CellRefused, SwapRefused
from maintenance.services.cell_stock import lot_add, lot_count, lot_left, lot_take_out, lot_words
from maintenance.services.cell_swaps import Swapped, fitted_words, newest_swap, oldest_lot, swap_record, swap_undo, swap_words
from maintenance.services.cell_told import (
    Read,
    capacity_test_record,
    capacity_test_take_back,
    charge_record,
    charge_withdraw,
    reading_record,
    reading_take_back,
)
from maintenance.services.cell_types import cell_type_save, kind_of, plan_of, plan_save, sets_of, sizes_wanted

__all__ = [
    "CellRefused",
    "Read",
    "SwapRefused",
    "Swapped",
    "capacity_test_record",
    "capacity_test_take_back",
    "cell_type_save",
    "charge_record",
    "charge_withdraw",
    "draw_metered",
    "fitted_words",
    "hours_note",
    "hours_withdraw",
    "kind_of",
    "lot_add",
    "lot_count",
    "lot_left",
    "lot_take_out",
    "lot_words",
    "newest_swap",
    "oldest_lot",
    "plan_changed",
    "plan_of",
    "plan_save",
    "reading_record",
    "reading_take_back",
    "set_at",
    "set_type",
    "sets_of",
    "sizes_wanted",
    "swap_record",
    "swap_undo",
    "swap_words",
]
