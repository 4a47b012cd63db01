"""From the plan to the pull list: each row with its reason, made again without losing what a person did."""

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.calc.kinds import Kind
from inventory.models import GearType, GoesWith
from shows.calc.words import Feed
from shows.goes_with import goes_with_lacking
from shows.models import InputLine, NotProposed, Promised, PullRow, SourceType, StageLoad, StagePlace, StagePlan
from shows.planning.extras import extras_of
from shows.planning.making import making_of
from shows.planning.pulling import rows_planned
from shows.services.pull import row_add, row_bring_back, row_edit, row_put_back, row_remove
from shows.services.pull_made import pull_make, pull_unmake
from tests.builders import NOW, make_checkout, make_item, make_person, make_pull_row, make_show, make_type, make_venue


@pytest.fixture
def house(catalogue, company):
    """The shipped catalogue with a few things of each sort owned."""
    for key in ("active-box", "active-box-piezo", "passive-box-stereo", "mic-dynamic-vocal", "mic-dynamic-instrument"):
        for _ in range(3):
            make_item(type=kind_of(key))
    return make_show(venue=make_venue())


def kind_of(key):
    return GearType.objects.get(key=key)


def add(show, number, source, kind, **kw):
    return InputLine.objects.create(show=show, number=number, source=source, type=SourceType.objects.get(key=kind), **kw)


def make(show):
    return pull_make(show=show, person=None, at=NOW)


def made_rows(show):
    return {row.made: row for row in PullRow.objects.filter(show=show).exclude(made="").select_related("type", "item")}


def test_every_line_of_ours_gets_its_row_with_its_reason_and_its_feed(house):
    fiddle = add(house, 5, "Fiddle", "fiddle-piezo", critical="critical")
    add(house, 6, "Guest", "fiddle-piezo", whose="player")
    make(house)
    row = made_rows(house)[f"line:{fiddle.pk}:pickup"]
    assert (row.type.key, row.line, row.critical, row.feed) == ("active-box-piezo", "5", "critical", Feed.PHANTOM)
    assert row.reason.startswith("Fiddle: loses ") and row.reason.endswith("dB into it") and row.origin == "plan"
    assert [one for one in made_rows(house) if one.endswith(":pickup")] == [row.made]


def test_a_box_of_two_channels_is_pulled_once_for_a_pair(house):
    left = add(house, 1, "Keys left", "keys", side="left")
    add(house, 2, "Keys right", "keys", side="right")
    make(house)
    boxes = [row for row in made_rows(house).values() if row.type.kind == "interface-box"]
    assert [(row.made, row.count, row.line, row.type.key) for row in boxes] == [
        (f"line:{left.pk}:pickup", 1, "1, 2", "passive-box-stereo")
    ]


def test_stands_clips_boxes_desk_and_loads_come_along(house):
    add(house, 1, "Voice", "voice")
    add(house, 2, "Voice 2", "voice")
    box = StagePlace.objects.create(show=house, name="Left", sort="stage box", type=kind_of("stage-box-16-8"))
    StageLoad.objects.create(place=box, type=kind_of("loudspeaker-monitor"), count=3)
    StagePlan.objects.create(show=house, desk=kind_of("desk-digital-16"))
    make(house)
    rows = made_rows(house)
    assert rows["stand:stand-tall"].count == 2 and rows["stand:stand-tall"].reason == "for lines 1, 2"
    assert rows["with:clip:0"].count == 2 and "goes with 2 Dynamic vocal microphone" in rows["with:clip:0"].reason
    assert rows["desk"].type.key == "desk-digital-16" and rows[f"box:{box.pk}"].count == 1
    assert rows["load:loudspeaker-monitor"].count == 3 and rows["with:lead-network:50000"].count == 1
    assert rows["with:power-lead:10000"].count == 1 + 1 + 3


def test_the_house_s_own_desk_stays_where_it_is(house):
    house.venue.house_desk_type = kind_of("desk-digital-16")
    house.venue.save(update_fields=["house_desk_type"])
    StagePlan.objects.create(show=house, desk=kind_of("desk-digital-16"))
    assert "desk" not in {one.key for one in rows_planned(house)}


def test_a_wireless_line_takes_a_transmitter_and_a_receiver(house):
    line = add(house, 1, "Caller", "receiver")
    keys = {one.key: one.type.key for one in rows_planned(house)}
    assert keys[f"line:{line.pk}:pickup"] == "tx-handheld" and keys[f"line:{line.pk}:receiver"] == "rx-single"
    InputLine.objects.filter(pk=line.pk).update(pickup=kind_of("tx-body"))
    assert {one.key: one.type.key for one in rows_planned(house)}[f"line:{line.pk}:pickup"] == "tx-body"


