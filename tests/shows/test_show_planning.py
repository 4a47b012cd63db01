"""Planning a show: typed times, copies, pull rows, rigs, goes-with, closing, venues."""

import uuid
from datetime import UTC, datetime, timedelta

import pytest
from django.urls import reverse

from inventory.calc.kinds import Kind
from inventory.models import CountedLine, CountMove, GoesWith, Item
from shows.calc.words import ShowState
from shows.missing import DECLARED_AT_MOST, missing_at
from shows.models import PullRow, Rig, RigRow, Show, Venue
from shows.needs import come_home, give_back, lent_home, pack, short, suspect_on_list
from shows.picks import picks_for
from shows.progress import pull_progress
from shows.services.dock import scan_shaped, scans_sent
from shows.services.shows import show_close
from shows.shortage import shortages_of
from tests.builders import (
    NOW,
    make_case,
    make_checkout,
    make_company,
    make_counted_line,
    make_item,
    make_place,
    make_pull_row,
    make_show,
    make_type,
    make_venue,
)


@pytest.fixture(autouse=True)
def still(monkeypatch):
    """Stop the clock at NOW: Friday 25 September 2026, 10:00 in London."""
    monkeypatch.setattr("django.utils.timezone.now", lambda: NOW)


TYPED = {
    "name": "Harvest ceilidh",
    "venue": "Tithe barn",
    "load_in": "2026-10-02T15:00",
    "start": "2026-10-02T19:30",
    "end": "2026-10-02T23:00",
}


def add(client, **kw):
    return client.post(reverse("show-add"), {**TYPED, **kw})


def test_five_things_typed_make_a_show_with_all_its_times(as_owner):
    assert add(as_owner).status_code == 302
    show = Show.objects.get()
    assert show.venue == Venue.objects.get(name="Tithe barn")
    assert show.load_in == datetime(2026, 10, 2, 14, 0, tzinfo=UTC)
    assert show.line_check == datetime(2026, 10, 2, 16, 30, tzinfo=UTC)
    assert show.strike == datetime(2026, 10, 2, 22, 30, tzinfo=UTC)
    assert show.home_by == datetime(2026, 10, 3, 0, 30, tzinfo=UTC)
    assert str(show.hold_from) == "2026-10-02"
    assert str(show.hold_until) == "2026-10-03"


@pytest.mark.parametrize(
    ("zone", "times"),
    [
        ("Europe/London", {"load_in": "2026-03-29T01:30", "start": "2026-03-29T12:00", "end": "2026-03-29T14:00"}),
        ("America/New_York", {"load_in": "2026-03-08T02:30", "start": "2026-03-08T12:00", "end": "2026-03-08T14:00"}),
    ],
)
def test_a_time_that_does_not_exist_is_a_sentence_and_no_show(as_owner, zone, times):
    make_company(time_zone=zone)
    answer = add(as_owner, **times)
    assert "does not exist" in answer.content.decode()
    assert not Show.objects.exists()
    assert not Venue.objects.exists()


@pytest.mark.parametrize(
    ("zone", "day", "which", "hour"),
    [
        ("Europe/London", "2026-10-25", "first", 0),
        ("Europe/London", "2026-10-25", "second", 1),
        ("America/New_York", "2026-11-01", "first", 5),
        ("America/New_York", "2026-11-01", "second", 6),
    ],
)
def test_a_time_that_comes_twice_is_a_choice(as_owner, zone, day, which, hour):
    make_company(time_zone=zone)
    before = (datetime.fromisoformat(day) - timedelta(days=1)).date().isoformat()
    typed = {"load_in": f"{before}T15:00", "start": f"{before}T20:00", "end": f"{day}T01:30"}
    asked = add(as_owner, **typed)
    assert "comes twice" in asked.content.decode()
    assert 'name="end_which"' in asked.content.decode()
    assert not Show.objects.exists()
    assert add(as_owner, **typed, end_which=which).status_code == 302
    assert Show.objects.get().end == datetime.fromisoformat(f"{day}T{hour:02d}:30").replace(tzinfo=UTC)


