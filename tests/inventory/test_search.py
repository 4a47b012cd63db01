"""One box finds anything."""

import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory import search, search_index
from inventory.calc import codes
from inventory.calc.kinds import Kind
from inventory.models import Item, Label
from maintenance.services.faults import fault_close, fault_open
from tests.builders import NOW, make_counted_line, make_item, make_person, make_place, make_type

pytestmark = pytest.mark.django_db


def found(text):
    return sorted(search.matching(Item.objects.all(), text).values_list("name", flat=True))


@pytest.fixture
def three(company):
    box = make_type(Kind.INTERFACE_BOX, name="Active direct box")
    lead = make_type(Kind.LEAD, name="Microphone lead")
    shelf = make_place(name="Blue rack")
    make_item(type=box, name="A", serial="SN-77/x", maker="Maker one", home=shelf)
    make_item(type=box, name="B", notes="dent in\nthe lid 100%_sure")
    make_item(type=lead, name="L1", length_mm=10_000)


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("direct", ["A", "B"]),
        ("IRECT bo", ["A", "B"]),
        ("77/X", ["A"]),
        ("maker one", ["A"]),
        ("blue", ["A"]),
        ("lid", ["B"]),
        ("dent lid box", ["B"]),
        ("box b", ["A", "B"]),  # b also begins "box" and "blue"
        ("mi", ["L1"]),
        ("10m", ["L1"]),
        ("10 m lead", ["L1"]),
        ("l1", ["L1"]),
        ("100%_sure", ["B"]),
        ("%%%", []),
        ("___", []),
        ("nothing such", []),
    ],
)
def test_every_word_is_found_wherever_it_stands(three, text, names):
    assert found(text) == names


def test_short_word_must_begin_a_word(three):
    assert found("ir") == []
    assert found("ac") == ["A", "B"]


def test_words_follow_a_renamed_type_a_renamed_place_and_an_edited_item(three):
    item = Item.objects.get(name="A")
    item.type.name = "Loud thing"
    item.type.save(update_fields=["name"])
    item.home.name = "Green rack"
    item.home.save(update_fields=["name"])
    Item.objects.filter(name="B").update(serial="QQQ9")
    assert found("loud") == ["A", "B"]
    assert found("direct") == []
    assert found("green") == ["A"] and found("blue") == []
    assert found("qqq9") == ["B"]


def test_deleted_item_is_not_found(three):
    item = Item.objects.get(name="A")
    Label.objects.filter(item=item).delete()
    item.delete()
    assert found("direct") == ["B"]


def test_words_are_found_after_the_index_is_made_afresh(three):
    search_index.drop_triggers(connection)
    assert not search_index.is_kept(connection)
    make_item(name="late", serial="LATECOMER")
    assert found("latecomer") == []
    search_index.install(connection)
    assert search_index.is_kept(connection)
    assert found("latecomer") == ["late"]


def test_code_address_and_spelled_code_jump_to_the_item(as_hand):
    item = make_item()
    for text in (item.code, codes.spell(item.code).lower(), f"https://elsewhere.example/A/{item.code}"):
        response = as_hand.get("/find/", {"q": text})
        assert response.status_code == 302 and response.url == f"/a/{item.code}"


def test_first_half_of_a_code_finds_the_item(as_hand):
    item = make_item(name="half")
    assert found(item.code[:5]) == ["half"]
    assert found(codes.spell(item.code)[:7]) == ["half"]


@pytest.mark.parametrize(
    "text",
    [
        '"',
        "*",
        "a*b",
        "NEAR(",
        "AND",
        "OR NOT",
        "-",
        "\x00",
        "x\x00y",
        "😀",
        "\ud83d",
        "'; DROP",
        "%",
        "\\",
        "()",
        "text:",
        " " * 40,
    ],
)
def test_odd_text_is_answered_with_a_page(as_hand, text):
    make_item(name="odd")
    assert as_hand.get("/find/", {"q": text.encode("utf-8", "surrogatepass")}).status_code == 200
    assert as_hand.get("/gear/", {"q": text.encode("utf-8", "surrogatepass")}).status_code == 200


def test_four_kilobytes_get_a_sentence(as_hand):
    response = as_hand.get("/find/", {"q": "x" * 4096})
    assert response.status_code == 422
    assert "longer than anything we own" in response.content.decode()


def test_types_counted_lines_and_places_answer_too(as_hand):
    lead = make_type(Kind.LEAD, name="Quiet lead")
    make_counted_line(type=lead, length_mm=5000)
    make_place(name="Quiet corner")
    page = as_hand.get("/find/?q=quiet").content.decode()
    for heading in ("Gear types", "Counted lines", "Places"):
        assert heading in page


def test_a_word_in_more_than_a_thousand_items_is_counted_no_further(company, as_hand, monkeypatch):
    monkeypatch.setattr(search, "EXACT_UP_TO", 3)
    box = make_type(name="Common box")
    for _ in range(5):
        make_item(type=box)
    assert search.matching(Item.objects.all(), "common").count() == 5
    assert len(search.matching_ids("default", ["common"], most=3)) == 4


def test_finding_costs_the_same_for_one_and_for_twenty(as_hand):
    box = make_type(name="Counted box")
    make_item(type=box)
    with CaptureQueriesContext(
        connection,
    ) as one:
        as_hand.get("/find/?q=counted")
    for _ in range(19):
        make_item(type=box)
    with CaptureQueriesContext(connection) as many:
        as_hand.get("/find/?q=counted")
    assert len(many) == len(one)


def test_unbound_label_is_found_by_its_code(as_technician):
    code = codes.mint()
    Label.objects.create(code=code, minted_at=NOW)
    assert as_technician.get("/find/", {"q": code}).url == f"/a/{code}"
    page = as_technician.get(f"/a/{code}")
    assert page.status_code == 200 and f"/gear/add/?code={code}" in page.content.decode()


def test_words_of_an_open_fault_find_the_item(as_hand, technician):
    box = make_item(type=make_type(name="Active direct box"))
    fault = fault_open(uid=uuid.uuid4(), item=box, symptom="hums", note="only with the lights on", at=NOW)
    for words in ("hums", "lights", "hums lights"):
        page = as_hand.get(reverse("find"), {"q": words}).content.decode()
        assert "Open faults" in page and box.get_absolute_url() in page and "only with the lights on" in page
    fault_close(fault=fault, at=NOW, person=technician, how="Re-soldered.")
    assert "Open faults" not in as_hand.get(reverse("find"), {"q": "lights"}).content.decode()


def test_people_are_found_by_technicians_alone(as_owner, as_technician, as_hand):
    ines = make_person(username="ines", first_name="Inés")
    assert reverse("person", args=[ines.pk]) in as_owner.get(reverse("find"), {"q": "ines"}).content.decode()
    page = as_technician.get(reverse("find"), {"q": "ines"}).content.decode()
    assert "People" in page and reverse("person", args=[ines.pk]) not in page
    assert "People</h2>" not in as_hand.get(reverse("find"), {"q": "ines"}).content.decode()
