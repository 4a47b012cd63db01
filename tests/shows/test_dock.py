"""The dock without a script: every form of it, through the scans that custody is folded from."""

import re
import uuid
from datetime import timedelta

import pytest
from django.urls import reverse

from company.clock import now
from inventory.calc.kinds import Kind
from inventory.models import CountMove, Item, Stray
from inventory.services.cases import placement_record
from maintenance.models import Fault
from shows.models import Checkout, PullRow, Scan
from tests.builders import make_case, make_counted_line, make_item, make_pull_row, make_show, make_type

DOCK = "/dock/"


@pytest.fixture
def show(company):
    return make_show(load_in=now() + timedelta(hours=2), name="Harvest ceilidh")


def scan(client, code, **more):
    return client.post(DOCK, {"code": code, "uid": str(uuid.uuid4()), **more}, follow=True)


def text_of(response) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", response.content.decode()))


def packed(case: Item, *items: Item) -> None:
    for item in items:
        placement_record(uid=uuid.uuid4(), item=item, case=case, effective_at=now() - timedelta(days=1))


# ---- show and way ---------------------------------------------------------------------------------------------------


def test_the_only_near_show_needs_no_choosing(as_hand, show):
    page = as_hand.get(DOCK)
    assert page.status_code == 200
    assert "Harvest ceilidh" in page.content.decode() and 'data-way="out"' in page.content.decode()


def test_several_near_shows_are_asked_for_once(as_hand, show):
    other = make_show(load_in=now() + timedelta(hours=30), name="Quarry street fair")
    assert as_hand.get(DOCK).headers["Location"] == reverse("dock-show")
    picker = as_hand.get(reverse("dock-show")).content.decode()
    assert picker.index("Harvest ceilidh") < picker.index("Quarry street fair")
    assert "Back, whatever show" in picker
    as_hand.get(f"{DOCK}?show={other.pk}")
    assert "Quarry street fair" in as_hand.get(DOCK).content.decode()


def test_one_tap_turns_out_to_truck_to_back(as_hand, show):
    ways = []
    for _ in range(3):
        as_hand.post(reverse("dock-turn"))
        ways.append(re.search(r'class="way" data-way="(\w+)"', as_hand.get(DOCK).content.decode()).group(1))
    assert ways == ["truck", "back", "out"]


def test_the_way_follows_from_the_times(as_hand, company):
    make_show(load_in=now() - timedelta(hours=11), hours=14)
    assert 'data-way="truck"' in as_hand.get(DOCK).content.decode()


def test_whatever_show_takes_things_back(as_hand, show):
    item = make_item()
    scan(as_hand, item.code)
    as_hand.get(f"{DOCK}?show=0")
    page = scan(as_hand, item.code)
    assert "Whatever show" in page.content.decode()
    assert not Checkout.objects.filter(item=item, closed_at=None).exists()


@pytest.mark.parametrize("asked", ["999999999", "-1", "x", "1" * 40, "0x1", "²"])
def test_an_unknown_show_is_no_error(as_hand, show, asked):
    assert as_hand.get(DOCK, {"show": asked}, follow=True).status_code == 200


# ---- one scan -------------------------------------------------------------------------------------------------------


def test_a_typed_code_goes_out_and_is_shown(as_hand, show):
    item = make_item(name="A")
    page = scan(as_hand, item.code.lower())
    assert Checkout.objects.get(item=item).show == show
    assert 'data-signal="fine"' in page.content.decode() and item.label in page.content.decode()
    assert Scan.objects.get().device.startswith("page:")


def test_the_same_form_twice_is_one_scan(as_hand, show):
    item, uid = make_item(), str(uuid.uuid4())
    for _ in range(2):
        as_hand.post(DOCK, {"code": item.code, "uid": uid})
    assert Scan.objects.count() == 1


def test_going_back_and_typing_another_code_is_another_scan(as_hand, show):
    uid = str(uuid.uuid4())
    for item in (make_item(), make_item()):
        as_hand.post(DOCK, {"code": item.code, "uid": uid})
    assert Checkout.objects.count() == 2


