"""Truck check, straight on, the nearest spare, and what the dock's script asks for."""

import re
import uuid
from datetime import timedelta

import pytest
import zxingcpp
from django.urls import reverse
from PIL import Image, ImageDraw

from company.clock import now, today
from inventory.calc.codes import Read, parse
from inventory.calc.kinds import Kind
from inventory.models import CountMove
from inventory.services.cases import placement_record
from inventory.services.counted import count_out
from shows.calc.cards import COMMAND_CARDS, matrix_of, path_of
from shows.models import Checkout, Scan
from shows.services.dock import scan_shaped, scans_sent
from shows.spares import spare_for
from tests.builders import make_case, make_counted_line, make_item, make_place, make_pull_row, make_show, make_type


@pytest.fixture
def show(company):
    return make_show(load_in=now() - timedelta(hours=11), hours=14, name="Harvest ceilidh")


@pytest.fixture
def next_show(company):
    return make_show(load_in=now() + timedelta(hours=12), name="Quarry street fair")


def send_out(person, show, *items):
    at = now() - timedelta(hours=2)
    scans = [scan_shaped(code=item.code, action="out", show=show.pk, at=at) for item in items]
    scans_sent(actor=person, device="test", scans=scans, at=at)


def on_truck(show):
    return set(Checkout.objects.filter(show=show, closed_at=None, truck_at__isnull=False).values_list("item", flat=True))


def packed(case, *items):
    for item in items:
        placement_record(uid=uuid.uuid4(), item=item, case=case, effective_at=now() - timedelta(days=1))


# ---- truck check ----------------------------------------------------------------------------------------------------


def test_what_is_still_in_the_room_is_listed_by_case(as_hand, hand, show):
    case, lead, loose = make_case(name="4"), make_item(kind=Kind.LEAD), make_item()
    packed(case, lead)
    send_out(hand, show, case, loose)
    page = as_hand.get(reverse("truck-check", args=[show.pk])).content.decode()
    assert "Still in the room" in page and page.index(case.label) < page.index(lead.label) < page.index("Loose")
    assert "0 of 3" in page


def test_a_scan_on_the_truck_check_strikes_it(as_hand, hand, show):
    first, second = make_item(), make_item()
    send_out(hand, show, first, second)
    page = as_hand.post(
        reverse("dock"), {"code": first.code, "next": f"truck:{show.pk}", "uid": uuid.uuid4()}, follow=True
    ).content.decode()
    assert page.count('class="struck"') == 1 and "1 of 2" in page
    assert on_truck(show) == {first.pk}


def test_all_on_ticks_what_is_left_and_says_it_was_not_scanned(as_hand, hand, show):
    items = [make_item() for _ in range(3)]
    send_out(hand, show, *items)
    url, uid = reverse("truck-check", args=[show.pk]), str(uuid.uuid4())
    for _ in range(2):
        page = as_hand.post(url, {"all": "yes", "uid": uid}, follow=True)
    assert on_truck(show) == {item.pk for item in items}
    assert list(Scan.objects.filter(action="truck").values_list("ticked", flat=True)) == [True] * 3
    assert "All on the truck" in page.content.decode()


def test_ticking_some_leaves_the_rest_in_the_room(as_hand, hand, show):
    first, second = make_item(), make_item()
    send_out(hand, show, first, second)
    as_hand.post(reverse("truck-check", args=[show.pk]), {"code": [first.code, "garbage"], "uid": uuid.uuid4()})
    assert on_truck(show) == {first.pk}


def test_ticking_nothing_is_a_sentence(as_hand, show):
    page = as_hand.post(reverse("truck-check", args=[show.pk]), {}, follow=True)
    assert page.status_code == 200 and not Scan.objects.exists()


def test_counted_things_are_shown_on_the_truck_check(as_hand, hand, show):
    line = make_counted_line(24)
    count_out(uid=uuid.uuid4(), line=line, show=show.pk, count=20, at=now(), person=hand)
    assert ">20</b>" in as_hand.get(reverse("truck-check", args=[show.pk])).content.decode()


# ---- straight on ----------------------------------------------------------------------------------------------------


