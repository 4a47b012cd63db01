"""Which actual thing goes to which line of which show."""

import pytest

from shows.models import InputLine, Promised
from shows.services.promises import promise_by_hand, promises_make
from tests.builders import NOW, make_item, make_show, make_source, make_type

pytestmark = pytest.mark.django_db


def make_wanting(show, pickup, source):
    return InputLine.objects.create(show=show, number=1, source="Voice", type=source, pickup=pickup)


def test_one_microphone_goes_to_one_of_two_shows_at_once_and_twice_changes_nothing(company):
    microphone, source = make_type("microphone"), make_source()
    only = make_item(type=microphone)
    shows = [make_show(), make_show()]
    for show in shows:
        make_wanting(show, microphone, source)
    _asked, found = promises_make(shows=shows, at=NOW)
    kept = list(Promised.objects.values_list("pk", "item"))
    assert [item for _pk, item in kept] == [only.pk] and len(found.without) == 1
    promises_make(shows=shows, at=NOW)
    assert list(Promised.objects.values_list("pk", "item")) == kept


def test_what_a_person_chose_stays(company):
    microphone, source = make_type("microphone"), make_source()
    make_item(type=microphone)
    chosen = make_item(type=microphone)
    show = make_show()
    line = make_wanting(show, microphone, source)
    promise_by_hand(line=line, item=chosen, at=NOW)
    promises_make(shows=[show], at=NOW)
    held = Promised.objects.get(line=line)
    assert held.item == chosen and held.by_hand