def test_a_show_in_the_second_hour_keeps_it_when_its_name_is_edited(as_owner):
    add(as_owner, load_in="2026-10-24T15:00", start="2026-10-24T20:00", end="2026-10-25T01:30", end_which="second")
    show = Show.objects.get()
    url = reverse("show-edit", args=[show.pk])
    page = as_owner.get(url).content.decode()
    assert 'name="end_which"' in page
    form = as_owner.get(url).context["form"]
    given = {name: form[name].value() or "" for name in form.fields}
    given = {k: v.strftime("%Y-%m-%dT%H:%M") if isinstance(v, datetime) else v for k, v in given.items()}
    assert as_owner.post(url, {**given, "name": "Renamed"}).status_code == 302
    changed = Show.objects.get()
    assert (changed.name, changed.end, changed.home_by) == ("Renamed", show.end, show.home_by)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"start": "2026-10-02T14:00"}, "The start (Fri 2 Oct, 14:00) comes before the load-in (Fri 2 Oct, "),
        ({"end": "2026-10-02T19:30"}, "It ends at the minute it starts"),
        ({"strike": "2026-10-02T22:00"}, "comes before"),
        ({"home_by": "2026-10-02T23:10"}, "comes before"),
        ({"hold_until": "2026-10-01"}, "until the day it is home"),
        ({"load_in": "soon"}, "Write it as a day and a time"),
        ({"load_in": "0001-01-01T00:00"}, "The year must lie between"),
        ({"load_in": "9999-12-31T23:59"}, "The year must lie between"),
        ({"load_in": "2026-10-02T15:00+02:00"}, "Leave the offset out"),
        ({"name": ""}, "This is needed"),
        ({"name": "x" * 81}, "At most 80"),
        ({"name": "a\x00b"}, "cannot be kept"),
        ({"start": ""}, "This is needed"),
    ],
)
def test_a_wrong_time_or_name_is_a_sentence_and_no_show(as_owner, typed, said):
    answer = add(as_owner, **typed)
    assert answer.status_code == 200
    assert said in answer.content.decode()
    assert not Show.objects.exists()


def test_a_copied_show_brings_its_pull_list_and_lies_ahead(as_owner):
    old = make_show(load_in=NOW - timedelta(days=20), name="Ceilidh", venue=make_venue(name="Barn"))
    make_pull_row(old, count=6, reason="fiddles")
    retired = make_item(retired_on=NOW.date(), retired_because="burnt")
    make_pull_row(old, item=retired)
    page = as_owner.get(reverse("show-add"), {"copy": old.pk})
    initial = page.context["form"].initial
    assert initial["name"] == "Ceilidh"
    assert initial["load_in"] > NOW.replace(tzinfo=None)
    assert add(as_owner, copy=old.pk).status_code == 302
    made = Show.objects.get(name="Harvest ceilidh")
    assert sorted(made.pull_rows.values_list("count", "item", "type")) == sorted(
        [(6, None, old.pull_rows.first().type_id), (1, None, retired.type_id)]
    )


def test_cancelled_holds_no_gear_and_opens_again(as_owner):
    show = make_show()
    box = make_type()
    make_pull_row(show, type=box, count=5)
    other = make_show(load_in=show.load_in)
    make_pull_row(other, type=box, count=2)
    assert shortages_of([other])[other.pk][box.pk, 0].promised == 5
    as_owner.post(reverse("show-cancel", args=[show.pk]))
    assert shortages_of([other])[other.pk][box.pk, 0].promised == 0
    as_owner.post(reverse("show-reopen", args=[show.pk]))
    assert Show.objects.get(pk=show.pk).state == ShowState.PLANNED