def test_a_suspect_thing_says_stop_and_goes_in_the_bag(as_hand, show):
    item = make_item(suspect_since=now() - timedelta(days=1))
    page = scan(as_hand, item.code)
    assert 'data-signal="stop"' in page.content.decode() and "Into the bench bag" in page.content.decode()
    as_hand.post(reverse("dock-bag"), {"scan": Scan.objects.get().uid, "uid": uuid.uuid4()})
    assert not Checkout.objects.filter(item=item, closed_at=None).exists()
    assert Fault.objects.get(item=item, withdrawn_at=None).note == "Into the bench bag"


def test_a_foreign_code_says_stop_and_becomes_a_stray(as_hand, show):
    page = scan(as_hand, "https://example.org/asset/77")
    assert 'data-signal="stop"' in page.content.decode() and "It is a stray" in page.content.decode()
    for _ in range(2):
        as_hand.post(reverse("dock-stray"), {"code": "https://example.org/asset/77"})
    assert Stray.objects.get().show == show.pk


def test_our_own_label_is_no_stray(as_hand, show):
    item = make_item()
    page = as_hand.post(reverse("dock-stray"), {"code": item.code}, follow=True)
    assert "ours" in text_of(page) and not Stray.objects.exists()


@pytest.mark.parametrize(
    "text",
    [
        "A" * 4096,
        "A" * 9000,
        "\x00",
        "x\x00y",
        "  ",
        "🥁" * 300,
        "GO.9999999.OUT",
        "GO.1.SIDEWAYS",
        "DO.DANCE",
        "COUNT.99",
        "..",
        "/",
        "CH.",
    ],
)
def test_odd_text_is_a_sentence_never_an_error(as_hand, show, text):
    assert scan(as_hand, text).status_code == 200


# ---- undo -----------------------------------------------------------------------------------------------------------


def test_undo_takes_back_the_last_and_then_the_one_before(as_hand, show):
    first, second = make_item(), make_item()
    scan(as_hand, first.code)
    scan(as_hand, second.code)
    as_hand.post(reverse("dock-undo"), {"uid": uuid.uuid4()})
    assert set(Checkout.objects.filter(closed_at=None).values_list("item", flat=True)) == {first.pk}
    as_hand.post(reverse("dock-undo"), {"uid": uuid.uuid4()})
    assert not Checkout.objects.exists()


def test_the_three_counts_say_what_each_leaves_out(as_hand, show):
    listed, extra, case = make_item(), make_item(), make_case(name="drum")
    line = make_counted_line()
    make_pull_row(show, type=listed.type, count=1)
    make_pull_row(show, type=line.type, length_mm=line.length_mm, count=4)
    for item in (listed, extra, case):
        scan(as_hand, item.code)
    as_hand.post(reverse("dock-count"), {"line": line.pk, "good": 4, "uid": uuid.uuid4()})
    words = {}
    for way in ("out", "truck", "back"):
        page = text_of(as_hand.get(f"{DOCK}?show={show.pk}&way={way}"))
        words[way] = re.search(r"(\d+ of \d+ [^0-9]*?(?:on the list(?:, \d+ out beyond it)?|on the truck|back)) ", page)[1]
    assert words == {
        "out": "5 of 5 on the list, 2 out beyond it",
        "truck": "0 of 3 labelled on the truck",
        "back": "0 of 7 back",
    }


def test_undo_of_any_of_the_ten(as_hand, show):
    items = [make_item() for _ in range(11)]
    for item in items:
        scan(as_hand, item.code)
    page = as_hand.get(DOCK).content.decode()
    assert page.count('name="undoes"') == 10
    wanted = Scan.objects.get(code=items[4].code)
    as_hand.post(reverse("dock-undo"), {"undoes": wanted.uid, "uid": uuid.uuid4()})
    assert not Checkout.objects.filter(item=items[4]).exists()
    assert Checkout.objects.count() == 10


def test_the_undo_form_twice_is_one_undo(as_hand, show):
    first, second, uid = make_item(), make_item(), str(uuid.uuid4())
    scan(as_hand, first.code)
    scan(as_hand, second.code)
    for _ in range(2):
        as_hand.post(reverse("dock-undo"), {"uid": uid})
    assert set(Checkout.objects.values_list("item", flat=True)) == {first.pk}


def test_nobody_undoes_what_another_device_scanned(as_hand, as_technician, show):
    item = make_item()
    scan(as_hand, item.code)
    as_technician.post(reverse("dock-undo"), {"undoes": Scan.objects.get().uid, "uid": uuid.uuid4()})
    assert Checkout.objects.filter(item=item, closed_at=None).exists()