def straight_on(client, show, target, **more):
    return client.post(
        reverse("straight-on", args=[show.pk]), {"target": target.pk, "uid": more.pop("uid", uuid.uuid4()), **more}, follow=True
    )


def test_the_whole_truck_goes_straight_on_once(as_hand, hand, show, next_show):
    case, lead, loose = make_case(), make_item(kind=Kind.LEAD), make_item()
    packed(case, lead)
    send_out(hand, show, case, loose)
    line = make_counted_line(24)
    count_out(uid=uuid.uuid4(), line=line, show=show.pk, count=20, at=now(), person=hand)
    uid = str(uuid.uuid4())
    straight_on(as_hand, show, next_show, uid=uid)
    scans = Scan.objects.count()
    straight_on(as_hand, show, next_show, uid=uid)
    assert Scan.objects.count() == scans
    assert set(Checkout.objects.filter(show=next_show, closed_at=None).values_list("item", flat=True)) == {
        case.pk,
        lead.pk,
        loose.pk,
    }
    assert not Checkout.objects.filter(show=show, closed_at=None).exists()
    out = {s: sum(-m.delta for m in CountMove.objects.filter(show=s)) for s in (show.pk, next_show.pk)}
    assert out == {show.pk: 0, next_show.pk: 20}


def test_one_case_goes_on_with_what_is_in_it(as_hand, hand, show, next_show):
    case, lead, stays = make_case(), make_item(kind=Kind.LEAD), make_item()
    packed(case, lead)
    send_out(hand, show, case, stays)
    straight_on(as_hand, show, next_show, code=case.code)
    assert set(Checkout.objects.filter(show=next_show, closed_at=None).values_list("item", flat=True)) == {case.pk, lead.pk}
    assert Checkout.objects.get(item=stays, closed_at=None).show == show


def test_only_what_is_yet_to_load_in_is_offered_the_next_one_first(as_hand, hand, show, next_show):
    send_out(hand, show, make_item())
    later = make_show(load_in=now() + timedelta(days=3), name="Brass concert")
    make_show(load_in=now() - timedelta(hours=1), name="Under way")
    make_show(load_in=now() - timedelta(hours=30), hours=10, name="Struck")
    page = as_hand.get(reverse("straight-on", args=[show.pk]))
    assert [target.name for target in page.context["targets"]] == [next_show.name, later.name]
    assert re.search(rf'value="{next_show.pk}" checked', page.content.decode())


@pytest.mark.parametrize("target", ["", "x", "9999999", "-1"])
def test_an_odd_target_sends_nothing(as_hand, hand, show, next_show, target):
    send_out(hand, show, make_item())
    page = as_hand.post(reverse("straight-on", args=[show.pk]), {"target": target}, follow=True)
    assert "Choose the show" in page.content.decode()
    assert not Checkout.objects.filter(show=next_show).exists()


def test_nothing_out_and_no_other_show_are_sentences(as_hand, show):
    assert "Nothing is out" in as_hand.get(reverse("straight-on", args=[show.pk])).content.decode()
    assert as_hand.get(reverse("straight-on", args=[show.pk]), {"code": "garbage"}, follow=True).status_code == 200


def on_with_count(person, show, case, counted, minutes=10):
    at = now() - timedelta(minutes=minutes)
    scan = scan_shaped(code=case.code, action="truck", show=show.pk, at=at) | {"counted": counted}
    scans_sent(actor=person, device="test", scans=[scan], at=at)


