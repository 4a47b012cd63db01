"""The gear list, adding, types, and what a role may do."""

import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory import search_index
from inventory.calc.kinds import Kind, Standing, Where
from inventory.calc.names import NameStyle, letters_of, names_after, number_of, style_of
from inventory.filters_gear import NO_STANDING
from inventory.forms_types import facts_form_of
from inventory.models import FACTS_OF_KIND, GearType, GoesWith, InterfaceBoxFacts, Item, Label
from inventory.services.items import items_add
from tests.builders import NOW, a_day, make_case, make_item, make_place, make_type

pytestmark = pytest.mark.django_db


@pytest.fixture
def zoo(company):
    """One item of every standing and every where, and mixtures."""
    box = make_type(name="Zoo box")
    bench, repairer = make_place(sort="bench"), make_place(sort="repairer")
    past, later = a_day(-3), a_day(30)
    good = {"tested_on": a_day(-20), "test_by": later}
    rows = [
        {},
        good,
        {"tested_on": a_day(-20)},
        {"tested_on": a_day(-90), "test_by": past},
        {"test_by": a_day(0)},
        {"excepts": "7", **good},
        {"excepts": "7", "tested_on": a_day(-90), "test_by": past},
        {"suspect_since": NOW, **good},
        {"suspect_since": NOW, "retired_on": past, "retired_because": "sold"},
        {"retired_on": past, "retired_because": "sold"},
        {"lent_to": "school", "lent_on": past},
        {"lent_to": "school", "lent_on": past, "missing_since": NOW},
        {"missing_since": NOW, "custody": "show", "custody_show": 3},
        {"custody": "show", "custody_show": 3, **good},
        {"custody": "truck", "custody_show": 3},
        {"at": bench},
        {"at": repairer, "suspect_since": NOW},
        {"at": make_place(), "home": make_place()},
        {"borrowed_from": "hall", "gone_home_on": past},
        {"borrowed_from": "hall", "gone_home_on": past, "retired_on": past, "retired_because": "gone"},
    ]
    for row in rows:
        make_item(type=box, **row)
    case = make_case()
    make_item(type=box, in_case=case)
    make_item(type=box, in_case=case, at=bench)
    make_item(kind=Kind.STAND, retired_on=past, retired_because="bent")


@pytest.mark.parametrize("standing", list(Standing))
def test_plain_columns_give_the_same_standing_as_the_expression(zoo, standing):
    described = {i.pk for i in Item.objects.described(a_day()) if i.standing == standing}
    assert set(Item.objects.with_standing(standing, a_day()).values_list("pk", flat=True)) == described
    assert described


@pytest.mark.parametrize("where", list(Where))
def test_plain_columns_give_the_same_where_as_the_expression(zoo, where):
    described = {i.pk for i in Item.objects.described(a_day()) if i.where == where}
    assert set(Item.objects.with_where(where).values_list("pk", flat=True)) == described
    assert described


def test_unknown_standing_and_where_keep_nothing(zoo):
    assert not Item.objects.with_standing("shiny", a_day()) and not Item.objects.with_where("moon")


def test_list_leaves_out_what_is_gone_unless_it_is_asked_for(as_hand):
    make_item(serial="STAYS")
    make_item(serial="RETIRED", retired_on=a_day(), retired_because="sold")
    page = as_hand.get("/gear/").content.decode()
    assert "STAYS" in page and "RETIRED" not in page
    page = as_hand.get("/gear/?standing=retired").content.decode()
    assert "STAYS" not in page and "RETIRED" in page


def test_every_filter_answers(as_hand):
    item = make_item(home=make_place())
    make_item(kind=Kind.STAND, at=make_place(sort="bench"))
    for query in (
        f"type={item.type_id}",
        f"place={item.home_id}",
        "kind=interface-box",
        "standing=unproved",
        "where=shop",
        f"q={item.code[:6]}",
        f"type={item.type_id}&standing=unproved&where=shop&q={item.type.name.split()[-1]}",
    ):
        page = as_hand.get(f"/gear/?{query}").content.decode()
        assert f"/a/{item.code}" in page and "1 thing" in page, query
    assert f"/a/{item.code}" not in as_hand.get(f"/gear/?standing={NO_STANDING}").content.decode()


