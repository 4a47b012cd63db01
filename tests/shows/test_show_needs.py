"""What a show asks of powered things: which, how long, fed by what, and what hangs on it."""

from datetime import timedelta

import pytest

from company.models import Company
from inventory.calc.kinds import Kind
from inventory.models import InterfaceBoxFacts
from maintenance.calc.cell_words import Stakes
from maintenance.models import UseLedger
from maintenance.registries import coming_needs, show_needs
from shows.calc.words import ShowState
from shows.models import PhantomSeen
from shows.services.ledger import ledger_write
from shows.services.programme import Programme
from tests.builders import NOW, make_box, make_checkout, make_company, make_pull_row, make_show, make_type
from tests.conftest import signed_in

pytestmark = pytest.mark.django_db


@pytest.fixture
def show(company):
    return make_show(NOW + timedelta(hours=8))


def needs(show):
    return show_needs(show.pk, NOW).needs


def a_phantom_type(**facts):
    type_ = make_type(Kind.INTERFACE_BOX, bays=1, cell_size="6LR61")
    InterfaceBoxFacts.objects.create(type=type_, active=True, runs_on_phantom=True, runs_on_cells=True, **facts)
    return type_


def test_a_named_box_needs_from_line_check_to_the_end(show):
    box = make_box()
    make_pull_row(show, item=box, line="5", feed="cells", critical="critical")
    (need,) = needs(show)
    assert (need.item, need.line, need.feed, need.assumed) == (box, "5", "cells", False)
    assert need.need_h == pytest.approx((show.end - show.line_check) / timedelta(hours=1)) == pytest.approx(4)
    assert need.stakes is Stakes.CRITICAL and need.on_line and not need.out


def test_of_a_show_of_two_days_the_night_between_is_neither_needed_nor_counted(company):
    load_in = company_morning()
    show = make_show(load_in, hours=60)
    box = make_box()
    make_pull_row(show, item=box, line="5", feed="cells")
    (need,) = needs(show)
    whole = (show.end - show.line_check) / timedelta(hours=1)
    night = (show.line_check.astimezone(Company.current().zone).hour - 3) + show.line_check.minute / 60
    assert need.need_h == pytest.approx(whole - night) and 0 < night < whole
    make_checkout(show, box)
    ledger_write(pairs=[(box.pk, show.pk)], at=show.end, programme=Programme())
    assert UseLedger.objects.get(item=box).on_minutes == pytest.approx(need.need_h * 60, abs=1)


def company_morning():
    return NOW.astimezone(Company.current().zone).replace(hour=9, minute=0) + timedelta(days=2)


def test_a_box_switched_by_its_input_jack_runs_until_strike(show):
    make_pull_row(show, item=make_box(facts={"switched_by_input_jack": True}), line="1", feed="cells")
    (need,) = needs(show)
    assert need.to_strike and need.need_h == pytest.approx(5)


def test_what_has_no_place_for_cells_is_not_asked_about(show):
    make_pull_row(show, type=make_type(Kind.LEAD), count=6)
    assert needs(show) == ()


def test_a_row_by_type_takes_what_is_out_and_counts_the_rest(show):
    box = make_box()
    other = make_box(type=box.type)
    make_pull_row(show, type=box.type, count=3, line="7", feed="cells")
    make_checkout(show, other)
    taken, rest = needs(show)
    assert (taken.item, taken.out, taken.line) == (other, True, "7")
    assert rest.item is None and rest.count == 2


def test_what_is_out_but_on_no_list_comes_along_as_a_spare(show):
    box = make_box()
    make_checkout(show, box)
    (need,) = needs(show)
    assert need.item == box and need.spare and not need.on_line and need.stakes is Stakes.REHEARSAL


def test_what_went_home_before_line_check_is_no_longer_asked_about(show):
    make_checkout(show, make_box(), closed_at=show.load_in, ended="back")
    assert needs(show) == ()


@pytest.mark.parametrize(("first", "feed"), [(True, "phantom"), (False, "cells")])
def test_where_nobody_said_what_feeds_a_line_the_companys_habit_decides(first, feed):
    make_company(phantom_first=first)
    show = make_show()
    make_pull_row(show, type=a_phantom_type(), line="2")
    (need,) = needs(show)
    assert need.feed == feed and need.assumed


def test_a_feed_somebody_said_is_kept(show):
    make_pull_row(show, type=a_phantom_type(), line="2", feed="cells")
    make_pull_row(show, type=a_phantom_type(), line="3", feed="mains")
    assert [(n.feed, n.assumed) for n in needs(show)] == [("cells", False), ("mains", False)]


def test_at_a_rehearsal_nothing_is_critical(company):
    show = make_show(rehearsal=True)
    make_pull_row(show, item=make_box(), line="5", feed="cells", critical="critical")
    assert show_needs(show.pk, NOW).rehearsal and needs(show)[0].stakes is Stakes.REHEARSAL


def test_a_cancelled_show_and_one_that_is_none_ask_nothing(company):
    gone = make_show(state=ShowState.CANCELLED)
    assert show_needs(gone.pk, NOW) is None and show_needs(999_999, NOW) is None


def test_coming_shows_come_the_soonest_first_and_past_ones_not_at_all(company):
    late, soon, over = (make_show(NOW + timedelta(hours=h)) for h in (40, 10, -60))
    far = make_show(NOW + timedelta(days=9))
    found = [one.key for one in coming_needs(NOW, NOW + timedelta(days=3))]
    assert found == [soon.pk, late.pk]
    assert over.pk not in found and far.pk not in found


def test_many_shows_and_boxes_cost_no_more_queries_than_one(company, django_assert_num_queries):
    def fill(shows, boxes):
        for n in range(shows):
            show = make_show(NOW + timedelta(hours=3 + n))
            for _ in range(boxes):
                make_pull_row(show, item=make_box(), feed="cells", line="1")

    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    fill(1, 1)
    with CaptureQueriesContext(
        connection,
    ) as one:
        coming_needs(NOW, NOW + timedelta(days=3))
    fill(4, 12)
    with django_assert_num_queries(len(one)):
        found = coming_needs(NOW, NOW + timedelta(days=3))
    assert sum(len(show.needs) for show in found) == 49


def test_phantom_seen_is_ticked_and_taken_back_by_a_hand(show, hand):
    box = make_box(type=a_phantom_type())
    make_pull_row(show, item=box, line="4", feed="phantom")
    client, url = signed_in(hand), needs(show)[0].phantom_url
    answer = client.post(url)
    assert answer.status_code == 302 and answer["Location"].endswith("#phantom")
    client.post(url)
    assert PhantomSeen.objects.get().person == hand and needs(show)[0].phantom_seen
    client.post(url, {"do": "no"})
    assert not PhantomSeen.objects.exists() and not needs(show)[0].phantom_seen
    assert client.post(url.replace(box.code, "ZZZZZZZZ")).status_code == 404


def test_the_form_of_a_show_keeps_that_it_is_a_rehearsal(show, owner):
    client = signed_in(owner)
    page = client.get(f"/shows/{show.pk}/edit/")
    assert "A rehearsal" in page.content.decode()
    typed = {
        "name": show.name,
        "load_in": "2026-09-25T18:00",
        "start": "2026-09-25T20:00",
        "end": "2026-09-25T23:00",
        "rehearsal": "on",
    }
    client.post(f"/shows/{show.pk}/edit/", typed)
    show.refresh_from_db()
    assert show.rehearsal
