"""Shows, venues, rigs and paper, opened by everybody: who may, odd input, constant queries."""

import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.calc.kinds import Kind
from inventory.models import CountMove
from shows.models import Rig, RigRow
from tests.builders import (
    NOW,
    make_checkout,
    make_counted_line,
    make_item,
    make_place,
    make_pull_row,
    make_show,
    make_type,
    make_venue,
)


@pytest.fixture(autouse=True)
def still(monkeypatch):
    """Stop the clock at NOW."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


PAGES = ["start", "needs", "shows", "missing", "missing-print", "venues", "rigs"]


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("who", ["as_owner", "as_technician", "as_hand"])
def test_everybody_opens_the_empty_pages(page, who, request):
    assert request.getfixturevalue(who).get(reverse(page)).status_code == 200


def test_every_page_of_a_full_show_opens(as_owner):
    venue = make_venue(town="Wenbury", remarks="Hums with the lights on", contact="The verger")
    show = make_show(venue=venue, client="Ceilidh club")
    box, lead = make_type(), make_type(Kind.LEAD)
    item = make_item(type=box, home=make_place())
    make_item(type=box)
    make_pull_row(show, type=box, count=3, reason="fiddle", line="5", critical="critical")
    make_pull_row(show, item=item, line="7")
    make_pull_row(show, type=lead, length_mm=10_000, count=30)
    line = make_counted_line(24, type=lead, length_mm=10_000)
    CountMove.objects.create(uid=uuid.uuid4(), line=line, show=show.pk, delta=-6, why="out", happened_at=NOW)
    make_checkout(show, make_item(type=box))
    other = make_show(load_in=show.load_in + timedelta(hours=1), name="Rival")
    make_pull_row(other, type=box, count=2)
    make_pull_row(other, item=item)
    rig = Rig.objects.create(name="Speech")
    RigRow.objects.create(rig=rig, type=box, count=2)
    for name, args in [
        ("start", []),
        ("needs", []),
        ("shows", []),
        ("show", [show.pk]),
        ("show-edit", [show.pk]),
        ("show-add", []),
        ("pull", [show.pk]),
        ("pull-print", [show.pk]),
        ("load-out-print", [show.pk]),
        ("ticksheet", [show.pk, "out"]),
        ("ticksheet", [show.pk, "truck"]),
        ("ticksheet", [show.pk, "back"]),
        ("venue", [venue.pk]),
        ("venue-edit", [venue.pk]),
        ("venue-add", []),
        ("rigs", []),
        ("rig", [rig.pk]),
        ("missing", []),
        ("missing-print", []),
    ]:
        assert as_owner.get(reverse(name, args=args)).status_code == 200, name
    page = as_owner.get(reverse("show", args=[show.pk])).content.decode()
    assert "7 of 34 scanned out" in page
    assert "Hums with the lights on" in page
    assert "Also asked for" in page
    assert "3 promised to Rival" in page


MAY = [
    # address, arguments, least role
    ("show-add", [], "owner"),
    ("show-edit", ["show"], "owner"),
    ("show-cancel", ["show"], "owner"),
    ("show-delete", ["show"], "owner"),
    ("venue-delete", ["venue"], "owner"),
    ("show-close", ["show"], "technician"),
    ("show-reopen", ["show"], "technician"),
    ("pull", ["show"], "technician"),
    ("pull-add", ["show"], "technician"),
    ("pull-row", ["show", "row"], "technician"),
    ("pull-put-back", ["show"], "technician"),
    ("pull-rig", ["show"], "technician"),
    ("pull-goes-with", ["show"], "technician"),
    ("ticksheet", ["show", "out"], "technician"),
    ("venue-add", [], "technician"),
    ("venue-edit", ["venue"], "technician"),
    ("venue-remark", ["venue"], "technician"),
    ("rig-add", [], "technician"),
    ("rig-change", ["rig"], "technician"),
    ("missing-say", ["code"], "technician"),
    ("show", ["show"], "hand"),
    ("pull-print", ["show"], "hand"),
    ("load-out-print", ["show"], "hand"),
    ("rig", ["rig"], "hand"),
    ("venue", ["venue"], "hand"),
]
ORDER = ["hand", "technician", "owner"]


@pytest.mark.parametrize(("address", "arguments", "least"), MAY)
def test_an_address_opens_for_its_least_role_and_those_above_alone(address, arguments, least, as_hand, as_technician, as_owner):
    show = make_show(venue=make_venue())
    known = {
        "show": show.pk,
        "venue": show.venue_id,
        "row": make_pull_row(show).pk,
        "rig": Rig.objects.create(name="Speech").pk,
        "code": make_item().code,
    }
    url = reverse(address, args=[known.get(a, a) for a in arguments])
    for role, client in zip(ORDER, [as_hand, as_technician, as_owner], strict=True):
        allowed = ORDER.index(role) >= ORDER.index(least)
        if not allowed:
            assert client.post(url).status_code == 403, role
            assert client.get(url).status_code == 403, role
        else:
            assert client.get(url).status_code in {200, 405}, role


@pytest.mark.parametrize("number", [999_999, 10**18, 10**30])
@pytest.mark.parametrize("address", ["show", "pull", "pull-print", "load-out-print", "venue", "rig"])
def test_an_unknown_number_is_nothing_here_and_never_a_fault(address, number, as_owner):
    assert as_owner.get(reverse(address, args=[number])).status_code == 404


@pytest.mark.parametrize("text", ["", "\x00", "-1", "1e9", "9" * 40, "é" * 300, "' OR 1=1", "%", "{{ 7 }}", "\u202e"])
def test_odd_words_in_filters_are_answered_with_a_page(text, as_owner):
    make_show()
    for address in ["shows", "venues"]:
        assert as_owner.get(reverse(address), {"q": text, "page": text, "when": text}).status_code == 200
    assert as_owner.get(reverse("show-add"), {"copy": text, "venue": text}).status_code == 200


def _count(client, url):
    with CaptureQueriesContext(connection) as queries:
        assert client.get(url).status_code == 200
    return len(queries)


def _much(count):
    """Make `count` of everything a list could ask one query too many for."""
    at = NOW
    venue = make_venue()
    for n in range(count):
        show = make_show(load_in=at + timedelta(hours=1 + n), venue=venue)
        past = make_show(load_in=at - timedelta(days=3, hours=n), venue=venue)
        kind = make_type()
        make_pull_row(show, type=kind, count=2, line=str(n))
        make_pull_row(show, item=make_item(type=kind, suspect_since=at))
        make_checkout(past, make_item(type=kind))
        make_checkout(show, make_item(type=kind))
        line = make_counted_line(5)
        CountMove.objects.create(uid=uuid.uuid4(), line=line, show=past.pk, delta=-2, why="out", happened_at=at)
        make_item(type=kind, missing_since=at)
        make_item(type=kind, borrowed_from=f"Band {n}", give_back_by=at.date())
        make_item(type=kind, lent_to=f"Club {n}", lent_on=at.date(), lent_home_by=at.date())
        rig = Rig.objects.create(name=f"Rig {n} of {count}")
        RigRow.objects.create(rig=rig, type=kind)


def test_a_list_costs_as_many_queries_at_fifty_as_at_one(as_owner):
    urls = [reverse(a) for a in ["start", "needs", "shows", "missing", "missing-print", "venues", "rigs"]]
    _much(1)
    one = {url: _count(as_owner, url) for url in urls}
    _much(50)
    assert {url: _count(as_owner, url) for url in urls} == one


def test_a_show_costs_as_many_queries_with_fifty_rows_as_with_one(as_owner):
    show = make_show(venue=make_venue())

    def rows(count):
        for n in range(count):
            kind = make_type()
            make_pull_row(show, type=kind, count=3)
            make_item(type=kind, home=make_place())
            make_checkout(show, make_item(type=kind))
            named = make_item(type=kind)
            make_pull_row(show, item=named)
            other = make_show(load_in=show.load_in + timedelta(minutes=n))
            make_pull_row(other, item=named)
            line = make_counted_line(5)
            CountMove.objects.create(uid=uuid.uuid4(), line=line, show=show.pk, delta=-2, why="out", happened_at=NOW)

    names = ["show", "pull", "pull-print", "load-out-print"]
    urls = [reverse(a, args=[show.pk]) for a in names] + [reverse("ticksheet", args=[show.pk, "back"])]
    rows(1)
    one = {url: _count(as_owner, url) for url in urls}
    rows(50)
    assert {url: _count(as_owner, url) for url in urls} == one


def test_what_is_home_again_before_the_end_is_not_asked_for_once_more(as_hand):
    show = make_show(load_in=NOW - timedelta(hours=2))
    first, second = make_item(), make_item()
    make_pull_row(show, type=first.type, count=2)
    make_checkout(show, first, closed_at=NOW - timedelta(hours=1), ended="back")
    page = as_hand.get(reverse("show", args=[show.pk])).content.decode()
    assert "1 of 1 back" in page and "Still to go out" not in page
    make_checkout(show, second)
    assert "Still to go out" in as_hand.get(reverse("show", args=[show.pk])).content.decode()