def test_what_a_wrong_count_leaves_in_doubt_is_not_surely_loaded(as_hand, hand, show):
    trunk, inside, loose = make_case(name="Trunk 10"), [make_item(kind=Kind.LEAD) for _ in range(3)], make_item()
    packed(trunk, *inside)
    send_out(hand, show, trunk, loose)
    on_with_count(hand, show, trunk, 2)
    page = as_hand.get(reverse("truck-check", args=[show.pk])).content.decode()
    assert f"Look inside {trunk.label}: 2 of 3 were counted" in page
    assert "<b>1 of 5</b> on the truck, <b>3 to look at</b>" in page and "Still in the room" in page
    run = as_hand.get(reverse("dock-lookup"), {"show": show.pk, "way": "truck"}).json()["run"]
    assert (run["done"], run["words"]) == (1, "of 5 on the truck, 3 to look at")
    assert run["still"].startswith(f"Look inside {trunk.label}: 2 of 3 were counted. Still in the room: ")
    scans_sent(
        actor=hand,
        device="test",
        scans=[scan_shaped(code=i.code, action="truck", show=show.pk, at=now()) for i in (inside[0], loose)],
        at=now(),
    )
    page = as_hand.get(reverse("truck-check", args=[show.pk])).content.decode()
    assert '<h1 class="marker">Look inside</h1>' in page and "<b>3 of 5</b> on the truck, <b>2 to look at</b>" in page
    on_with_count(hand, show, trunk, 3, minutes=0)
    page = as_hand.get(reverse("truck-check", args=[show.pk])).content.decode()
    assert "All on the truck" in page and "to look at" not in page


@pytest.mark.parametrize("name", ["truck-check", "straight-on"])
def test_pages_of_a_show_cost_the_same_with_one_and_fifty(as_hand, hand, show, next_show, name, django_assert_max_num_queries):
    url = reverse(name, args=[show.pk])
    line = make_counted_line(9)
    count_out(uid=uuid.uuid4(), line=line, show=show.pk, count=2, at=now(), person=hand)
    case, lead = make_case(), make_item(kind=Kind.LEAD)
    packed(case, lead)
    send_out(hand, show, case)
    with django_assert_max_num_queries(60) as few:
        as_hand.get(url)
    many = [make_item() for _ in range(50)]
    send_out(hand, show, *many)
    with django_assert_max_num_queries(60) as more:
        as_hand.get(url)
    assert len(few) == len(more)


@pytest.mark.parametrize("name", ["truck-check", "straight-on"])
def test_an_unknown_show_is_not_found(as_hand, company, name):
    assert as_hand.get(reverse(name, args=[999])).status_code == 404


# ---- the nearest spare ----------------------------------------------------------------------------------------------


@pytest.fixture
def box(company):
    return make_type()


def proved(**kw):
    day = today()
    return make_item(tested_on=day - timedelta(days=9), test_by=day + timedelta(days=90), **kw)


def test_a_spare_with_the_show_comes_before_one_in_the_shop(hand, show, box):
    dead, there, shop = make_item(type=box), make_item(type=box), proved(type=box)
    send_out(hand, show, dead, there)
    assert spare_for(dead, show, today()).code == there.code
    assert spare_for(dead, None, today()).code == shop.code


def test_the_named_spare_comes_first_and_one_on_a_line_never(hand, show, box):
    dead, on_line, spare, other = (proved(type=box) for _ in range(4))
    send_out(hand, show, dead, on_line, spare, other)
    make_pull_row(show, item=on_line, line="7")
    make_pull_row(show, item=spare, critical="spare")
    assert spare_for(dead, show, today()).code == spare.code
    Checkout.objects.filter(item__in=[spare, other])
    for item in (spare, other):
        type(item).objects.filter(pk=item.pk).update(suspect_since=now())
    assert spare_for(dead, show, today()) is None


def test_a_spare_in_a_case_that_is_away_is_none(hand, show, next_show, box):
    dead, packed_away = make_item(type=box), make_item(type=box)
    trunk = make_case()
    at = now() - timedelta(hours=2)
    scans_sent(
        actor=hand,
        device="test",
        scans=[scan_shaped(code=trunk.code, action="out", show=next_show.pk, at=at)],
        at=at,
    )
    packed(trunk, packed_away)
    type(trunk).objects.filter(pk=packed_away.pk).update(in_case=trunk, custody="", custody_show=None)
    assert spare_for(dead, show, today()) is None
    type(trunk).objects.filter(pk=trunk.pk).update(custody="", custody_show=None)
    found = spare_for(dead, show, today())
    assert (found.code, found.where) == (packed_away.code, f"in the shop, {trunk.label}")


def test_known_good_comes_before_unproved_at_the_same_distance(box):
    shelf = make_place(name="Shelf 2")
    dead = make_item(type=box, home=shelf)
    make_item(type=box, home=shelf)
    good = proved(type=box)
    found = spare_for(dead, None, today())
    assert (found.code, found.says, found.where) == (good.code, "known good", "in the shop")