@pytest.mark.parametrize(
    "query", ["type=9999", "kind=x", "standing=x", "place=-1", "page=-4", "page=x", "page=99999999", "sort=;drop", "sort=pk"]
)
def test_odd_choice_gets_a_page(as_hand, query):
    make_item()
    assert as_hand.get(f"/gear/?{query}").status_code == 200


def test_filters_survive_sorting_and_paging(as_hand):
    box = make_type()
    for _ in range(60):
        make_item(type=box)
    page = as_hand.get(f"/gear/?type={box.pk}&sort=code").content.decode()
    assert f"type={box.pk}&amp;sort=code&amp;page=2" in page
    assert f"?type={box.pk}&amp;sort=-code" in page
    second = as_hand.get(f"/gear/?type={box.pk}&sort=code&page=2").content.decode()
    assert second.count('class="said"') == 10


def test_list_costs_the_same_for_one_and_for_fifty(as_technician):
    box, home, case = make_type(), make_place(), make_case()
    make_item(type=box, home=home, in_case=case)
    with CaptureQueriesContext(connection) as one:
        as_technician.get("/gear/")
    for _ in range(49):
        make_item(type=box, home=home, in_case=case)
    with CaptureQueriesContext(connection) as fifty:
        assert as_technician.get("/gear/").content.decode().count('class="said"') == 50
    assert len(fifty) == len(one) <= 12


def test_types_list_costs_the_same_for_one_and_for_fifty(as_technician):
    make_item()
    with CaptureQueriesContext(connection) as one:
        as_technician.get("/types/")
    for _ in range(49):
        make_item()
    with CaptureQueriesContext(connection) as fifty:
        as_technician.get("/types/")
    assert len(fifty) == len(one)


def test_default_order_is_walked_and_not_sorted(company):
    if connection.vendor != "sqlite":
        return
    types = [make_type() for _ in range(20)]
    Item.objects.bulk_create(
        Item(code=f"{t:04d}{n:04d}", type=kind, added_at=NOW) for t, kind in enumerate(types) for n in range(150)
    )
    search_index.refresh_statistics(connection)
    rows = Item.objects.owned().described(a_day()).order_by("type__name", "length_mm", "name", "code")[:51]
    assert "item_by_type" in rows.explain() and "TEMP B-TREE" not in rows.explain()
    for standing in ("unproved", "known-good"):
        rows = Item.objects.owned().with_standing(standing, a_day()).described(a_day())[:51]
        assert "TEMP B-TREE" not in rows.explain()
    assert "item_suspect" in Item.objects.owned().with_standing("suspect", a_day()).order_by().explain()


def test_empty_list_says_what_to_do(as_technician):
    page = as_technician.get("/gear/").content.decode()
    assert "Nothing is labelled yet" in page and "/gear/add/" in page and "Add a gear type" in page


# adding


def add(client, type_, **kw):
    given = {"uid": str(uuid.uuid4()), "type": type_.pk, "count": 1, **kw}
    return client.post("/gear/add/", given)


def test_twenty_four_at_once_go_on_after_the_highest_name(as_technician):
    box = make_type()
    make_item(type=box, name="B")
    assert add(as_technician, box, count=24).status_code == 302
    names = list(Item.objects.filter(type=box).order_by("pk").values_list("name", flat=True))
    assert names == [letters_of(n) for n in range(2, 27)]
    assert Label.objects.filter(item__type=box, bound_at__isnull=False).count() == 25


def test_same_form_twice_adds_once(as_technician):
    box = make_type()
    uid = str(uuid.uuid4())
    for _ in range(2):
        assert add(as_technician, box, count=5, uid=uid).status_code == 302
    assert Item.objects.filter(type=box).count() == 5


