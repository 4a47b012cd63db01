"""What came back from a show: not used after all, or a lead left in it; asked by the dock and on its own page."""

import uuid
from datetime import timedelta

import pytest

from company.clock import now, today
from maintenance.cell_state import state_of
from maintenance.models import CellMove, HoursNote
from maintenance.services.cell_reckon import item_cells_reckon
from shows.services.scans import scans_record
from tests.builders import fit_cells, make_box, make_lot, make_pull_row, make_show

pytestmark = pytest.mark.django_db


@pytest.fixture
def show(company):
    """A show that ended some hours ago, 4 h from line check to end."""
    return make_show(now() - timedelta(hours=14), name="Harvest ceilidh")


def a_box(show, *, feed="cells", line="5", **kw):
    box = make_box(**kw)
    fit_cells(box, at=now() - timedelta(days=30), received_at=now())
    make_pull_row(show, item=box, line=line, feed=feed)
    out = {
        "id": str(uuid.uuid4()),
        "code": box.code,
        "action": "out",
        "show": show.pk,
        "happened_at": show.load_in.isoformat(),
    }
    scans_record(actor=None, device="test", sent_at=show.load_in, scans=[out], received_at=show.load_in)
    item_cells_reckon(item=box, at=now())
    return box


def hours(box):
    return state_of([box], now())[box.pk][0].hours


def tell(client, box, do, **more):
    given = {"code": box.code, "do": do, "uid": str(uuid.uuid4()), **more}
    return client.post("/cells/back/", given, headers={"Accept": "application/json"})


def scanned_back(client, show, box):
    """Scan it back at the dock without a script."""
    client.cookies["dock_show"], client.cookies["dock_way"] = str(show.pk), "back"
    return client.post("/dock/", {"code": box.code, "uid": str(uuid.uuid4())}, follow=True).content.decode()


def test_what_was_not_used_has_its_hours_back_and_its_cells_stay_in(as_hand, hand, show):
    lot, box = make_lot(), a_box(show)
    assert hours(box) == pytest.approx(4)
    answer = tell(as_hand, box, "unused")
    assert "was not used at Harvest ceilidh" in answer.json()["said"] and hours(box) == 0
    note = HoursNote.objects.get()
    assert (note.why, note.person) == ("unused", hand)
    assert CellMove.objects.exclude(why="bought").count() == 0 and lot.pool == "new"
    tell(as_hand, box, "unused")
    assert HoursNote.objects.count() == 1


def test_that_is_taken_back(as_hand, show):
    box = a_box(show)
    tell(as_hand, box, "unused")
    assert "taken back" in tell(as_hand, box, "take back").json()["said"] and hours(box) == pytest.approx(4)
    assert tell(as_hand, box, "take back").status_code == 422


def test_a_lead_left_in_since_the_end_adds_the_hours_since(as_hand, show):
    box = a_box(show, facts={"switched_by_input_jack": True})
    before = hours(box)
    said = tell(as_hand, box, "left in").json()["said"]
    assert "about 9 h, since Harvest ceilidh ended" in said
    assert hours(box) == pytest.approx(before + 9, abs=0.1)


def test_hours_somebody_knows_are_taken_as_they_are(as_hand, show):
    box = a_box(show)
    before = hours(box)
    tell(as_hand, box, "left in", hours="11,5")
    assert hours(box) == pytest.approx(before + 11.5)


@pytest.mark.parametrize(
    ("do", "given", "says"),
    [
        ("left in", "yes", "Hours are a number"),
        ("left in", "-2", "between a minute and 1600"),
        ("left in", "99999", "between a minute and 1600"),
        ("eaten", "", "Say that it was not used"),
    ],
)
def test_what_cannot_be_is_said_and_nothing_is_written(as_hand, show, do, given, says):
    answer = tell(as_hand, a_box(show), do, hours=given)
    assert answer.status_code == 422 and says in answer.json()["said"] and not HoursNote.objects.exists()


def test_a_box_that_was_on_phantom_has_nothing_to_note(as_hand, show):
    answer = tell(as_hand, a_box(show, feed="phantom"), "unused")
    assert answer.status_code == 422 and "nothing to note" in answer.json()["said"]


def test_the_dock_offers_it_quietly_after_the_scan_back_and_counts_the_scan_all_the_same(as_hand, show):
    box = a_box(show, facts={"switched_by_input_jack": True})
    said = scanned_back(as_hand, show, box)
    assert "Not used" in said and "A lead was left in" in said
    box.refresh_from_db()
    assert box.custody == ""
    known = as_hand.get("/dock/lookup", {"code": box.code, "way": "back"}).json()["items"][box.code]
    assert (known["cells"], known["jack"]) == (True, True)


def test_the_dock_asks_nothing_of_what_ran_on_phantom_or_has_no_jack_switch(as_hand, show):
    assert "Not used" not in scanned_back(as_hand, show, a_box(show, feed="phantom"))
    said = scanned_back(as_hand, show, a_box(show, line="6"))
    assert "Not used" in said and "A lead was left in" not in said


def test_its_own_page_asks_once_the_show_is_over(as_hand, show):
    box = a_box(show, facts={"switched_by_input_jack": True})
    page = as_hand.get(f"/a/{box.code}").content.decode()
    assert "Came back" in page and "It was not used" in page and "For how many hours" in page
    answer = as_hand.post("/cells/back/", {"code": box.code, "do": "unused"}, follow=True)
    assert "Not used after all" in answer.content.decode() and today().year == now().year