def test_making_twice_changes_nothing(house):
    add(house, 1, "Voice", "voice")
    make(house)
    before = list(PullRow.objects.filter(show=house).values())
    again = make(house)
    assert again.nothing and again.same == len(before) and list(PullRow.objects.filter(show=house).values()) == before


def test_a_changed_plan_changes_its_rows_and_removes_what_it_wants_no_more(house):
    voice, other = add(house, 1, "Voice", "voice"), add(house, 2, "Other", "voice")
    make(house)
    gone = f"line:{other.pk}:pickup"
    other.delete()
    InputLine.objects.filter(pk=voice.pk).update(source="Lead voice", number=3)
    made = make(house)
    rows = made_rows(house)
    assert [stays.row.made for stays in made.removed] == [gone]
    assert rows[f"line:{voice.pk}:pickup"].line == "3" and rows[f"line:{voice.pk}:pickup"].reason == "Lead voice"
    assert rows["stand:stand-tall"].count == 1
    assert {change.row.made: change.words for change in made.changed}["stand:stand-tall"] == "was 2"


def test_a_row_changed_by_hand_stays_and_one_removed_is_not_brought_back(house):
    line = add(house, 1, "Voice", "voice")
    make(house)
    rows = made_rows(house)
    row_edit(row=rows["stand:stand-tall"], count=4)
    row_remove(row=rows[f"line:{line.pk}:pickup"])
    add(house, 2, "Other", "voice")
    made = make(house)
    rows = made_rows(house)
    assert rows["stand:stand-tall"].count == 4 and rows["stand:stand-tall"].by_hand
    assert f"line:{line.pk}:pickup" not in rows and [one.key for one in made.left_out] == [f"line:{line.pk}:pickup"]
    row_bring_back(show=house, made=f"line:{line.pk}:pickup")
    make(house)
    assert f"line:{line.pk}:pickup" in made_rows(house)


def test_saving_a_row_as_it_is_does_not_make_it_a_person_s(house):
    add(house, 1, "Voice", "voice")
    make(house)
    row = made_rows(house)["stand:stand-tall"]
    row_edit(row=row, count=row.count, reason=row.reason)
    assert not made_rows(house)["stand:stand-tall"].by_hand


def test_a_removed_row_put_back_is_the_planner_s_again(house):
    add(house, 1, "Voice", "voice")
    make(house)
    kept = row_remove(row=made_rows(house)["stand:stand-tall"])
    assert StagePlan.objects.get(show=house).left_out == ["stand:stand-tall"]
    row_put_back(show=house, kept=kept)
    assert made_rows(house)["stand:stand-tall"].count == 1 and StagePlan.objects.get(show=house).left_out == []
    assert row_put_back(show=house, kept=kept) is None


def test_what_a_rig_asks_for_is_not_asked_for_twice(house):
    add(house, 1, "Voice", "voice")
    add(house, 2, "Other", "voice")
    row_add(show=house, type=kind_of("mic-dynamic-vocal"), reason="Duo", origin="rig")
    row_add(show=house, type=kind_of("stand-tall"), count=5, reason="Duo", origin="rig")
    made = make(house)
    microphones = PullRow.objects.filter(show=house, type__key="mic-dynamic-vocal")
    assert sum(row.count for row in microphones) == 2
    assert "stand:stand-tall" not in made_rows(house)
    assert any(each.why == "2 on the list already: from a rig (Duo)" for each in made.covered)


def test_a_promised_thing_gets_its_own_row_once(house):
    first, second = add(house, 1, "Voice", "voice"), add(house, 2, "Other", "voice")
    item = make_item(type=kind_of("mic-dynamic-vocal"), name="Q")
    taken = make_item(type=kind_of("mic-dynamic-vocal"), name="R")
    Promised.objects.create(line=first, item=item, made_at=NOW)
    Promised.objects.create(line=second, item=taken, made_at=NOW)
    row_add(show=house, type=taken.type, item=taken)
    make(house)
    rows = made_rows(house)
    assert rows[f"line:{first.pk}:pickup"].item == item and rows[f"line:{first.pk}:pickup"].count == 1
    assert f"line:{second.pk}:pickup" not in rows  # R has a row of its own
    Promised.objects.filter(line=first).update(item=make_item(type=item.type, name="S"))
    assert "was Dynamic vocal microphone Q" in [change.words for change in make(house).changed]


def test_two_lines_may_change_promised_things_with_each_other(house):
    lines = [add(house, 1, "Voice", "voice"), add(house, 2, "Other", "voice")]
    items = [make_item(type=kind_of("mic-dynamic-vocal"), name=name) for name in "QR"]
    for line, item in zip(lines, items, strict=True):
        Promised.objects.create(line=line, item=item, made_at=NOW)
    make(house)
    for line, item in zip(lines, reversed(items), strict=True):
        Promised.objects.filter(line=line).update(item=item)
    make(house)
    rows = made_rows(house)
    assert [rows[f"line:{line.pk}:pickup"].item for line in lines] == items[::-1]
    assert make(house).nothing