@pytest.mark.parametrize("undoes", ["", "x", "4865f06e-dcb0-46ab-9473-f3c8fb41ac09"])
def test_nothing_to_undo_is_a_sentence(as_hand, show, undoes):
    page = as_hand.post(reverse("dock-undo"), {"undoes": undoes}, follow=True)
    assert "nothing to undo" in text_of(page)


# ---- cards ----------------------------------------------------------------------------------------------------------


def test_command_cards_turn_the_way(as_hand, show):
    for text, way in (("DO.TRUCK", "truck"), ("do.back", "back"), ("DO.OUT", "out")):
        assert f'class="way" data-way="{way}"' in scan(as_hand, text).content.decode()
    assert not Scan.objects.exists()


def test_a_show_card_sets_show_and_way(as_hand, show):
    other = make_show(load_in=now() + timedelta(hours=30), name="Quarry street fair")
    page = scan(as_hand, f"GO.{other.pk}.BACK").content.decode()
    assert 'class="way" data-way="back"' in page and "Quarry street fair" in page


def test_the_undo_card_undoes(as_hand, show):
    item = make_item()
    scan(as_hand, item.code)
    scan(as_hand, "DO.UNDO")
    assert not Checkout.objects.exists()


def test_the_suspect_card_makes_the_next_scan_suspect(as_hand, show):
    item = make_item()
    page = scan(as_hand, "DO.SUSPECT")
    assert 'name="mode" value="suspect"' in page.content.decode()
    asked = scan(as_hand, item.code, mode="suspect")
    assert "What is wrong" in text_of(asked)
    item.refresh_from_db()
    assert item.suspect_since is not None and not Checkout.objects.exists()


def test_the_bag_card_stays_until_closed(as_hand, show):
    item = make_item()
    page = scan(as_hand, item.code, mode="bag").content.decode()
    assert 'name="mode" value="bag"' in page
    assert Fault.objects.get(item=item).note == "Into the bench bag"
    assert 'name="mode" value=""' in scan(as_hand, "DO.CLOSE", mode="bag").content.decode()


# ---- cases ----------------------------------------------------------------------------------------------------------


@pytest.fixture
def case_of_three(company):
    case = make_case(name="4, leads")
    leads = [make_item(kind=Kind.LEAD) for _ in range(3)]
    packed(case, *leads)
    return case, leads


def test_contents_go_along_with_a_case_before_anybody_counts(as_hand, show, case_of_three):
    case, leads = case_of_three
    page = scan(as_hand, case.code)
    assert "3 inside: all there?" in text_of(page)
    assert set(Checkout.objects.filter(closed_at=None).values_list("item", "evidence")) == {
        (case.pk, "seen"),
        *((lead.pk, "vouched") for lead in leads),
    }
    assert Scan.objects.get().counted is None


def test_a_confirmed_count_is_kept_with_the_scan(as_hand, show, case_of_three):
    case, leads = case_of_three
    scan(as_hand, case.code)
    first = Scan.objects.get()
    uid = str(uuid.uuid4())
    for _ in range(2):
        as_hand.post(reverse("dock-inside"), {"scan": first.uid, "uid": uid, "counted": "3", "inside": "3"})
    assert list(Scan.objects.exclude(action="undo").exclude(pk=first.pk).values_list("counted", flat=True)) == [3]
    page = as_hand.get(DOCK).content.decode()
    assert page.count("<li class=") == 1 and "data-undone" not in page, "one scan in the list: nobody took anything back"
    assert Checkout.objects.filter(closed_at=None).count() == 4
    assert set(Checkout.objects.filter(item__in=leads).values_list("evidence", flat=True)) == {"vouched"}


def test_what_is_missing_from_a_case_stays_behind(as_hand, show, case_of_three):
    case, leads = case_of_three
    scan(as_hand, case.code)
    as_hand.post(
        reverse("dock-inside"),
        {"scan": Scan.objects.get().uid, "uid": uuid.uuid4(), "counted": "", "inside": "3", "missing": [leads[1].code]},
    )
    out = set(Checkout.objects.filter(closed_at=None).values_list("item", flat=True))
    assert out == {case.pk, leads[0].pk, leads[2].pk}
    assert Scan.objects.exclude(counted=None).get().counted == 2