def test_closing_declares_missing_what_is_out_and_counts_off_once(owner):
    show = make_show(load_in=NOW - timedelta(days=2))
    home, gone = make_item(), make_item()
    went = NOW - timedelta(days=2)
    scans = [scan_shaped(code=i.code, action="out", at=went, show=show.pk) for i in (home, gone)]
    scans.append(scan_shaped(code=home.code, action="back", at=NOW - timedelta(days=1), show=show.pk))
    scans_sent(actor=owner, device="test", scans=scans, at=NOW)
    leads, tape = make_counted_line(24), make_counted_line(6, type=make_type(Kind.CONSUMABLE))
    for line, count in ((leads, 3), (tape, 2)):
        CountMove.objects.create(uid=uuid.uuid4(), line=line, show=show.pk, delta=-count, why="out", happened_at=NOW)
    uid = uuid.uuid4()
    assert show_close(show=show, uid=uid, person=owner, at=NOW) == (1, 3)
    assert show_close(show=show, uid=uid, person=owner, at=NOW) == (0, 0)
    assert set(Item.objects.filter(missing_since__isnull=False)) == {gone}
    stock = {line.pk: (line.owned, line.on_shelf, line.out) for line in CountedLine.objects.described()}
    assert stock == {leads.pk: (21, 21, 0), tape.pk: (4, 4, 0)}


def test_a_show_that_was_scanned_for_is_not_deleted(as_owner):
    show = make_show()
    make_checkout(show, make_item())
    page = as_owner.post(reverse("show-delete", args=[show.pk]), follow=True).content.decode()
    assert "its record stays" in page
    empty = make_show()
    make_pull_row(empty, item=make_item())
    as_owner.post(reverse("show-delete", args=[empty.pk]))
    assert list(Show.objects.all()) == [show]


def test_a_show_is_not_closed_before_its_end(as_technician):
    show = make_show()
    as_technician.post(reverse("show-close", args=[show.pk]))
    assert Show.objects.get().state == ShowState.PLANNED


# pull rows


@pytest.fixture
def lead(company):
    return make_type(Kind.LEAD, name="Microphone lead")


def pull_add(client, show, **kw):
    return client.post(reverse("pull-add", args=[show.pk]), kw)


@pytest.mark.parametrize(
    ("typed", "count", "length"),
    [
        ({"what": "Microphone lead"}, 1, 0),
        ({"what": "6 microphone lead 10 m"}, 6, 10_000),
        ({"what": "6 x mic 10m"}, 6, 10_000),
        ({"what": "microphone", "count": "4", "length": "7,5"}, 4, 7_500),
        ({"what": "2 microphone lead 33 ft"}, 2, 10_058),
    ],
)
def test_a_row_is_added_as_it_is_said(as_technician, lead, typed, count, length):
    show = make_show()
    assert pull_add(as_technician, show, **typed).status_code == 302
    row = show.pull_rows.get()
    assert (row.type, row.count, row.length_mm) == (lead, count, length)


def test_a_code_adds_its_item_once(as_technician):
    show, item = make_show(), make_item()
    assert pull_add(as_technician, show, what=item.code.lower(), line="5", reason="fiddle").status_code == 302
    again = pull_add(as_technician, show, what=item.code)
    assert again.status_code == 422
    assert "already on this pull list" in again.content.decode()
    assert show.pull_rows.get().item == item


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"what": "theremin"}, "No gear type is called"),
        ({"what": ""}, "Type what is wanted"),
        ({"what": "Microphone lead", "count": "0"}, "1 to 10 000"),
        ({"what": "Microphone lead", "count": "many"}, "whole number"),
        ({"what": "Microphone lead", "count": "99999"}, "1 to 10 000"),
        ({"what": "0 microphone lead"}, "1 to 10 000"),
        ({"what": "Microphone lead", "length": "9999"}, "between 0 and 1000"),
        ({"what": "Microphone lead", "length": "long"}, "Write a length"),
        ({"what": "Microphone lead", "feed": "steam"}, "Pick the feed"),
        ({"what": "Microphone lead", "reason": "x" * 201}, "At most 200"),
        ({"what": "Microphone lead", "line": "a\x00"}, "NUL"),
    ],
)
def test_a_row_that_makes_no_sense_is_a_sentence(as_technician, lead, typed, said):
    show = make_show()
    answer = pull_add(as_technician, show, **typed)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    assert not show.pull_rows.exists()


