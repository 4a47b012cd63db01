"""Wirings: the list with drawings, one of them, the form with its picture, and the choice on a gear type."""

import json

import pytest
from auditlog.models import LogEntry
from django.urls import reverse

from inventory.calc.kinds import Kind
from inventory.models.facts import LeadFacts
from maintenance.models import BenchTest, Wiring
from maintenance.services.wirings import SHIPPED
from tests.builders import NOW, make_item, make_type

ENDS = "A: three-pin socket: 1 2 3 sh\nB: three-pin plug: 1 2 3 sh"
NETS = "A1=B1 screen | A2=B2 hot | A3=B3 cold"


def make_wiring(key: str = "three-pin", **kw) -> Wiring:
    given = {"name": key.replace("-", " ").capitalize(), "ends": ENDS, "nets": NETS, **kw}
    return Wiring.objects.create(key=key, **given)


def form(**changes) -> dict[str, str]:
    return {"name": "Odd lead", "ends": ENDS, "nets": NETS, "notes": "", "source": "measured"} | changes


@pytest.fixture
def three_pin(company):
    return make_wiring(notes="Shells are not tied.", source="a published pinout", shipped=True)


# ---- reading --------------------------------------------------------------------------------------------------------


def test_every_shipped_wiring_is_drawn_or_said_to_be_too_large(as_hand, company):
    held = json.loads(SHIPPED.read_text(encoding="utf-8"))
    entries = held["wirings"] if isinstance(held, dict) else held
    columns = ("key", "name", "ends", "nets", "per_channel", "notes", "source")
    Wiring.objects.bulk_create(Wiring(**{c: e[c] for c in columns if c in e}) for e in entries)
    answer = as_hand.get(reverse("wirings"))
    shown = answer.context["all"]
    assert len(shown) == len(entries) > 20
    assert [one.row.key for one in shown if one.trouble] == []
    for one in shown:
        page = as_hand.get(one.row.get_absolute_url())
        assert page.status_code == 200
        assert 'class="wires"' in page.content.decode(), one.row.key


def test_one_wiring_tells_pins_notes_source_and_who_uses_it(as_hand, three_pin):
    lead = make_type(Kind.LEAD, name="Microphone lead")
    LeadFacts.objects.create(type=lead, wiring=three_pin.key)
    text = as_hand.get(three_pin.get_absolute_url()).content.decode()
    for said in ("A2 and B2", "hot", "A shell and B shell", "Shells are not tied.", "a published pinout", "Microphone lead"):
        assert said in text
    assert "Whatever is not drawn must be open." in text


def test_the_list_answers_a_plug(as_hand, three_pin):
    make_wiring("ts", ends="A: jack: T S\nB: jack: T S", nets="AT=BT | AS=BS")
    found = as_hand.get(reverse("wirings"), {"q": "JACK"}).context["all"]
    assert [one.row.key for one in found] == ["ts"]
    assert "No wiring answers that." in as_hand.get(reverse("wirings"), {"q": "harp"}).content.decode()


def test_one_that_cannot_be_read_says_so_and_breaks_nothing(as_hand, company):
    broken = make_wiring("broken", nets="A1=B9")
    assert "does not exist" in as_hand.get(reverse("wirings")).content.decode()
    page = as_hand.get(broken.get_absolute_url())
    assert page.status_code == 200
    assert "Nothing is tested by it until that is put right." in page.content.decode()


@pytest.mark.parametrize("count", [1, 50])
def test_the_list_costs_the_same_queries_however_many(as_hand, company, count, django_assert_num_queries):
    for n in range(count):
        made = make_wiring(f"w-{n}")
        LeadFacts.objects.create(type=make_type(Kind.LEAD), wiring=made.key)
    with django_assert_num_queries(7):
        as_hand.get(reverse("wirings"))


# ---- writing --------------------------------------------------------------------------------------------------------


def test_a_technician_writes_one_and_it_is_read_back(as_technician, company):
    answer = as_technician.post(reverse("wiring-add"), form())
    made = Wiring.objects.get(name="Odd lead")
    assert answer["Location"] == made.get_absolute_url()
    assert (made.nets, made.shipped) == (NETS, False)


@pytest.mark.parametrize(
    ("typed", "field", "says"),
    [
        ({"nets": "A1=B1 | A1=B2"}, "nets", "Pin A1 is in two nets"),
        ({"nets": "A1=B7"}, "nets", "which does not exist"),
        ({"nets": "A2~A3 banana"}, "nets", "write how many ohms"),
        ({"ends": "A three-pin socket"}, "ends", "is no end"),
        ({"ends": "A: plug: 1 1\nB: plug: 1"}, "ends", "has pin 1 twice"),
        ({"ends": ""}, "ends", "This is needed."),
        ({"name": ""}, "name", "This is needed."),
        ({"nets": "x" * 5000}, "nets", "At most 4000 characters."),
    ],
)
def test_a_contradiction_is_said_at_its_field_and_nothing_is_kept(as_technician, company, typed, field, says):
    answer = as_technician.post(reverse("wiring-add"), form(**typed))
    assert answer.status_code == 422
    assert says in " ".join(answer.context["form"].errors[field])
    assert not Wiring.objects.exists()


