"""Cells on the shopping list: what coming swap lists take and what is to be kept, each type of cell once, with the show."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from company.templatetags.tape import day as day_words
from inventory.registries import SHOPPING
from maintenance.models import CellPlan, CellType
from shows.calc.words import ShowState
from shows.models import Show
from tests.builders import NOW, fit_cells, make_box, make_lot, make_pull_row, make_show, use_on_cells

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
KEY = "6LR61"


@pytest.fixture
def show(company):
    return make_show(NOW + 2 * DAY, name="Harvest ceilidh")


@pytest.fixture
def shelf(company):
    """A lot of which three are left, nothing to be kept."""
    lot = make_lot(3, price_cents=150)
    keep(0)
    return lot


def keep(number):
    CellType.objects.filter(key=KEY).update(keep_at_least=number)


def bare(show, *, type=None, line="1", **kw):
    """A box on a line of a show, its set long run down."""
    box = make_box(type=type)
    set_ = fit_cells(box, at=NOW - 40 * DAY)
    use_on_cells(box, 400, day=(NOW - 9 * DAY).date())
    make_pull_row(show, item=box, line=line, feed="cells", **kw)
    return box, set_


def wanted():
    return [(one.what, one.count, one.why) for one in SHOPPING["cells"](None, NOW)]


def boxes(show, number):
    first, _set = bare(show)
    return [first, *(bare(show, type=first.type, line=str(n + 2))[0] for n in range(number - 1))]


def test_a_shows_swap_list_is_bought_for_and_named(show, shelf):
    boxes(show, 5)
    ((what, count, why),) = wanted()
    assert (what, count) == ("9 V alkaline (6LR61)", 2)
    assert why == f"3 left; the swap list of Harvest ceilidh ({day_words(show.load_in)}) takes 5."


def test_what_is_on_the_shelf_for_it_is_not_bought(show, shelf):
    boxes(show, 3)
    assert wanted() == []


@pytest.mark.parametrize(("least", "count"), [(4, 2), (12, 9)], ids=["the show asks for more", "the shelf asks for more"])
def test_a_type_is_asked_for_once_by_whatever_asks_for_more(show, shelf, least, count):
    boxes(show, 5)
    keep(least)
    ((_what, number, why),) = wanted()
    assert number == count and "Harvest ceilidh" in why and f"keep {least} at least" in why


def test_a_device_of_two_shows_is_given_cells_once_and_both_are_named_where_each_takes_some(show, shelf):
    later = make_show(NOW + 5 * DAY, name="Quarry street fair")
    shared = boxes(show, 4)
    make_pull_row(later, item=shared[0], line="1", feed="cells")
    assert [count for _what, count, _why in wanted()] == [1] and "Quarry" not in wanted()[0][2]
    bare(later, type=shared[0].type, line="2")
    ((_what, count, why),) = wanted()
    assert count == 2 and "lists of Harvest ceilidh" in why and "and Quarry street fair" in why and "take 5" in why


def test_where_the_policy_is_fresh_every_show_each_show_takes_a_set(show, shelf):
    later = make_show(NOW + 5 * DAY, name="Quarry street fair")
    box, _set = bare(show)
    make_pull_row(later, item=box, line="1", feed="cells")
    CellPlan.objects.create(type=box.type, fresh_every_show=True)
    for more in range(2):
        other, _set = bare(show, type=box.type, line=str(more + 2))
        make_pull_row(later, item=other, line=str(more + 2), feed="cells")
    assert [count for _what, count, _why in wanted()] == [3]


def test_what_nobody_has_chosen_is_carried_and_shared_by_shows_that_are_not_on_together(show, shelf):
    box = make_box()
    for day, name, count in ((2, "", 4), (5, "Quarry street fair", 5), (5, "School brass concert", 2)):
        to = make_show(NOW + day * DAY, name=name) if name else show
        make_pull_row(to, type=box.type, count=count, line="1", feed="cells")
    ((_what, count, why),) = wanted()
    assert "take 7" in why and count == 4


@pytest.mark.parametrize("change", [{"load_in": 20}, {"state": ShowState.CANCELLED}], ids=["far off", "cancelled"])
def test_a_show_far_off_or_cancelled_is_not_bought_for(show, shelf, change):
    boxes(show, 5)
    if "load_in" in change:
        later = make_show(NOW + change["load_in"] * DAY)
        show.pull_rows.update(show=later)
    else:
        Show.objects.filter(pk=show.pk).update(**change)
    assert wanted() == []


def test_it_costs_the_same_queries_for_one_show_and_for_ten(show, shelf):
    counts = []
    boxes(show, 4)
    for more in (0, 9):
        for number in range(more):
            boxes(make_show(NOW + (3 + number) * DAY, name=f"Show {number}"), 5)
        with CaptureQueriesContext(connection) as queries:
            assert wanted()
        counts.append(len(queries))
    assert counts[0] == counts[1] <= 37