def test_a_removed_row_is_put_back_once_where_it_was(as_technician):
    show = make_show()
    rows = [make_pull_row(show, rank=n, count=n, reason=f"r{n}") for n in (1, 2, 3)]
    answer = as_technician.post(reverse("pull-row", args=[show.pk, rows[1].pk]), {"do": "remove"})
    assert show.pull_rows.count() == 2
    removed = as_technician.get(answer.url.split("#")[0]).context["removed"]
    for _ in range(2):
        as_technician.post(reverse("pull-put-back", args=[show.pk]), {"token": removed["token"]})
    assert [r.reason for r in show.pull_rows.all()] == ["r1", "r2", "r3"]


def test_a_forged_undo_puts_nothing_back(as_technician):
    show = make_show()
    as_technician.post(reverse("pull-put-back", args=[show.pk]), {"token": "made:up:token"})
    assert not show.pull_rows.exists()


def test_rows_move_up_and_down_and_stop_at_the_ends(as_technician):
    show = make_show()
    rows = [make_pull_row(show, reason=name) for name in "abc"]

    def move(row, way):
        as_technician.post(reverse("pull-row", args=[show.pk, row.pk]), {"do": way})
        return "".join(r.reason for r in show.pull_rows.all())

    assert move(rows[2], "up") == "acb"
    assert move(rows[0], "up") == "acb"
    assert move(rows[0], "down") == "cab"


def test_a_row_is_saved_by_script_or_form_and_a_wrong_one_keeps_the_old(as_technician):
    show = make_show()
    row = make_pull_row(show, count=4)
    url = reverse("pull-row", args=[show.pk, row.pk])
    assert as_technician.post(url, {"count": "6", "critical": "spare"}, headers={"Accept": "application/json"}).json() == {
        "said": "saved"
    }
    wrong = as_technician.post(url, {"count": "-1"}, headers={"Accept": "application/json"})
    assert wrong.status_code == 422
    row.refresh_from_db()
    assert (row.count, row.critical) == (6, "spare")
    PullRow.objects.all().delete()
    assert as_technician.post(url, {"count": "6"}, headers={"Accept": "application/json"}).status_code == 409


def test_a_rig_brings_all_it_holds_and_a_list_becomes_a_rig(as_technician):
    rig = Rig.objects.create(name="Speech")
    tops = make_type(Kind.LOUDSPEAKER)
    RigRow.objects.create(rig=rig, type=tops, count=2)
    show = make_show()
    as_technician.post(reverse("pull-rig", args=[show.pk]), {"rig": f"rig:{rig.pk}"})
    row = show.pull_rows.get()
    assert (row.type, row.count, row.reason, row.origin) == (tops, 2, "Speech", "rig")
    as_technician.post(reverse("rig-add"), {"name": "Kept", "show": show.pk})
    assert list(Rig.objects.get(name="Kept").rows.values_list("type", "count")) == [(tops.pk, 2)]
    for odd in ["", "rig:", "rig:999", "show:x", f"show:{show.pk}"]:
        as_technician.post(reverse("pull-rig", args=[show.pk]), {"rig": odd})
    assert show.pull_rows.count() == 1


def test_what_goes_with_the_list_is_proposed_until_it_is_there(as_technician, lead):
    microphone, clip = make_type(Kind.MICROPHONE), make_type(Kind.STAND)
    GoesWith.objects.create(type=microphone, needs=clip)
    GoesWith.objects.create(type=microphone, needs=lead, length_mm=10_000, count=1)
    show = make_show()
    make_pull_row(show, type=microphone, count=6)
    make_pull_row(show, type=clip, count=4)
    for _ in range(2):
        as_technician.post(reverse("pull-goes-with", args=[show.pk]), {"which": "all"})
    added = show.pull_rows.filter(origin="goes with").order_by("count")
    assert list(added.values_list("type", "length_mm", "count")) == [(clip.pk, 0, 2), (lead.pk, 10_000, 6)]


