"""Which thing goes to which line: over all overlapping shows, changing little, leaving alone what a person chose."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse

from company.jobs import job_run
from company.models import Job
from inventory.calc.kinds import Kind
from inventory.models import GearType, Item
from shows.calc.allocation import allocate
from shows.models import InputLine, Promised, SourceType
from shows.planning.borrowing import borrow_of
from shows.planning.promises import shows_at_once
from shows.services import promises
from shows.services.promises import promise_by_hand, promises_make
from tests.builders import NOW, fit_cells, make_box, make_case, make_item, make_show, make_type, use_on_cells


@pytest.fixture
def microphone(company):
    return make_type(Kind.MICROPHONE, name="Dynamic vocal microphone", key="mic")


@pytest.fixture
def voice(company):
    return SourceType.objects.create(key="voice", name="Voice", family="voice", way="acoustic", usual=["mic"])


@pytest.fixture
def show(company):
    return make_show(name="Harvest ceilidh", load_in=NOW + timedelta(days=3))


def good(microphone, name, **kw):
    return make_item(type=microphone, name=name, **{"tested_on": NOW.date(), "test_by": NOW.date() + timedelta(days=300), **kw})


def line(show, voice, number, **kw):
    return InputLine.objects.create(show=show, number=number, source=f"Voice {number}", type=voice, **kw)


def given():
    return {one.line_id: one.item_id for one in Promised.objects.all()}


def test_each_line_has_a_thing_and_no_thing_is_at_two_shows_at_once(show, voice, microphone):
    other = make_show(name="Fair", load_in=NOW + timedelta(days=3))
    items = [good(microphone, f"{n}") for n in range(4)]
    lines = [line(show, voice, 1), line(show, voice, 2), line(other, voice, 1), line(other, voice, 2)]
    promises_make(shows=shows_at_once(show), at=NOW)
    assert set(given()) == {one.pk for one in lines} and sorted(given().values()) == sorted(item.pk for item in items)


def test_a_thing_serves_two_shows_on_different_days(show, voice, microphone):
    good(microphone, "A")
    later = make_show(name="Later", load_in=NOW + timedelta(days=30))
    one, two = line(show, voice, 1), line(later, voice, 1)
    promises_make(shows=[show, later], at=NOW)
    assert set(given()) == {one.pk, two.pk}


def test_suspect_and_due_things_go_last_and_say_why(show, voice, microphone):
    bad = good(microphone, "bad", suspect_since=NOW)
    due = good(microphone, "due", test_by=NOW.date() - timedelta(days=1))
    fine = good(microphone, "fine")
    first, second = line(show, voice, 1, critical="critical"), line(show, voice, 2)
    promises_make(shows=[show], at=NOW)
    assert given()[first.pk] == fine.pk and given()[second.pk] == due.pk and bad.pk not in given().values()
    assert "proof runs out" in Promised.objects.get(line=second).doubts


def test_what_is_lent_at_the_repairer_or_named_elsewhere_is_not_given(show, voice, microphone):
    from tests.builders import make_place, make_pull_row

    good(microphone, "lent", lent_to="the chapel", lent_on=NOW.date())
    good(microphone, "away", at=make_place(sort="repairer"))
    elsewhere = good(microphone, "elsewhere")
    make_pull_row(make_show(name="Fair", load_in=NOW + timedelta(days=3)), item=elsewhere)
    one = line(show, voice, 1)
    promises_make(shows=[show], at=NOW)
    assert one.pk not in given()


def test_whole_cases_stay_together(show, voice, microphone):
    case = make_case(name="4")
    together = [good(microphone, f"c{n}", in_case=case) for n in range(2)]
    for n in range(3):
        good(microphone, f"a{n}", in_case=make_case(name=f"x{n}"))
    line(show, voice, 1)
    line(show, voice, 2)
    promises_make(shows=[show], at=NOW)
    assert set(given().values()) == {item.pk for item in together}


def test_working_it_out_again_changes_nothing_and_a_new_line_changes_little(show, voice, microphone):
    for n in range(6):
        good(microphone, f"{n}")
    for n in range(1, 4):
        line(show, voice, n)
    promises_make(shows=[show], at=NOW)
    before = given()
    rows = list(Promised.objects.order_by("pk").values_list("pk", flat=True))
    promises_make(shows=[show], at=NOW)
    assert given() == before and rows == list(Promised.objects.order_by("pk").values_list("pk", flat=True))
    line(show, voice, 4)
    promises_make(shows=[show], at=NOW)
    assert {key: item for key, item in given().items() if key in before} == before and len(given()) == 4


def test_what_a_person_chose_stays_and_is_given_to_nobody_else(show, voice, microphone):
    chosen, _other = good(microphone, "chosen", suspect_since=NOW), good(microphone, "other")
    one, two = line(show, voice, 1), line(show, voice, 2)
    promise_by_hand(line=one, item=chosen, at=NOW)
    promises_make(shows=[show], at=NOW)
    assert given()[one.pk] == chosen.pk and given()[two.pk] != chosen.pk
    promise_by_hand(line=one, item=None, at=NOW)
    assert one.pk not in given()


def test_a_thing_chosen_by_hand_for_one_show_is_not_promised_by_hand_to_another_on_the_same_day(show, voice, microphone):
    item, other = good(microphone, "A"), make_show(name="Fair", load_in=NOW + timedelta(days=3))
    mine, theirs = line(show, voice, 1), line(other, voice, 7)
    promises_make(shows=[other], at=NOW)
    promise_by_hand(line=mine, item=item, at=NOW)
    assert given() == {mine.pk: item.pk}
    with pytest.raises(ValidationError, match="line 1 at Harvest ceilidh already, chosen by hand"):
        promise_by_hand(line=theirs, item=item, at=NOW)
    with pytest.raises(ValidationError, match="off the pile"):
        promise_by_hand(line=theirs, item=make_item(kind=Kind.LEAD), at=NOW)
    with pytest.raises(ValidationError, match="not ours"):
        promise_by_hand(line=theirs, item=good(microphone, "gone", retired_on=NOW.date(), retired_because="sold"), at=NOW)


def test_a_box_of_the_players_own_is_not_ours_to_give(show, voice, microphone):
    good(microphone, "A")
    line(show, voice, 1, whose="player")
    promises_make(shows=[show], at=NOW)
    assert not given()


def test_the_page_gives_changes_and_takes_back(as_technician, show, voice, microphone):
    first, second = good(microphone, "A"), good(microphone, "B")
    one = line(show, voice, 1)
    url = reverse("promised", args=[show.pk])
    assert "without" in as_technician.get(url).content.decode()
    as_technician.post(reverse("promised-make", args=[show.pk]))
    assert "has its thing" in as_technician.get(url).content.decode()
    change = reverse("promised-change", args=[show.pk, one.pk])
    other = second if given()[one.pk] == first.pk else first
    as_technician.post(change, {"code": other.code})
    assert given()[one.pk] == other.pk and Promised.objects.get().by_hand
    as_technician.post(change, {"code": "no such code"})
    assert given()[one.pk] == other.pk
    as_technician.post(change, {"do": "release"})
    assert not given()


def test_many_lines_are_worked_out_in_the_background_with_progress(as_technician, show, voice, microphone, monkeypatch):
    monkeypatch.setattr("shows.services.promises.now", lambda: NOW)
    good(microphone, "A")
    line(show, voice, 1)
    answer = as_technician.post(reverse("promised-make", args=[show.pk]), {"all": "yes"})
    job = Job.objects.get()
    assert answer.url == job.get_absolute_url()
    assert job_run(job.pk)
    job.refresh_from_db()
    assert job.state == "done" and job.said == "1 lines at 1 shows, none without." and len(given()) == 1


def test_the_list_asks_the_same_for_one_line_and_forty(as_technician, show, voice, microphone, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    def add(n):
        Promised.objects.create(line=line(show, voice, n), item=good(microphone, f"{n}"), made_at=NOW)

    add(1)
    url = reverse("promised", args=[show.pk])
    as_technician.get(url)
    with CaptureQueriesContext(connection) as one:
        as_technician.get(url)
    for n in range(2, 41):
        add(n)
    assert Item.objects.count() == 40
    with django_assert_num_queries(len(one)):
        as_technician.get(url)


def test_the_box_whose_cells_will_not_last_goes_last_and_says_so(company):
    show = make_show(name="Long day", load_in=NOW + timedelta(days=3), hours=28)
    facts = {"ohm": 10_000, "typical_dbu": -20, "peak_dbu": -6, "usual": ["box"]}
    piezo = SourceType.objects.create(key="piezo", name="Piezo", family="strings", **facts)
    tired = make_box(name="tired", tested_on=NOW.date(), test_by=NOW.date() + timedelta(days=300))
    GearType.objects.filter(pk=tired.type_id).update(key="box")
    fit_cells(tired)
    use_on_cells(tired, 90, day=NOW.date() - timedelta(days=3))
    fresh = make_box(type=tired.type, name="fresh", tested_on=NOW.date(), test_by=NOW.date() + timedelta(days=300))
    fit_cells(fresh)
    first = line(show, piezo, 1)
    promises_make(shows=[show], at=NOW)
    assert given() == {first.pk: fresh.pk}
    second = line(show, piezo, 2)
    promises_make(shows=[show], at=NOW)
    assert given() == {first.pk: fresh.pk, second.pk: tired.pk}
    assert "its cells may last only" in Promised.objects.get(line=second).doubts


def test_a_named_thing_that_is_suspect_is_to_be_borrowed(show, microphone):
    from tests.builders import make_pull_row

    make_pull_row(show, item=good(microphone, "bad", suspect_since=NOW))
    assert [(one.type, one.count) for one in borrow_of(show)] == [(microphone, 1)]


def test_a_thing_in_doubt_is_said_above_the_lines_and_a_hand_is_sent_nowhere(show, voice, microphone, as_technician, as_hand):
    good(microphone, "bad", suspect_since=NOW)
    line(show, voice, 1)
    promises_make(shows=[show], at=NOW)
    assert "The one line has its thing, 1 in doubt" in as_technician.get(reverse("promised", args=[show.pk])).content.decode()
    told, plain = (who.get(reverse("readiness", args=[show.pk])).content.decode() for who in (as_technician, as_hand))
    assert 'class="act no-print"' in told and 'class="act no-print"' not in plain.split("</main>")[0]


def test_what_a_person_did_while_it_was_worked_out_stays(show, voice, microphone, monkeypatch):
    first = good(microphone, "A")
    gone, left, chosen = line(show, voice, 1), line(show, voice, 2), line(show, voice, 3)

    def meanwhile(wants, things, **_more):
        found = allocate(wants, things)
        gone.delete()
        Promised.objects.filter(item=first).delete()
        promise_by_hand(line=chosen, item=first, at=NOW)
        return found

    good(microphone, "B")
    monkeypatch.setattr(promises, "allocate", meanwhile)
    promises_make(shows=[show], at=NOW)
    assert given()[chosen.pk] == first.pk
    assert list(given().values()).count(first.pk) == 1 and set(given()) <= {left.pk, chosen.pk}