def test_label_first_binds_the_scanned_code(as_technician):
    box = make_type()
    code = make_item().code
    taken = add(as_technician, box, code=code)
    assert taken.status_code == 422 and "already the label of" in taken.content.decode()
    from inventory.calc import codes

    fresh = codes.mint()
    Label.objects.create(code=fresh, minted_at=NOW, printed_at=NOW)
    assert add(as_technician, box, code=f"https://gear.example/A/{fresh}").url == f"/a/{fresh}"
    assert Label.objects.get(code=fresh).item.type == box


@pytest.mark.parametrize(
    "given",
    [
        {"count": 0},
        {"count": 101},
        {"count": "x"},
        {"count": 2, "serial": "9"},
        {"code": "AAAA"},
        {"length_mm": "-1"},
        {"length_mm": "9" * 30},
        {"bought_on": "32.13.2020"},
        {"give_back_by": "2026-10-01"},
        {"name": "x" * 41},
        {"type": ""},
        {"type": "99999999999999999999"},
        {"uid": "no"},
        {"serial": "nul\x00"},
    ],
)
def test_odd_form_gets_a_sentence_and_adds_nothing(as_technician, given):
    box = make_type()
    response = add(as_technician, box, **given)
    assert response.status_code == 422 and 'class="error"' in response.content.decode()
    assert not Item.objects.exists()


def test_price_of_a_technician_is_not_taken(as_technician, as_owner):
    box = make_type()
    add(as_technician, box, price_cents="12.50", serial="a")
    add(as_owner, box, price_cents="12.50", serial="b")
    assert list(Item.objects.order_by("serial").values_list("price_cents", flat=True)) == [None, 1250]


def test_hand_may_look_and_not_change(as_hand):
    item = make_item()
    for url in ("/gear/", "/types/", f"/types/{item.type_id}/", f"/a/{item.code}", "/find/?q=a"):
        assert as_hand.get(url).status_code == 200, url
    for url in ("/gear/add/", "/types/add/", f"/types/{item.type_id}/edit/", f"/a/{item.code}/edit/", f"/a/{item.code}/lend/"):
        assert as_hand.get(url).status_code == 403, url
        assert as_hand.post(url, {"count": 1}).status_code == 403, url
    assert as_hand.post("/gear/chosen/", {"code": item.code, "do": "retire", "because": "x"}).status_code == 403
    assert as_hand.post(f"/a/{item.code}/delete/").status_code == 403
    item.refresh_from_db()
    assert item.retired_on is None


# what is done with many


def test_ticked_things_are_put_at_a_place_and_keep_the_filters(as_technician):
    items, shelf = [make_item(), make_item()], make_place()
    given = {"code": [i.code for i in items], "do": "place", "place": shelf.pk, "back": "/gear/?where=shop&page=2"}
    assert as_technician.post("/gear/chosen/", given).url == "/gear/?where=shop&page=2"
    assert Item.objects.filter(home=shelf).count() == 2


def test_ticked_things_are_retired_with_a_reason_only(as_technician):
    items = [make_item(), make_item()]
    given = {"code": [i.code for i in items], "do": "retire"}
    as_technician.post("/gear/chosen/", {**given, "because": " "})
    assert not Item.objects.filter(retired_on__isnull=False).exists()
    as_technician.post("/gear/chosen/", {**given, "because": "sold"})
    assert Item.objects.filter(retired_because="sold").count() == 2


def test_bulk_goes_back_to_our_own_list_only(as_technician):
    given = {"code": make_item().code, "do": "nothing", "back": "https://elsewhere.example/gear/"}
    assert as_technician.post("/gear/chosen/", given).url == "/gear/"


# types


def test_every_kind_has_a_form_of_its_facts_with_units(company):
    for kind in Kind:
        form = facts_form_of(kind)()
        assert set(form.fields) == {f.name for f in FACTS_OF_KIND[kind]._meta.local_fields} - {"id", "type"}
    assert facts_form_of(Kind.INTERFACE_BOX)().fields["input_ohm"].label == "Input impedance, Ω"


def test_type_is_added_with_its_facts_and_shows_them(as_technician):
    given = {
        "kind": "interface-box",
        "name": "Box of ours",
        "bays": 1,
        "cell_size": "6LR61",
        "facts-input_ohm": "1000000",
        "facts-active": "on",
        "facts-channels": 2,
    }
    page = as_technician.get(as_technician.post("/types/add/", given).url).content.decode()
    assert "1\u2009MΩ" in page and "Active" in page and "1 place, 6LR61" in page