@pytest.mark.parametrize("counted", ["-1", "x", "", "99999999999", "3.5", "²"])
def test_an_odd_count_of_a_case_is_a_sentence(as_hand, show, case_of_three, counted):
    scan(as_hand, case_of_three[0].code)
    page = as_hand.post(reverse("dock-inside"), {"scan": Scan.objects.get().uid, "counted": counted}, follow=True)
    assert "whole number" in text_of(page) and Scan.objects.count() == 1


# ---- counted lines --------------------------------------------------------------------------------------------------


@pytest.fixture
def line(company):
    return make_counted_line(24, type=make_type(Kind.LEAD, name="Microphone lead"), length_mm=10_000)


def test_counted_out_and_back_good_and_bad(as_hand, show, line):
    make_pull_row(show, type=line.type, length_mm=10_000, count=24)
    assert 'value="24"' in as_hand.get(DOCK).content.decode()
    uid = str(uuid.uuid4())
    for _ in range(2):
        as_hand.post(reverse("dock-count"), {"line": line.pk, "good": "24", "uid": uid})
    assert "24 of 24" in text_of(as_hand.get(DOCK)) or "24 of" in text_of(as_hand.get(DOCK))
    as_hand.post(reverse("dock-turn"), {"way": "back"})
    as_hand.post(reverse("dock-count"), {"line": line.pk, "good": "22", "bad": "1", "uid": uuid.uuid4()})
    moves = CountMove.objects.filter(show=show.pk).values_list("delta", "condition")
    assert sorted(moves) == [(-24, "good"), (1, "bad"), (22, "good")]


@pytest.mark.parametrize("good", ["", "-3", "x", "0", "1000000000", "1.5"])
def test_an_odd_count_is_a_sentence_and_moves_nothing(as_hand, show, line, good):
    assert as_hand.post(reverse("dock-count"), {"line": line.pk, "good": good}, follow=True).status_code == 200
    assert not CountMove.objects.filter(show=show.pk).exists()


def test_an_unknown_line_is_a_sentence(as_hand, show):
    page = as_hand.post(reverse("dock-count"), {"line": "77", "good": "1"}, follow=True)
    assert "no such counted line" in text_of(page)


# ---- what is wrong --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "condition", "symptom"),
    [
        ("hums", "suspect", "hums"),
        ("damaged", "damaged", "damaged"),
        ("parts missing", "parts missing", "parts missing"),
        ("label gone", "label gone", ""),
    ],
)
def test_one_tap_says_what_is_wrong(as_hand, show, said, condition, symptom):
    item = make_item()
    as_hand.post(reverse("dock-say", args=[item.code]), {"said": said, "uid": uuid.uuid4()})
    assert Scan.objects.values_list("action", "condition", "symptom").get() == ("inspect", condition, symptom)
    item.refresh_from_db()
    assert (item.suspect_since is None) == (said == "label gone")
    assert (item.label_gone_since is None) == (said != "label gone")


def test_back_asks_nothing_when_all_is_well(as_hand, show):
    item = make_item()
    scan(as_hand, item.code)
    as_hand.post(reverse("dock-turn"), {"way": "back"})
    page = scan(as_hand, item.code).content.decode()
    assert 'data-signal="fine"' in page and 'class="choose"' not in page


@pytest.mark.parametrize("said", ["", "haunted", "hums\x00"])
def test_an_odd_symptom_is_a_sentence(as_hand, show, said):
    item = make_item()
    page = as_hand.post(reverse("dock-say", args=[item.code]), {"said": said}, follow=True)
    assert "one of the words" in text_of(page) and not Scan.objects.exists()


def test_channel_seven_hummed_makes_what_is_on_it_suspect(as_hand, show):
    item = make_item()
    make_pull_row(show, item=item, line="7")
    as_hand.post(reverse("dock-channel"), {"channel": "7", "said": "hums", "uid": uuid.uuid4()})
    fault = Fault.objects.get()
    assert (fault.line, fault.symptom, fault.show, fault.item) == ("7", "hums", show.pk, item)


