"""What is hard to believe of cells is asked about; who may take what back, and what follows; where cells that come out go."""

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse

from company.clock import now
from maintenance.models import CellReading, FittedSet, HoursNote, Swap
from maintenance.services.cell_reckon import item_cells_reckon
from maintenance.services.cells import CellRefused, hours_note, lot_left, reading_record, swap_undo
from tests.builders import NOW, a_day, fit_cells, make_box, make_cell_type, make_item, make_lot, make_type, use_on_cells

pytestmark = pytest.mark.django_db


def ago(**kw):
    return NOW - timedelta(**kw)


def note(box, hours, *, why="left in", at=NOW, **kw):
    given = {"uid": uuid.uuid4(), "item": box, "why": why, "minutes": round(hours * 60), "person": None}
    return hours_note(**given, at=at, received_at=NOW, **kw)


def read(box, volts, at, **kw):
    given = {"uid": uuid.uuid4(), "item": box, "volts": volts, "person": None, "load_ohm": 620.0, **kw}
    return reading_record(**given, read_at=at, received_at=NOW)


@pytest.fixture
def box(company):
    box = make_box()
    fit_cells(box, at=ago(days=30))
    return box


# hours and readings


def test_more_hours_than_the_set_was_in_for_cannot_be(box):
    with pytest.raises(CellRefused, match="was fitted Wed 26 Aug") as caught:
        note(box, 900)
    assert not caught.value.anyway and caught.value.field == "minutes" and not HoursNote.objects.exists()


def test_more_hours_than_it_had_left_are_asked_about_and_may_be_so(box):
    with pytest.raises(CellRefused, match="more than it had left") as caught:
        note(box, 700)
    assert caught.value.anyway and not HoursNote.objects.exists()
    note(box, 700, anyway=True)
    assert FittedSet.objects.get().hours_used == pytest.approx(700)
    note(box, 12)  # a night is nothing to ask about: but now it is empty already


def test_a_night_left_plugged_in_is_taken_as_told(box):
    note(box, 12)
    assert FittedSet.objects.get().hours_used == pytest.approx(12)


def test_the_page_asks_and_takes_it_when_a_person_insists(as_hand, box):
    Swap.objects.update(done_at=now() - timedelta(days=30))
    FittedSet.objects.update(fitted_at=now() - timedelta(days=30))
    url, form = reverse("item-hours", args=[box.code]), {"uid": str(uuid.uuid4()), "why": "left in", "hours": "700"}
    answer = as_hand.post(url, form)
    said = answer.content.decode()
    assert answer.status_code == 422 and "more than it had left" in said and 'name="anyway"' in said
    assert as_hand.post(url, {**form, "anyway": "yes"}).status_code == 302 and HoursNote.objects.count() == 1


def test_0_v_is_asked_about(as_hand, box):
    url = reverse("item-reading", args=[box.code])
    form = {"uid": str(uuid.uuid4()), "volts": "0", "load": "on"}
    answer = as_hand.post(url, form)
    assert answer.status_code == 422 and "touches nothing" in answer.content.decode() and not CellReading.objects.exists()
    assert as_hand.post(url, {**form, "anyway": "yes"}).status_code == 302 and CellReading.objects.get().volts == 0


def test_84_is_asked_to_be_8_point_4(box):
    with pytest.raises(CellRefused, match=r"Was it 8\.4 V, the point left out\?"):
        read(box, 84, NOW)
    with pytest.raises(CellRefused) as caught:
        read(box, 30, NOW)
    assert "point" not in str(caught.value)


def test_a_reading_that_says_the_cells_filled_up_is_told_so(as_hand, box):
    read(box, 7.2, ago(days=9))
    words = " ".join(read(box, 9.0, ago(days=2)).words)
    assert "7.2 V of Wed 16 Sep does not fit the newer 9 V of Wed 23 Sep" in words and "cells do not fill up" in words
    assert "does not fit the newer" in as_hand.get(reverse("item-cells", args=[box.code])).content.decode()


def test_a_falling_row_of_readings_is_not_doubted(box):
    for volts, days in ((9.1, 12), (8.8, 9), (8.85, 7), (8.3, 2)):
        words = " ".join(read(box, volts, ago(days=days)).words)
        assert "does not fit" not in words


# taking back


def undo(client, box, swap, **kw):
    return client.post(reverse("item-cells-undo", args=[box.code]), {"did": f"swap.{swap.uid}", **kw}, follow=True)


def swapped(box, person, **back):
    at = now() - timedelta(**back)
    return fit_cells(box, at=at, received_at=at, person=person).swap


def test_a_hand_takes_back_their_own_of_the_last_day_alone(as_hand, hand, technician, box):
    swap = swapped(box, technician, hours=3)
    assert "technician noted that" in undo(as_hand, box, swap).content.decode().lower()
    old = swapped(make_box(type=box.type), hand, days=3)
    assert "ask a technician" in undo(as_hand, old.item, old).content.decode()
    mine = swapped(box, hand, hours=1)
    assert "Taken back" in undo(as_hand, box, mine).content.decode()
    assert set(Swap.objects.exclude(takes_back=None).values_list("takes_back", flat=True)) == {mine.pk}
    with pytest.raises(CellRefused):
        swap_undo(swap=swap, person=hand, at=now())