def test_lead_lengths_are_typed_in_metres(as_technician):
    given = {"kind": "lead", "name": "Odd lead", "bays": 0, "facts-stock_lengths_mm": "3, 6; 0.5"}
    as_technician.post("/types/add/", given)
    assert GearType.objects.get().facts.stock_lengths_mm == [500, 3000, 6000]
    bad = as_technician.post("/types/add/", {**given, "name": "Worse", "facts-stock_lengths_mm": "three"})
    assert bad.status_code == 422 and "is no length" in bad.content.decode()


def test_editing_a_type_keeps_what_was_not_asked(as_technician):
    box = make_type(name="Old", replacement_cents=500)
    InterfaceBoxFacts.objects.create(type=box, input_ohm=1e6)
    as_technician.post(f"/types/{box.pk}/edit/", {"kind": "lead", "name": "New", "bays": 0, "facts-channels": 4})
    box = GearType.objects.get(pk=box.pk)
    assert (box.name, box.kind, box.replacement_cents) == ("New", "interface-box", 500)
    assert box.facts.channels == 4 and box.facts.input_ohm is None


def test_type_name_taken_gets_a_sentence(as_technician):
    make_type(name="Taken")
    assert as_technician.post("/types/add/", {"kind": "stand", "name": "Taken", "bays": 0}).status_code == 422


def test_goes_with_is_added_changed_and_taken_away(as_technician):
    box, lead = make_type(), make_type(Kind.LEAD)
    url = f"/types/{box.pk}/goes-with/"
    as_technician.post(url, {"needs": lead.pk, "count": 1, "length_mm": "3"})
    as_technician.post(url, {"needs": lead.pk, "count": 2, "length_mm": "3"})
    row = GoesWith.objects.get()
    assert (row.count, row.length_mm) == (2, 3000)
    as_technician.post(url, {"needs": box.pk, "count": 1})
    assert GoesWith.objects.count() == 1
    as_technician.post(url, {"remove": row.pk})
    assert not GoesWith.objects.exists()


def test_used_type_is_not_deleted(as_owner):
    item = make_item()
    as_owner.post(f"/types/{item.type_id}/delete/")
    assert GearType.objects.filter(pk=item.type_id).exists()
    free = make_type()
    as_owner.post(f"/types/{free.pk}/delete/")
    assert not GearType.objects.filter(pk=free.pk).exists()


def test_replacement_value_is_seen_by_owners_only(as_owner, as_technician):
    box = make_type(replacement_cents=98_765)
    assert "987.65" in as_owner.get(f"/types/{box.pk}/").content.decode()
    assert "987.65" not in as_technician.get(f"/types/{box.pk}/").content.decode()
    assert "987.65" not in as_technician.get(f"/types/{box.pk}/edit/").content.decode()


def test_imperial_shop_types_feet(as_technician, company):
    company.units = "imperial"
    company.save()
    lead = make_type(Kind.LEAD)
    add(as_technician, lead, length_mm="33")
    assert Item.objects.get(type=lead).length_mm == 10_058


# names


def test_letters_run_past_z_and_back():
    assert [letters_of(n) for n in (1, 26, 27, 52, 53)] == ["A", "Z", "AA", "AZ", "BA"]
    assert all(number_of(letters_of(n)) == n for n in range(1, 703))


def test_style_is_guessed_from_the_names_there_are():
    assert style_of(["1", "2", "A"]) is NameStyle.NUMBERS
    assert style_of(["a", ""]) is NameStyle.LETTERS
    assert style_of(["red", ""]) is NameStyle.NONE
    assert names_after(["7", "red"], 2, NameStyle.NUMBERS) == ["8", "9"]


def test_added_things_have_a_day_and_a_person(technician):
    item = items_add(type=make_type(), count=1, at=NOW - timedelta(hours=1), person=technician)[0]
    assert item.events.get().person == technician