def test_a_short_line_says_who_has_the_rest(as_technician):
    box = make_type()
    for _ in range(8):
        make_item(type=box)
    show = make_show()
    make_pull_row(show, type=box, count=5)
    supper = make_show(load_in=show.load_in, name="Harvest supper")
    make_pull_row(supper, type=box, count=5)
    for address in ("pull", "show"):
        page = as_technician.get(reverse(address, args=[show.pk])).content.decode()
        assert "<b>Short 2.</b> This list wants 5; we own 8, 5 promised to Harvest supper: short 2 on Fri 25 Sep." in page
    make_pull_row(show, type=make_type(Kind.LEAD, name="Loose lead"), count=1)
    printed = as_technician.get(reverse("pull-print", args=[show.pk])).content.decode()
    assert "we own none: hire or borrow" in printed and "look for it" not in printed


def test_a_line_nobody_else_wants_says_what_is_left(as_technician):
    box, show = make_type(), make_show()
    make_item(type=box)
    named = make_item(type=box, suspect_since=NOW)
    make_item(type=box)
    make_pull_row(show, type=box, count=1)
    make_pull_row(show, type=box, item=named, count=1)
    for address in ("pull", "show"):
        page = as_technician.get(reverse(address, args=[show.pk])).content.decode()
        assert "This list wants 2; we own 3, 1 not fit to go: 0 left" in page and "<b>Suspect:</b>" in page


def test_unfit_lent_and_missing_things_are_not_counted_on(company):
    box, day = make_type(), NOW.date()
    make_item(type=box)
    make_item(type=box, suspect_since=NOW)
    make_item(type=box, test_by=day)
    make_item(type=box, missing_since=NOW)
    make_item(type=box, lent_to="Band", lent_on=day)
    make_item(type=box, retired_on=day, retired_because="burnt")
    make_item(type=box, borrowed_from="Band", give_back_by=day - timedelta(days=1))
    show = make_show()
    make_pull_row(show, type=box, count=2)
    left = shortages_of([show])[show.pk][box.pk, 0]
    assert (left.owned, left.unfit, left.short) == (3, 2, 1)


def test_picks_walk_the_shelves_and_leave_what_is_named_elsewhere(company):
    box = make_type()
    near, far = make_place(rank=1, name="Near"), make_place(rank=9, name="Far")
    case = make_case(home=far, name="trunk")
    loose = make_item(type=box, home=near, tested_on=NOW.date())
    packed = make_item(type=box, in_case=case, home=near)
    taken = make_item(type=box, home=near, tested_on=NOW.date())
    make_item(type=box, home=near, suspect_since=NOW)
    show = make_show()
    make_pull_row(show, type=box, count=4)
    make_pull_row(make_show(load_in=show.load_in), item=taken)
    picks = picks_for(show, pull_progress(show), NOW.date())
    assert [p.item for p in picks] == [loose, packed, None]
    assert picks[1].place.endswith("Far")
    assert (picks[2].short, picks[2].count) == (True, 2)


# venues, what is missing, what needs a person


def test_what_was_learned_at_a_venue_is_shown_at_the_next_show_there(as_technician):
    venue = make_venue()
    as_technician.post(reverse("venue-remark", args=[venue.pk]), {"words": "hums with the lights on"})
    as_technician.post(reverse("venue-remark", args=[venue.pk]), {"words": "ramp at the back"})
    venue.refresh_from_db()
    assert venue.remarks.splitlines() == [
        "Fri 25 Sep, technician: ramp at the back",
        "Fri 25 Sep, technician: hums with the lights on",
    ]
    page = as_technician.get(reverse("show", args=[make_show(venue=venue).pk])).content.decode()
    assert "hums with the lights on" in page