def test_an_old_swap_is_taken_back_on_a_page_that_says_what_follows(as_technician, technician, box):
    lot = make_lot(6)
    at = now() - timedelta(days=40)
    old = fit_cells(box, lot=lot, at=at, received_at=at, person=technician).swap
    swapped(box, technician, days=2)
    assert "take it back on its own page" in undo(as_technician, box, old).content.decode()
    assert not Swap.objects.exclude(takes_back=None).exists()
    page = as_technician.get(reverse("item-cells", args=[box.code])).content.decode()
    ask = reverse("item-take-back", args=[box.code]) + f"?did=swap.{old.uid}"
    assert ask in page
    said = as_technician.get(ask).content.decode()
    assert "1 cell goes back to the lot of" in said and "learnt anew" in said and "counts as in it" in said
    assert "Taken back" in undo(as_technician, box, old, sure="yes").content.decode() and lot_left(lot) == 6


def test_no_button_stands_beside_what_somebody_may_not_take_back(as_hand, as_technician, technician, box):
    swap = swapped(box, technician, hours=2)
    url = reverse("item-cells", args=[box.code])
    assert f"swap.{swap.uid}" not in as_hand.get(url).content.decode()
    assert f"swap.{swap.uid}" in as_technician.get(url).content.decode()
    refused = as_hand.get(reverse("item-take-back", args=[box.code]), {"did": f"swap.{swap.uid}"}, follow=True)
    assert "ask a technician" in refused.content.decode()


# what goes in, where what comes out goes


def posted(client, box, **kw):
    form = {"uid": str(uuid.uuid4()), "what": f"type.{make_cell_type(box.type.cell_size).pk}", "reason": "precaution", **kw}
    return client.post(reverse("item-swap", args=[box.code]), form, follow=True)


def test_a_set_never_used_goes_back_to_its_lot(as_hand, company):
    box, lot = make_box(), make_lot(6)
    fit_cells(box, lot=lot, at=ago(days=3))
    said = posted(as_hand, box).content.decode()
    assert "never used by the record" in said and lot_left(lot) == 6
    swap_undo(swap=Swap.objects.get(out_to="new"), person=None, at=now())
    assert lot_left(lot) == 5


def test_a_used_set_nobody_read_goes_to_the_tub_and_a_good_one_to_the_pool(as_hand, box):
    use_on_cells(box, 9, day=a_day(-9))
    item_cells_reckon(item=box, at=NOW)
    said = posted(as_hand, box).content.decode()
    assert "recycling tub: tape the terminals" in said
    use_on_cells(box, 9, day=now().date() - timedelta(days=1))
    FittedSet.objects.filter(removed_at=None).update(fitted_at=now() - timedelta(days=3))
    Swap.objects.filter(pk=Swap.objects.latest("pk").pk).update(done_at=now() - timedelta(days=3))
    item_cells_reckon(item=box, at=now())
    assert "rehearsal pool" in posted(as_hand, box, out_volts="8.3").content.decode()


def pack(**kw):
    make_cell_type("LR6")
    type_ = make_type("transmitter", bays=1, cell_size="LR6", **kw)
    from maintenance.models import CellPlan

    CellPlan.objects.create(type=type_, load="power", draw=520, stops_below_v=1.9, cells_a_bay=2, transmitter=True)
    return make_item(type=type_)


def test_alkaline_aa_are_not_to_be_taped(as_hand, company):
    device = pack()
    fit_cells(device, at=ago(days=9))
    use_on_cells(device, 3, day=a_day(-2))
    item_cells_reckon(item=device, at=NOW)
    said = posted(as_hand, device).content.decode()
    assert "to the recycling tub. Never charge" in said and "tape the terminals" not in said.lower()


def test_zinc_carbon_is_not_offered_for_a_transmitter(as_hand, company):
    device = pack()
    make_lot(8, type=make_cell_type("R6"))
    page = as_hand.get(reverse("item-swap", args=[device.code])).content.decode()
    assert "zinc-carbon" not in page
    make_lot(8, type=make_cell_type("6F22"))
    assert "zinc-carbon" in as_hand.get(reverse("item-swap", args=[make_box().code])).content.decode()


def test_a_mixed_pair_can_be_said(as_hand, company):
    device = pack()
    said = posted(as_hand, device, what="mixed").content.decode()
    swap = Swap.objects.get()
    assert "Take all of them out" in said and swap.was_new is None and swap.note == "mixed cells"
    assert 'value="mixed"' not in as_hand.get(reverse("item-swap", args=[make_box().code])).content.decode()


def test_what_is_wrong_is_said_at_the_head_with_the_way_to_its_field(as_hand, box):
    page = posted(as_hand, box, when="2026-08-01T10:00").content.decode()
    head = page.split('role="alert">')[1].split("</p>")[0]
    assert "was fitted Wed 26 Aug" in head and 'href="#id_when"' in head and "Nothing was written" in head


def test_a_lot_that_had_expired_is_asked_about_and_entered(as_technician, company):
    form = {"uid": str(uuid.uuid4()), "type": str(make_cell_type().pk), "count": "4", "bought_on": "2026-09-01"}
    form["expires_on"] = "2026-03-31"
    answer = as_technician.post(reverse("cell-lot-add"), form)
    assert answer.status_code == 422 and "rehearsals only" in answer.content.decode()
    assert as_technician.post(reverse("cell-lot-add"), {**form, "anyway": "yes"}).status_code == 302
