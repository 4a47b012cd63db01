"""Shows, venues, rigs and paper, opened by everybody: who may, odd input, constant queries."""

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse

from company import clock
from inventory.calc.kinds import Kind
from inventory.models import CountMove
from shows.models import Checkout, Rig, RigRow
from tests.builders import (
    NOW,
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
    """Stop the clock at NOW wherever it was read by name."""
    for module in ("shows.views.start", "shows.views.shows", "shows.views.pull", "shows.views.prints", "shows.views.missing"):
        monkeypatch.setattr(f"{module}.now", lambda: NOW)
    monkeypatch.setattr("shows.views.ticksheet.now", lambda: NOW)
    monkeypatch.setattr("shows.views.venues.now", lambda: NOW)
    monkeypatch.setattr(clock, "now", lambda: NOW)


def out_to(show, item, *, at=NOW - timedelta(hours=20), **kw):
    """Write a checkout as the fold would."""
    made = Checkout.objects.create(item=item, show=show, opened_uid=uuid.uuid4(), opened_at=at, evidence="seen", **kw)
    if made.closed_at is None:
        type(item).objects.filter(pk=item.pk).update(custody="show", custody_show=show.pk, custody_since=at)
    return made


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
    out_to(show, make_item(type=box))
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