def test_missing_names_what_is_late_by_show_with_who_had_it_last(hand, as_technician):
    late = make_show(load_in=NOW - timedelta(days=2), venue=make_venue(name="Chapel"))
    item = make_item()
    make_checkout(late, item, opened_by=hand)
    line = make_counted_line(24)
    CountMove.objects.create(uid=uuid.uuid4(), line=line, show=late.pk, delta=-2, why="out", happened_at=NOW)
    on_time = make_show(load_in=NOW - timedelta(hours=2))
    make_checkout(on_time, make_item())
    (group,) = missing_at(NOW)
    assert (group.show, [a.item for a in group.items], [c.count for c in group.counted]) == (late, [item], [2])
    assert group.items[0].fact == "Never onto the truck."
    assert "by hand (scanned itself)" in group.items[0].known
    page = as_technician.get(reverse("missing")).content.decode()
    assert "Chapel" in page


def test_missing_is_declared_noted_and_taken_back(as_technician):
    item = make_item(notes="Old note")
    url = reverse("missing-say", args=[item.code])
    as_technician.post(url, {"do": "missing"})
    as_technician.post(url, {"do": "note", "words": "in the vestry, says the verger"})
    item.refresh_from_db()
    assert item.missing_since == NOW
    assert item.notes.splitlines() == ["Fri 25 Sep: in the vestry, says the verger (technician)", "Old note"]
    as_technician.post(url, {"do": "found"})
    item.refresh_from_db()
    assert item.missing_since is None
    assert as_technician.post(url, {"do": "note", "words": "x", "next": "//elsewhere.example/"}).url == reverse("missing")


def test_each_need_of_the_road_is_said_once(rf, owner, company):
    request = rf.get("/")
    request.user, request.company = owner, company
    late, coming = make_show(load_in=NOW - timedelta(days=2)), make_show(load_in=NOW + timedelta(hours=3))
    make_checkout(late, make_item())
    make_item(borrowed_from="Town band", give_back_by=NOW.date())
    make_item(lent_to="Club", lent_on=NOW.date(), lent_home_by=NOW.date())
    make_pull_row(coming, item=make_item(suspect_since=NOW))
    make_pull_row(coming, type=make_type(), count=2)
    sources = (come_home, give_back, lent_home, short, suspect_on_list, pack)
    said = {source.__name__: list(source(request, NOW)) for source in sources}
    # the suspect thing's own type is short by one, and so is the other: one need a show
    assert {name: len(needs) for name, needs in said.items()} == dict.fromkeys(said, 1)
    assert said["pack"][0].next_step
    assert said["pack"][0].by == coming.load_in
    assert said["come_home"][0].lifted


def test_a_show_that_has_not_to_be_home_yet_needs_nobody(rf, owner, company):
    request = rf.get("/")
    request.user, request.company = owner, company
    make_checkout(make_show(load_in=NOW - timedelta(hours=1)), make_item())
    assert not list(come_home(request, NOW))


def test_missing_lists_the_newest_and_counts_the_rest(as_technician):
    box = make_type()
    for n in range(DECLARED_AT_MOST + 3):
        make_item(type=box, missing_since=NOW - timedelta(days=n))
    (group,) = missing_at(NOW)
    assert (len(group.items), group.more, group.total) == (DECLARED_AT_MOST, 3, DECLARED_AT_MOST + 3)
    assert group.items[0].item.missing_since == NOW
    assert missing_at(NOW, declared=False) == []
    page = as_technician.get(reverse("missing")).content.decode()
    assert f"{DECLARED_AT_MOST + 3} things should be home" in page and "And 3 more" in page


def test_missing_counts_what_a_show_has_beyond_the_list(company, monkeypatch):
    monkeypatch.setattr("shows.missing.AT_MOST", 1)
    box, show = make_type(), make_show(load_in=NOW - timedelta(days=2))
    for _ in range(3):
        make_checkout(show, make_item(type=box))
    (group,) = missing_at(NOW)
    assert (len(group.items), group.more, group.total) == (1, 2, 3)