def test_what_is_out_already_stays_though_the_plan_wants_it_no_more(house):
    line = add(house, 1, "Voice", "voice")
    make(house)
    make_checkout(house, make_item(type=kind_of("mic-dynamic-vocal")))
    line.delete()
    made = make(house)
    assert not [stays for stays in made.removed if stays.row.made.endswith(":pickup")]
    assert PullRow.objects.filter(show=house, type__key="mic-dynamic-vocal").count() == 1
    assert any("out with the show" in stays.why for stays in made.kept)


def test_the_last_making_is_taken_back_whole(house):
    voice, other = add(house, 1, "Voice", "voice"), add(house, 2, "Other", "voice")
    row_add(show=house, type=kind_of("tape-gaffer"), count=2)
    make(house)
    before = list(PullRow.objects.filter(show=house).order_by("rank").values(*FIELDS))
    other.delete()
    add(house, 7, "Fiddle", "fiddle-piezo")
    InputLine.objects.filter(pk=voice.pk).update(source="Lead voice")
    made = make(house)
    assert made.added and made.changed and made.removed
    pull_unmake(show=house, at=NOW)
    assert list(PullRow.objects.filter(show=house).order_by("rank").values(*FIELDS)) == before
    with pytest.raises(ValidationError, match="no making"):
        pull_unmake(show=house, at=NOW)


FIELDS = ("type", "length_mm", "count", "item", "reason", "feed", "critical", "line", "origin", "rank", "made", "by_hand")


def test_taking_a_making_back_leaves_what_a_person_changed_since(house):
    add(house, 1, "Voice", "voice")
    make(house)
    row_edit(row=made_rows(house)["stand:stand-tall"], count=9)
    _undone, left = pull_unmake(show=house, at=NOW)
    assert left == 1 and set(made_rows(house)) == {"stand:stand-tall"}


def test_a_list_that_would_grow_too_long_is_refused_whole(house, monkeypatch):
    monkeypatch.setattr("shows.planning.making.MOST_ROWS", 2)
    add(house, 1, "Voice", "voice")
    with pytest.raises(ValidationError, match="at most"):
        make(house)
    assert not PullRow.objects.filter(show=house).exists() and making_of(house).too_many


def test_making_asks_the_same_number_of_queries_for_two_lines_and_for_fifty(house):
    counts = []
    for numbers in (range(1, 3), range(3, 51)):
        for number in numbers:
            add(house, number, f"Voice {number}", "voice")
        with CaptureQueriesContext(connection) as caught:
            making_of(house)
        counts.append(len(caught))
    assert counts[0] == counts[1]


def test_what_went_along_unplanned_three_times_is_proposed(house):
    stand = kind_of("headphones")
    for number in range(3):
        if number == 2:
            assert extras_of(house) == []
        past = make_show(load_in=NOW - timedelta(days=30 + number), name=f"Past {number}", state="closed", closed_at=NOW)
        make_checkout(past, make_item(type=stand), closed_at=NOW, ended="back")
    found = extras_of(house)
    assert [(one.type, one.count, len(one.shows)) for one in found] == [(stand, 1, 3)]
    NotProposed.objects.create(type=stand)
    assert extras_of(house) == []


def test_what_was_on_the_list_of_a_past_show_did_not_go_unplanned(house):
    for number in range(3):
        past = make_show(load_in=NOW - timedelta(days=30 + number), name=f"Past {number}", state="closed", closed_at=NOW)
        item = make_item(type=kind_of("headphones"))
        make_checkout(past, item, closed_at=NOW, ended="back")
        PullRow.objects.create(show=past, type=item.type)
    assert extras_of(house) == []


def test_the_page_makes_the_list_takes_it_back_and_adds_an_extra(house, client):
    client.force_login(make_person("technician"))
    line = add(house, 1, "Voice", "voice")
    url = f"/shows/{house.pk}/make-pull/"
    page = client.get(url).content.decode()
    assert "Dynamic vocal microphone" in page.replace("DYNAMIC VOCAL MICROPHONE", "Dynamic vocal microphone")
    assert client.post(url, {"do": "make"}).status_code == 302 and made_rows(house)
    row_remove(row=made_rows(house)[f"line:{line.pk}:pickup"])
    assert "Bring it back" in client.get(url).content.decode()
    client.post(url, {"do": "bring-back", "key": f"line:{line.pk}:pickup"})
    client.post(url, {"do": "make"})
    assert f"line:{line.pk}:pickup" in made_rows(house)
    client.post(url, {"do": "undo"})
    assert f"line:{line.pk}:pickup" not in made_rows(house)
    assert client.post(url, {"do": "undo"}).status_code == 422