@pytest.mark.parametrize(
    "spoiled",
    [
        {"suspect_since": True},
        {"retired_on": True, "retired_because": "crushed"},
        {"lent_to": "A friend"},
        {"missing_since": True},
        {"test_by": True},
        {"gone_home_on": True},
    ],
)
def test_what_is_not_fit_is_never_offered(box, spoiled):
    at = now()
    values = {
        k: (at if k.endswith("since") else today() if k in {"test_by", "retired_on", "gone_home_on"} else v)
        for k, v in spoiled.items()
    }
    dead = make_item(type=box)
    make_item(type=box, **values)
    assert spare_for(dead, None, today()) is None


def test_another_length_is_no_spare(company):
    lead = make_type(Kind.LEAD)
    dead = make_item(type=lead, length_mm=10_000)
    make_item(type=lead, length_mm=5_000)
    assert spare_for(dead, None, today()) is None


def test_a_thing_out_to_another_show_is_no_spare(hand, show, next_show, box):
    dead, elsewhere = make_item(type=box), make_item(type=box)
    send_out(hand, show, dead)
    send_out(hand, next_show, elsewhere)
    assert spare_for(dead, show, today()) is None


def test_the_spare_is_answered_with_its_place(as_hand, hand, show, box):
    dead, spare = make_item(type=box), make_item(type=box)
    send_out(hand, show, dead, spare)
    answer = as_hand.get(reverse("dock-spare"), {"code": dead.code, "show": show.pk}).json()
    assert (answer["spare"]["code"], answer["spare"]["where"]) == (spare.code, "here at the show")
    assert spare.code[:4] + "-" + spare.code[4:] in as_hand.get(reverse("dock-swap", args=[dead.code])).content.decode()


@pytest.mark.parametrize("code", ["", "x", "\x00", "DO.OUT", "A" * 5000])
def test_no_such_thing_has_no_spare(as_hand, company, code):
    answer = as_hand.get(reverse("dock-spare"), {"code": code}).json()
    assert answer["spare"] is None and answer["why"]


# ---- lookup and snapshot --------------------------------------------------------------------------------------------


def test_lookup_says_what_codes_are_and_counts(as_hand, hand, show):
    case, lead = make_case(name="4"), make_item(kind=Kind.LEAD)
    packed(case, lead)
    make_pull_row(show, type=lead.type, count=2)
    send_out(hand, show, case)
    answer = as_hand.get(reverse("dock-lookup"), {"code": [case.code, "garbage"], "show": show.pk, "way": "out"}).json()
    assert answer["items"][case.code]["inside"] == 1
    assert answer["items"][case.code]["contents"] == [[lead.code, lead.label]]
    assert set(answer["items"]) == {case.code}
    assert (answer["run"]["done"], answer["run"]["total"]) == (1, 2)
    assert answer["run"]["still"].startswith("Still to pull: lead")


@pytest.mark.parametrize("query", [{}, {"show": "x"}, {"show": "9" * 30}, {"way": "up", "code": "\x00"}])
def test_odd_lookups_are_answered(as_hand, show, query):
    assert as_hand.get(reverse("dock-lookup"), query).status_code == 200


def test_lookup_costs_the_same_for_one_code_and_for_fifty(as_hand, hand, show, django_assert_max_num_queries):
    cases = [make_case() for _ in range(50)]
    for case in cases:
        packed(case, make_item(kind=Kind.LEAD))
    send_out(hand, show, cases[0])
    url = reverse("dock-lookup")
    with django_assert_max_num_queries(30) as few:
        as_hand.get(url, {"code": [cases[0].code], "show": show.pk, "way": "truck"})
    send_out(hand, show, *cases)
    with django_assert_max_num_queries(30) as more:
        as_hand.get(url, {"code": [c.code for c in cases], "show": show.pk, "way": "truck"})
    assert len(few) == len(more)


