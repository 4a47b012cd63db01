"""Phantom seen at a box, ticked at the dock: on its last scan and on the thing's own page, while its show is on."""

import json
import uuid
from datetime import timedelta

import pytest
from django.urls import reverse

from company.clock import now
from inventory.calc.kinds import Kind
from inventory.models import InterfaceBoxFacts
from shows.models import PhantomSeen, Show
from tests.builders import make_box, make_checkout, make_pull_row, make_show, make_type

pytestmark = pytest.mark.django_db
OFFER, BACK = "Phantom seen at it", "Not seen after all"


@pytest.fixture
def show(company):
    return make_show(load_in=now() - timedelta(minutes=20), name="Harvest ceilidh")


@pytest.fixture
def type_(company):
    made = make_type(Kind.INTERFACE_BOX, bays=1, cell_size="6LR61")
    InterfaceBoxFacts.objects.create(type=made, active=True, runs_on_phantom=True, runs_on_cells=True)
    return made


@pytest.fixture
def box(show, type_):
    return sent(show, make_box(type=type_, name="A"), "4")


def sent(show, item, line, feed="phantom"):
    make_pull_row(show, item=item, line=line, feed=feed)
    make_checkout(show, item)
    item.refresh_from_db()
    return item


def scanned(client, box):
    return client.post(reverse("dock"), {"code": box.code, "uid": str(uuid.uuid4())}, follow=True)


def looked(client, show, *boxes):
    answer = client.get(reverse("dock-lookup"), {"code": [b.code for b in boxes], "show": show.pk, "way": "out"})
    return json.loads(answer.content)["items"]


def test_scanned_again_at_its_show_it_is_ticked_and_taken_back_without_a_script(as_hand, hand, show, box):
    page = scanned(as_hand, box)
    hit = page.redirect_chain[-1][0].partition("hit=")[2]
    assert OFFER in page.content.decode() and "Already out to" in page.content.decode()
    url = reverse("phantom-seen", args=[show.pk, box.code])
    for _ in range(2):  # sent twice, it is one tick
        page = as_hand.post(url, {"do": "yes", "from": "dock", "hit": hit}, follow=True)
    assert PhantomSeen.objects.get().person == hand
    assert page.redirect_chain[-1][0] == f"{reverse('dock')}?hit={hit}"
    assert "phantom seen at Harvest ceilidh" in page.content.decode() and BACK in page.content.decode()
    page = as_hand.post(url, {"do": "no", "from": "dock", "hit": "no such"}, follow=True)
    assert page.redirect_chain[-1][0] == reverse("dock") and not PhantomSeen.objects.exists()


def test_the_things_own_page_offers_it_and_takes_it_back(as_hand, show, box):
    own, url = reverse("item-scan", args=[box.code]), reverse("phantom-seen", args=[show.pk, box.code])
    assert OFFER in as_hand.get(own).content.decode()
    page = as_hand.post(url, {"do": "yes", "from": "item"}, follow=True)
    assert page.redirect_chain[-1][0] == own and BACK in page.content.decode() and OFFER not in page.content.decode()
    assert OFFER in as_hand.post(url, {"do": "no", "from": "item"}, follow=True).content.decode()


def moved(show, by):
    times = ("load_in", "line_check", "start", "end", "strike", "home_by")
    Show.objects.filter(pk=show.pk).update(**{time: getattr(show, time) + by for time in times})


@pytest.mark.parametrize("hours", [1, -9], ids=["before load-in", "after the end"])
def test_outside_those_hours_nobody_is_asked(as_hand, show, box, hours):
    assert show.load_in < now() < show.end < now() + timedelta(hours=9)
    moved(show, timedelta(hours=hours))
    assert OFFER not in as_hand.get(reverse("item-scan", args=[box.code])).content.decode()
    assert "phantom" not in looked(as_hand, show, box)[box.code]


def test_what_runs_on_cells_or_is_with_another_show_is_not_asked(as_hand, show, box, type_):
    on_cells = sent(show, make_box(type=type_, name="B"), "5", feed="cells")
    elsewhere = sent(make_show(load_in=now() - timedelta(hours=1), name="Quarry street fair"), make_box(type=type_), "1")
    found = looked(as_hand, show, box, on_cells, elsewhere)
    assert [("phantom" in found[b.code]) for b in (box, on_cells, elsewhere)] == [True, False, False]
    assert found[box.code]["phantom"] == {"seen": False, "url": reverse("phantom-seen", args=[show.pk, box.code])}


def test_the_script_is_answered_with_a_sentence(as_hand, show, box):
    url = looked(as_hand, show, box)[box.code]["phantom"]["url"]
    answer = as_hand.post(url, {"do": "yes"}, headers={"accept": "application/json"})
    assert answer.json() == {"said": f"{box.label}: phantom seen at Harvest ceilidh.", "seen": True}
    assert looked(as_hand, show, box)[box.code]["phantom"]["seen"] is True


def test_looking_up_costs_the_same_for_one_box_and_for_fifty(as_hand, show, box, type_, django_assert_max_num_queries):
    counts, boxes = [], [box]
    for more in (0, 49):
        boxes += [sent(show, make_box(type=type_), str(100 + n)) for n in range(more)]
        with django_assert_max_num_queries(40) as caught:
            assert all("phantom" in one for one in looked(as_hand, show, *boxes).values())
        counts.append(len(caught))
    assert counts[0] == counts[1]


def test_where_nothing_takes_cells_the_lookup_asks_nothing_more(as_hand, show, django_assert_max_num_queries):
    plain = sent(show, make_box(type=make_type(Kind.INTERFACE_BOX)), "1")
    with django_assert_max_num_queries(40) as during:
        looked(as_hand, show, plain)
    moved(show, timedelta(hours=1))
    with django_assert_max_num_queries(40) as before:
        looked(as_hand, show, plain)
    assert len(during) == len(before)
