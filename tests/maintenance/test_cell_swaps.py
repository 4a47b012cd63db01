"""Swaps: what is fitted follows from them, stock follows, and what cannot be is a sentence."""

import pytest

from maintenance.cell_state import state_of
from maintenance.models import FittedSet
from tests.builders import NOW, a_day, fit_cells, make_box, make_lot, use_on_cells

pytestmark = pytest.mark.django_db


def test_a_set_from_a_lot_sits_in_the_bay_and_the_lot_has_one_less(company):
    box, lot = make_box(), make_lot(6)
    done = fit_cells(box, lot=lot)
    assert FittedSet.objects.get(removed_at=None).opened_uid == done.swap.uid
    assert done.life.median_h > 40, done
    use_on_cells(box, 5, day=a_day(-5))
    state = state_of([box], NOW)[box.pk][0]
    print(state.words, state.life, state.fresh)
    assert state.hours == 5