def test_the_snapshot_knows_items_cases_aliases_and_the_turns_of_shows(as_hand, show, company):
    from inventory.models import Label

    case, lead = make_case(), make_item(kind=Kind.LEAD)
    packed(case, lead)
    Label.objects.create(code="00000000", item=lead, minted_at=now(), bound_at=now())
    answer = as_hand.get(reverse("dock-snapshot")).json()
    assert answer["whole"] is True
    by_code = {item["code"]: item for item in answer["items"]}
    assert by_code[case.code]["contents"] == [[lead.code, lead.label]]
    assert answer["aliases"] == [["00000000", lead.code]]
    assert [way for _, way, _ in answer["shows"][0]["ways"]] == ["out", "out", "truck", "back"]


def test_the_snapshot_costs_the_same_with_one_and_with_fifty(as_hand, show, django_assert_max_num_queries):
    packed(make_case(), make_item(kind=Kind.LEAD))
    with django_assert_max_num_queries(30) as few:
        as_hand.get(reverse("dock-snapshot"))
    for _ in range(50):
        packed(make_case(), make_item(kind=Kind.LEAD))
    with django_assert_max_num_queries(30) as more:
        as_hand.get(reverse("dock-snapshot"))
    assert len(few) == len(more)


def test_a_large_stock_is_cut_to_what_is_near(as_hand, hand, show, monkeypatch):
    monkeypatch.setattr("shows.dock.SNAPSHOT_ITEMS", 5)
    out = make_item()
    send_out(hand, show, out)
    for _ in range(8):
        make_item()
    answer = as_hand.get(reverse("dock-snapshot")).json()
    assert answer["whole"] is False
    assert [item["code"] for item in answer["items"]] == [out.code]


# ---- printed cards --------------------------------------------------------------------------------------------------


def drawn(path: str, side: int, scale: int = 6) -> Image.Image:
    """Draw an SVG path of module runs as a printer would, from the page's own text."""
    picture = Image.new("L", (side * scale, side * scale), 255)
    pen = ImageDraw.Draw(picture)
    for x, y, width in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", path):
        left, top = int(x) * scale, int(y) * scale
        pen.rectangle([left, top, left + int(width) * scale - 1, top + scale - 1], fill=0)
    return picture


def test_every_printed_card_is_read_and_understood(as_hand, show, next_show):
    page = as_hand.get(reverse("dock-cards")).content.decode()
    found = re.findall(r'viewBox="0 0 (\d+) \d+" role="img" aria-label="QR code ([^"]+)".*?<path d="([^"]+)"', page)
    texts = [text for _, text, _ in found]
    assert texts[: len(COMMAND_CARDS)] == [card.text for card in COMMAND_CARDS]
    assert {f"GO.{s.pk}.{w}" for s in (show, next_show) for w in ("OUT", "TRUCK", "BACK")} <= set(texts)
    for side, text, path in found:
        read = zxingcpp.read_barcodes(drawn(path, int(side)))
        assert [one.text for one in read] == [text]
        assert parse(text).read in {Read.COMMAND, Read.SHOW_CARD}


def test_a_show_that_is_over_has_a_back_card_while_something_is_out(as_hand, hand, company):
    over = make_show(load_in=now() - timedelta(days=3), hours=8, name="Harvest ceilidh")
    card = f"GO.{over.pk}.BACK"
    assert card not in as_hand.get(reverse("dock-cards")).content.decode()
    send_out(hand, over, make_item())
    page = as_hand.get(reverse("dock-cards")).content.decode()
    assert card in page and f"GO.{over.pk}.OUT" not in page


def test_counted_lines_have_cards_of_their_own(as_hand, company):
    line = make_counted_line(3)
    page = as_hand.get(reverse("dock-cards"), {"lines": "yes"}).content.decode()
    assert f"COUNT.{line.pk}" in page


@pytest.mark.parametrize("query", [{"show": "x"}, {"show": "99999"}, {"lines": "yes"}])
def test_odd_card_sheets_are_pages(as_hand, company, query):
    assert as_hand.get(reverse("dock-cards"), query).status_code == 200


def test_a_matrix_has_four_empty_modules_round_it():
    matrix = matrix_of("DO.OUT")
    assert not any(matrix[0]) and not any(matrix[3]) and any(matrix[4])
    assert path_of([[False, True, True], [True, False, True]]) == "M1 0h2v1h-2zM0 1h1v1h-1zM2 1h1v1h-1z"