def test_a_name_that_is_taken_is_said(as_technician, three_pin):
    answer = as_technician.post(reverse("wiring-add"), form(name=three_pin.name))
    assert answer.status_code == 422
    assert "already" in " ".join(answer.context["form"].errors["name"])


def test_looking_draws_what_was_typed_and_keeps_nothing(as_technician, company):
    text = as_technician.post(reverse("wiring-add"), form(nets="A2=B3 hot | A3=B2 cold", do="look")).content.decode()
    assert "A2 and B3" in text and 'class="wires"' in text
    assert not Wiring.objects.exists()
    wrong = as_technician.post(reverse("wiring-add"), form(nets="A1=B9", do="look"))
    assert "does not exist" in wrong.content.decode()
    assert wrong.status_code == 200


def test_a_new_one_starts_from_a_copy(as_technician, three_pin):
    page = as_technician.get(reverse("wiring-add"), {"from": three_pin.key})
    assert page.context["form"]["ends"].value() == ENDS
    assert page.context["form"]["name"].value() == ""
    assert as_technician.get(reverse("wiring-add"), {"from": "nobody"}).status_code == 200


def test_one_that_comes_with_the_program_is_the_shops_once_changed(as_technician, technician, three_pin):
    address = reverse("wiring-edit", args=[three_pin.key])
    assert "the catalogue leaves it alone" in as_technician.get(address).content.decode()
    as_technician.post(address, form(name=three_pin.name, nets=f"{NETS} | A1?Ash"))
    three_pin.refresh_from_db()
    assert (three_pin.shipped, three_pin.nets) == (False, f"{NETS} | A1?Ash")
    assert LogEntry.objects.filter(content_type__model="wiring").latest("pk").actor == technician


def test_one_in_use_is_not_deleted_and_one_nobody_uses_is(as_technician, company):
    used, spare = make_wiring("used"), make_wiring("spare")
    tested = make_wiring("tested")
    LeadFacts.objects.create(type=make_type(Kind.LEAD), wiring=used.key)
    BenchTest.objects.create(
        uid="5f4dcc3b-5aa7-4d61-9d83-27deb882cf99",
        item=make_item(),
        procedure="wiring",
        depth="ohms",
        done_at=NOW,
        received_at=NOW,
        wiring=tested.key,
        verdict="pass",
    )
    for wiring in (used, spare, tested):
        as_technician.post(reverse("wiring-delete", args=[wiring.key]))
    assert set(Wiring.objects.values_list("key", flat=True)) == {"used", "tested"}


def test_a_hand_reads_and_writes_none(as_hand, three_pin):
    assert as_hand.get(three_pin.get_absolute_url()).status_code == 200
    for address in (reverse("wiring-add"), reverse("wiring-edit", args=[three_pin.key])):
        assert as_hand.post(address, form()).status_code == 403


# ---- a gear type's wiring -------------------------------------------------------------------------------------------


def test_a_lead_is_given_one_of_the_known_wirings(as_technician, three_pin):
    lead = make_type(Kind.LEAD, name="Microphone lead")
    address = reverse("gear-type-edit", args=[lead.pk])
    make_wiring("channel", per_channel=True)
    field = as_technician.get(address).context["facts_form"].fields["wiring"]
    assert [key for key, _name in field.choices] == ["", "three-pin"]
    given = {"kind": "lead", "name": lead.name, "facts-wiring": "three-pin"}
    assert as_technician.post(address, given).status_code == 302
    assert LeadFacts.objects.get(type=lead).wiring == "three-pin"
    refused = as_technician.post(address, given | {"facts-wiring": "nobody"})
    assert refused.status_code == 422
    assert "Pick one from the list." in refused.content.decode()


def test_a_wiring_on_record_that_nobody_knows_stays_choosable(as_technician, three_pin):
    lead = make_type(Kind.LEAD, name="Old lead")
    LeadFacts.objects.create(type=lead, wiring="from-long-ago")
    address = reverse("gear-type-edit", args=[lead.pk])
    assert "from-long-ago: not one that is written down" in as_technician.get(address).content.decode()
    as_technician.post(address, {"kind": "lead", "name": "Older lead", "facts-wiring": "from-long-ago"})
    assert LeadFacts.objects.get(type=lead).wiring == "from-long-ago"
