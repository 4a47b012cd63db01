"""Strays: noted, listed, settled, opened again."""

import pytest
from django.urls import reverse

from company.registries import NEEDS
from inventory.models import Stray
from tests.builders import NOW, make_item, make_show

pytestmark = pytest.mark.django_db


def note(client, **kw):
    return client.post(reverse("stray-add"), {"what": "Grey adapter", **kw})


def test_a_stray_is_noted_with_what_is_known(as_hand, hand):
    from company.clock import now

    show = make_show(load_in=now())
    assert note(as_hand, code_text="ACME 17", show=show.pk, where="dock", whose="the band").status_code == 302
    stray = Stray.objects.get()
    assert (stray.code_text, stray.show, stray.where, stray.whose, stray.person) == (
        "ACME 17",
        show.pk,
        "dock",
        "the band",
        hand,
    )
    page = as_hand.get(reverse("strays")).content.decode()
    assert "Grey adapter" in page and show.name in page


def test_the_same_form_twice_is_one_stray(as_hand):
    page = as_hand.get(reverse("stray-add"))
    drawn = page.context["form"].initial["found_at"]
    for _twice in range(2):
        note(as_hand, found_at=drawn)
    assert Stray.objects.count() == 1
    note(as_hand, found_at="1999-01-01T00:00:00Z")
    assert Stray.objects.filter(found_at__year=1999).count() == 0


def test_a_label_of_ours_is_no_stray(as_hand):
    item = make_item()
    answer = note(as_hand, code_text=f"https://any.example/a/{item.code}")
    assert answer.status_code == 422 and "That label is ours" in answer.content.decode() and not Stray.objects.exists()


def test_settled_and_opened_again(as_hand):
    stray = Stray.objects.create(what="Clip", found_at=NOW)
    settle = reverse("stray-settle", args=[stray.pk])
    assert "Say what became of it" in as_hand.post(settle, {"do": "given", "how": " "}, follow=True).content.decode()
    as_hand.post(settle, {"do": "given", "how": "the band"})
    again = as_hand.post(settle, {"do": "kept"}, follow=True)
    assert "settled already" in again.content.decode()
    stray.refresh_from_db()
    assert stray.settled_how == "given back to the band"
    assert "given back to the band" in as_hand.get(reverse("strays"), {"show": "settled"}).content.decode()
    as_hand.post(settle, {"do": "reopen"})
    stray.refresh_from_db()
    assert stray.settled_on is None
    long = as_hand.post(settle, {"do": "kept", "how": "x" * 500}, follow=True).content.decode()
    stray.refresh_from_db()
    assert "At most 90 characters: yours has 500." in long and not stray.settled_how, "nothing is cut off silently"


def test_odd_input_is_a_sentence(as_hand):
    for bad in (
        {"what": ""},
        {"what": "x" * 200},
        {"show": "99999999999"},
        {"show": "x"},
        {"code_text": "y" * 5000},
        {"what": "\x00"},
    ):
        assert note(as_hand, **bad).status_code == 422 or "show" in bad
    assert not Stray.objects.exclude(what="Grey adapter").exists()
    assert as_hand.post(reverse("stray-settle", args=[999]), {"do": "kept"}).status_code == 404
    assert as_hand.get(reverse("stray-settle", args=[999])).status_code == 405


def test_open_strays_are_one_need_and_the_list_is_constant(as_hand, rf, hand, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    request = rf.get("/")
    request.user = hand
    assert list(NEEDS["shelf"](request, NOW)) == []
    show = make_show()
    Stray.objects.create(what="Clip", found_at=NOW, show=show.pk)
    as_hand.get(reverse("strays"))
    with CaptureQueriesContext(connection) as one:
        as_hand.get(reverse("strays"))
    for n in range(49):
        Stray.objects.create(what=f"Clip {n}", found_at=NOW, show=show.pk, person=hand)
    with django_assert_num_queries(len(one)):
        as_hand.get(reverse("strays"))
    needs = list(NEEDS["shelf"](request, NOW))
    assert len(needs) == 1 and needs[0].key == "strays" and "and more" in needs[0].code