def test_a_channel_nobody_knows_is_kept_all_the_same(as_hand, show):
    page = as_hand.post(reverse("dock-channel"), {"channel": "12", "said": "crackles", "uid": uuid.uuid4()}, follow=True)
    assert page.content.decode().count(f"Channel 12 crackles: noted for {show.name}.") == 1
    assert page.status_code == 200 and Fault.objects.get().item is None


@pytest.mark.parametrize("channel", ["", " ", "x" * 60, ".", "\x00"])
def test_an_odd_channel_is_a_sentence(as_hand, show, channel):
    page = as_hand.post(reverse("dock-channel"), {"channel": channel, "said": "hums"}, follow=True)
    assert page.status_code == 200 and not Fault.objects.exists()


def test_a_scanned_channel_opens_its_report(as_hand, show):
    assert 'value="7"' in scan(as_hand, "CH.7").content.decode()


# ---- swap -----------------------------------------------------------------------------------------------------------


def test_a_spare_takes_the_dead_ones_place(as_hand, show):
    box = make_type()
    dead, spare = make_item(type=box), make_item(type=box)
    row = make_pull_row(show, item=dead, line="5")
    scan(as_hand, dead.code)
    uid = str(uuid.uuid4())
    for _ in range(2):
        as_hand.post(reverse("dock-swap", args=[dead.code]), {"code": spare.code, "uid": uid})
    dead.refresh_from_db()
    assert dead.suspect_since is not None
    assert Fault.objects.get().symptom == "dead"
    assert PullRow.objects.get(show=show, line="5").item == spare and row.show == show
    assert Checkout.objects.get(item=spare).show == show


@pytest.mark.parametrize("code", ["", "DO.OUT", "garbage", "same"])
def test_a_swap_wants_another_thing(as_hand, show, code):
    dead = make_item()
    page = as_hand.post(reverse("dock-swap", args=[dead.code]), {"code": dead.code if code == "same" else code}, follow=True)
    assert page.status_code == 200 and not Scan.objects.exists()


# ---- from the item's own page ---------------------------------------------------------------------------------------


def test_the_camera_apps_way_in_makes_the_scan(as_hand, show):
    item = make_item()
    url = reverse("item-scan", args=[item.code])
    assert "On the truck" in as_hand.get(url).content.decode()
    uid = str(uuid.uuid4())
    for _ in range(2):
        page = as_hand.post(url, {"way": "out", "show": show.pk, "uid": uid}, follow=True)
    assert 'data-signal="fine"' in page.content.decode()
    assert Scan.objects.count() == 1 and Checkout.objects.get().show == show


def test_an_unknown_code_has_no_scan_page(as_hand, show):
    assert as_hand.get("/a/NOTACODE/scan").status_code == 404


@pytest.mark.parametrize("given", [{"way": "up"}, {"way": "out", "show": "9999999"}, {}, {"way": "out", "show": "x"}])
def test_an_odd_way_makes_no_scan(as_hand, show, given):
    item = make_item()
    assert as_hand.post(reverse("item-scan", args=[item.code]), given, follow=True).status_code == 200
    assert not Scan.objects.exists()


# ---- roles ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "name", ["dock", "dock-show", "dock-channel", "dock-cards", "dock-lookup", "dock-snapshot", "dock-spare"]
)
def test_a_hand_opens_it_and_a_stranger_does_not(as_hand, client, show, name):
    assert as_hand.get(reverse(name), follow=True).status_code == 200
    assert client.get(reverse(name)).status_code == 302


@pytest.mark.parametrize("name", ["dock-turn", "dock-undo", "dock-count", "dock-inside", "dock-bag", "dock-stray"])
def test_what_changes_something_is_a_post(as_hand, show, name):
    assert as_hand.get(reverse(name)).status_code == 405


def queries_of(django_assert_max_num_queries, client, url):
    with django_assert_max_num_queries(200) as caught:
        assert client.get(url).status_code == 200
    return len(caught)


def test_the_page_costs_the_same_with_one_and_with_fifty(as_hand, show, django_assert_max_num_queries):
    box = make_type()
    make_pull_row(show, type=box, count=60)
    scan(as_hand, make_item(type=box).code)
    few = queries_of(django_assert_max_num_queries, as_hand, DOCK)
    for number in range(50):
        scan(as_hand, make_item(type=box).code)
        make_pull_row(show, item=make_item(type=box), line=str(number + 1))
    assert queries_of(django_assert_max_num_queries, as_hand, DOCK) == few