def test_goes_with_rules_of_a_lead_do_not_double_the_leads_of_the_plan(house):
    add(house, 1, "Voice", "voice")
    assert GoesWith.objects.filter(type__key="mic-dynamic-vocal", needs__key="lead-mic").exists()
    assert not [one for one in rows_planned(house) if one.key.startswith("with:lead-mic")]


def test_leads_the_plan_chose_by_the_runs_are_not_asked_for_again_in_another_length(company):
    microphone, lead = make_type(Kind.MICROPHONE), make_type(Kind.LEAD)
    GoesWith.objects.create(type=microphone, needs=lead, length_mm=10_000, count=1)
    show = make_show()
    make_pull_row(show, type=microphone, count=3)
    row = make_pull_row(show, type=lead, length_mm=15_000, count=3)
    assert [(one.length_mm, one.count) for one in goes_with_lacking(show)] == [(10_000, 3)], "by hand: as the rule says"
    PullRow.objects.filter(pk=row.pk).update(made="leads:15")
    assert goes_with_lacking(show) == []
    make_pull_row(show, type=microphone, count=1)
    assert [one.count for one in goes_with_lacking(show)] == [1]


# ---- a rig with more than the lines ask for


def rig_row(show, key, count):
    return make_pull_row(show, type=kind_of(key), count=count, origin=PullRow.Origin.RIG, reason="rig Small stage")


def test_a_rigs_boxes_beyond_the_lines_are_offered_to_be_cut_and_a_row_nobody_needs_comes_back(house, as_technician):
    add(house, 5, "Fiddle", "fiddle-piezo")
    boxes, vocals = rig_row(house, "active-box-piezo", 8), rig_row(house, "mic-dynamic-vocal", 2)
    url = f"/shows/{house.pk}/make-pull/"
    assert [(one.row.pk, one.keep) for one in making_of(house).beyond] == [(boxes.pk, 1), (vocals.pk, 0)]
    assert "Take 1 only" in as_technician.get(url).content.decode()
    as_technician.post(url, {"do": "cut", "key": boxes.pk})
    boxes.refresh_from_db()
    assert boxes.count == 1
    page = as_technician.post(url, {"do": "cut", "key": vocals.pk}, follow=True)
    assert not PullRow.objects.filter(pk=vocals.pk).exists() and "is off the list" in page.content.decode()
    back = page.context["removed"]["token"]
    as_technician.post(f"/shows/{house.pk}/pull/put-back/", {"token": back})
    assert PullRow.objects.get(show=house, type=vocals.type).count == 2


@pytest.mark.parametrize("key", ["", "x", "0", "\u0663", "99999999999999999999"])
def test_a_row_that_is_not_beyond_is_not_cut(house, as_technician, key):
    add(house, 5, "Fiddle", "fiddle-piezo")
    boxes = make_pull_row(house, type=kind_of("active-box-piezo"), count=8)
    page = as_technician.post(f"/shows/{house.pk}/make-pull/", {"do": "cut", "key": key or boxes.pk}, follow=True)
    boxes.refresh_from_db()
    assert boxes.count == 8 and "no more than the lines ask for" in page.content.decode()


def test_without_an_input_list_a_rig_is_what_it_is(house):
    rig_row(house, "active-box-piezo", 8)
    assert making_of(house).beyond == []


def test_a_figure_that_moved_in_a_reason_is_no_change_of_the_plan(house, as_technician):
    add(house, 5, "Fiddle", "fiddle-piezo")
    make(house)
    row = PullRow.objects.get(show=house, made__startswith="line:")
    said = row.reason
    PullRow.objects.filter(pk=row.pk).update(reason="Fiddle: loses more than it did")
    made = making_of(house)
    assert made.nothing and [each.row.pk for each in made.reworded] == [row.pk]
    assert "differs" not in as_technician.get(f"/shows/{house.pk}/ready/").content.decode()
    make(house)
    row.refresh_from_db()
    assert row.reason == said and not row.by_hand


def test_a_rigs_leads_beyond_the_runs_are_offered_too_and_words_say_where_the_lines_have_theirs(house, as_technician):
    lead, box = kind_of("lead-mic"), kind_of("active-box-piezo")
    make_item(type=lead, length_mm=10_000)
    add(house, 5, "Fiddle", "fiddle-piezo")
    make(house)
    PullRow.objects.filter(show=house, type=box).update(by_hand=True)
    ten = make_pull_row(house, type=lead, length_mm=20_000, count=13, origin=PullRow.Origin.RIG)
    boxes = make_pull_row(house, type=box, count=2, origin=PullRow.Origin.RIG)
    found = {one.row.pk: one for one in making_of(house).beyond}
    assert found[ten.pk].keep == 0 and found[boxes.pk].have
    assert "on the list already, row by row" in as_technician.get(f"/shows/{house.pk}/make-pull/").content.decode()
