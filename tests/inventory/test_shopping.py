"""One shopping list: what runs low, what wore out, what is missing."""

import uuid
from datetime import timedelta

import pytest
from django.urls import reverse

from company.templatetags.tape import day
from inventory.calc.kinds import Kind
from inventory.models import ConsumableFacts, CountMove
from inventory.registries import SHOPPING, Wanted
from inventory.services.counted import (
    count_back,
    count_bought,
    count_found_bad,
    count_lost,
    count_mended,
    count_out,
    count_undo,
    stock_of,
)
from inventory.stock import consumables
from shows.models import CustodyHead
from tests.builders import NOW, make_counted_line, make_item, make_show, make_type

pytestmark = pytest.mark.django_db


def wants(name):
    return list(SHOPPING[name](None, NOW))


def tape(owned, **facts):
    line = make_counted_line(owned, type=make_type(Kind.CONSUMABLE, name="Gaffer tape"))
    ConsumableFacts.objects.create(type=line.type, **{"unit": "roll", "keep_at_least": 12, "buy_by": 6, **facts})
    return line


def test_the_average_a_show_is_over_settled_shows_that_took_any():
    line = tape(40)
    for out, back in ((6, 4), (5, 5), (4, None)):
        show = make_show()
        count_out(uid=uuid.uuid4(), line=line, show=show.pk, count=out, at=NOW)
        if back is not None:
            count_back(uid=uuid.uuid4(), line=line, show=show.pk, good=back, at=NOW)
    used = consumables([line])[line.pk].used
    assert (float(used.mean), used.least, used.most, used.shows) == (1.0, 0, 2, 2)


def test_a_consumable_under_its_level_is_bought_in_packs():
    line = tape(5)
    want = wants("low")[0]
    assert (want.what, want.count, want.unit, want.line_id) == ("Gaffer tape", 12, "roll", line.pk)
    assert "5 left, keep at least 12" in want.why
    count_bought(uid=uuid.uuid4(), line=line, count=12, at=NOW)
    assert wants("low") == []


def test_worn_and_lost_are_wanted_until_some_are_bought():
    line, show = make_counted_line(24), make_show()
    count_out(uid=uuid.uuid4(), line=line, show=show.pk, count=24, at=NOW)
    assert wants("worn") == []
    count_back(uid=uuid.uuid4(), line=line, show=show.pk, good=21, bad=2, at=NOW)
    lost = uuid.uuid4()
    count_lost(uid=lost, line=line, show=show.pk, count=1, at=NOW)
    count_found_bad(uid=uuid.uuid4(), line=line, count=1, at=NOW)
    assert wants("worn")[0].count == 4 and "2 came back bad" in wants("worn")[0].why
    count_mended(uid=uuid.uuid4(), line=line, count=1, at=NOW)
    count_undo(undo_uid=lost, at=NOW)
    assert wants("worn")[0].count == 2
    count_bought(uid=uuid.uuid4(), line=line, count=2, at=NOW)
    assert wants("worn") == []


def test_a_labelled_lead_is_not_worn_out():
    line = make_counted_line(5)
    CountMove.objects.create(uid=uuid.uuid4(), line=line, delta=-1, why=CountMove.Why.LABELLED, happened_at=NOW)
    assert wants("worn") == []


def test_missing_things_are_one_line_a_type_and_borrowed_ones_none():
    kind = make_type(Kind.MICROPHONE, name="Vocal microphone")
    for _ in range(2):
        make_item(type=kind, missing_since=NOW)
    make_item(type=kind, missing_since=NOW, borrowed_from="Wenbury Town Band")
    make_item(type=kind, missing_since=NOW, retired_on=NOW.date(), retired_because="lost")
    assert [(w.what, w.count, w.why) for w in wants("missing")] == [("Vocal microphone", 2, "never scanned")]


def test_a_missing_thing_is_not_seen_since_its_last_scan_whenever_it_was_declared():
    kind = make_type(Kind.MICROPHONE, name="Vocal microphone")
    first, last = (make_item(type=kind, missing_since=NOW) for _ in range(2))
    CustodyHead.objects.create(item=first, seen_at=NOW - timedelta(days=9))
    CustodyHead.objects.create(item=last, seen_at=NOW - timedelta(days=5))
    (want,) = wants("missing")
    assert want.why == f"not seen since {day(NOW - timedelta(days=5))}"


def test_ticking_bought_adds_to_the_ledger_once(as_technician):
    line, uid = tape(5), str(uuid.uuid4())
    for _twice in range(2):
        as_technician.post(reverse("shopping"), {"uid": uid, "line": [line.pk], f"count-{line.pk}": "12"})
    assert stock_of(line).on_shelf == 17


def test_odd_ticks_are_sentences_and_buy_nothing(as_technician):
    line = tape(5)
    for odd in ("", "-2", "0", "9" * 40, "x", "٣", "\x00"):
        page = as_technician.post(reverse("shopping"), {"line": [line.pk, odd], f"count-{line.pk}": odd}, follow=True)
        assert page.status_code == 200 and "say how many were bought" in page.content.decode()
    assert "Tick what was bought first" in as_technician.post(reverse("shopping"), follow=True).content.decode()
    assert stock_of(line).on_shelf == 5


def test_other_floors_add_lines_and_the_list_costs_the_same_for_50(as_technician, as_hand, django_assert_max_num_queries):
    SHOPPING.add("test-cells", lambda request, at: [Wanted(what="9 V cells", count=8, why="three swaps this week")])
    try:
        for _ in range(50):
            line = make_counted_line(1, type=make_type(Kind.CONSUMABLE))
            ConsumableFacts.objects.create(type=line.type, keep_at_least=5)
        with django_assert_max_num_queries(16):
            page = as_technician.get(reverse("shopping")).content.decode()
        assert "9 V cells" in page and page.count('name="line"') == 50
    finally:
        SHOPPING._entries.pop("test-cells")
    assert as_hand.get(reverse("shopping")).status_code == 403


def test_prices_are_for_owners(as_owner, as_technician):
    line = tape(5)
    line.type.replacement_cents = 799
    line.type.save(update_fields=["replacement_cents"])
    assert "95.88" in as_owner.get(reverse("shopping")).content.decode()
    assert "7.99" not in as_technician.get(reverse("shopping")).content.decode()


def test_an_empty_list_says_so(as_technician):
    assert "Nothing to buy" in as_technician.get(reverse("shopping")).content.decode()
