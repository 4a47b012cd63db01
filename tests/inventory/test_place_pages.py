"""Places: the walk, and sending a thing to the bench and back."""

import pytest
from django.urls import reverse

from inventory.calc.kinds import Where
from inventory.models import Item, Place
from inventory.services.places import place_move, places_rank
from tests.builders import a_day, make_counted_line, make_item, make_place

pytestmark = pytest.mark.django_db


def walk():
    return list(Place.objects.values_list("name", flat=True))


def test_places_are_walked_in_the_order_set(as_technician):
    for name in ("Near door", "Bench", "Far end"):
        as_technician.post(reverse("places"), {"name": name, "sort": "bench" if name == "Bench" else "shelf"})
    assert walk() == ["Near door", "Bench", "Far end"]
    far = Place.objects.get(name="Far end")
    for _ in range(2):
        as_technician.post(reverse("place", args=[far.pk]), {"do": "earlier"})
    as_technician.post(reverse("place", args=[far.pk]), {"do": "earlier"})
    assert walk() == ["Far end", "Near door", "Bench"]
    place_move(place=far, by=1)
    assert walk() == ["Near door", "Far end", "Bench"]
    places_rank(keys=[Place.objects.get(name="Bench").pk, 10**9])
    assert walk() == ["Bench", "Near door", "Far end"]


def test_a_place_in_use_stays_on_the_walk(as_technician):
    place = make_place()
    item = make_item(home=place)
    page = as_technician.post(reverse("place", args=[place.pk]), {"do": "remove"}, follow=True).content.decode()
    assert "still used: 1 have their home there" in page and Place.objects.exists()
    Item.objects.filter(pk=item.pk).update(home=None)
    line = make_counted_line(1, home=place)
    as_technician.post(reverse("place", args=[place.pk]), {"do": "remove"})
    line.home = None
    line.save(update_fields=["home"])
    as_technician.post(reverse("place", args=[place.pk]), {"do": "remove"})
    assert not Place.objects.exists()


def test_two_places_of_one_name_and_no_name_are_sentences(as_technician, as_hand):
    make_place(name="Shelf one")
    answer = as_technician.post(reverse("places"), {"name": "Shelf one", "sort": "shelf"})
    assert answer.status_code == 422 and "There is a place of that name already" in answer.content.decode()
    for bad in ({"name": ""}, {"name": "x" * 90}, {"name": "ok", "sort": "moon"}, {"name": "\x00"}):
        assert as_technician.post(reverse("places"), {"sort": "shelf", **bad}).status_code == 422
    assert as_hand.post(reverse("places"), {"name": "Mine", "sort": "shelf"}).status_code == 403
    assert as_hand.get(reverse("places")).status_code == 200
    assert Place.objects.count() == 1


def test_a_thing_goes_to_the_repairer_and_comes_back(as_technician, as_hand):
    item, repairer, shelf = make_item(), make_place(sort="repairer"), make_place()
    send = reverse("item-place", args=[item.code])
    assert as_technician.post(send, {"place": shelf.pk}).status_code == 422
    assert as_hand.post(send, {"place": repairer.pk}).status_code == 403
    as_technician.post(send, {"place": repairer.pk})
    assert Item.objects.described(a_day()).get().where == Where.REPAIRER
    as_technician.post(send, {"do": "fetch"})
    assert Item.objects.described(a_day()).get().where == Where.SHOP
    assert as_technician.get(reverse("item-place", args=["00000000"])).status_code == 404


def test_the_list_takes_as_many_queries_for_50_places_as_for_1(as_technician, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    make_item(home=make_place())
    as_technician.get(reverse("places"))
    with CaptureQueriesContext(connection) as one:
        as_technician.get(reverse("places"))
    for _ in range(49):
        make_item(home=make_place())
    with django_assert_num_queries(len(one)):
        as_technician.get(reverse("places"))
