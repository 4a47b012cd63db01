"""What each line of a show needs, as people on a stage would say it; a person's word over it; the pages."""

import itertools
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from company.models import Company
from inventory.calc import codes
from inventory.calc.kinds import Kind
from inventory.models import FACTS_OF_KIND, GearType, Item
from inventory.services.catalogue import catalogue_read
from maintenance.registries import DeviceNeed
from shows.cells import needs_of_shows
from shows.models import InputLine, ListSave, SourceType, StagePlace, StagePlan, VenueFeed
from shows.planning.advice import advice_of, advised_words
from shows.services.input_lines import lines_undo
from shows.services.overruling import reason_of
from shows.services.sources import sources_shipped
from tests.builders import NOW, make_pull_row, make_show, make_venue

OWNED = (
    "passive-box", "passive-box-stereo", "passive-box-tap", "active-box", "active-box-piezo", "active-box-laptop",
    "active-box-voiced", "line-isolator", "mic-dynamic-vocal", "mic-dynamic-instrument", "mic-kick", "mic-condenser",
    "mic-pencil", "mic-ribbon",
)  # fmt: skip


def types_made():
    """Make the shipped types that lines are about, and their facts, in a few writes: {key: type}."""
    kinds = {Kind.INTERFACE_BOX, Kind.MICROPHONE, Kind.LEAD, Kind.DESK, Kind.STAGE_BOX, Kind.MULTICORE}
    entries = [entry for entry in catalogue_read()["types"] if entry["kind"] in kinds]
    rows = [
        GearType(has_standing=True, **{name: value for name, value in entry.items() if name not in {"facts", "goes_with"}})
        for entry in entries
    ]
    GearType.objects.bulk_create(rows)
    for kind in kinds:
        FACTS_OF_KIND[kind].objects.bulk_create(
            FACTS_OF_KIND[kind](type=row, **entry["facts"])
            for row, entry in zip(rows, entries, strict=True)
            if entry["kind"] == kind and "facts" in entry
        )
    return {row.key: row for row in GearType.objects.all()}


class Shop:
    """A shop with the shipped catalogue, one of most things, and a show to plan."""

    def __init__(self) -> None:
        self.types = types_made()
        SourceType.objects.bulk_create(SourceType(**row) for row in sources_shipped()["sources"])
        Item.objects.bulk_create(Item(type=self.types[key], code=codes.mint(), added_at=NOW) for key in OWNED)
        self.show = make_show(venue=make_venue())
        self.numbers = itertools.count(1)

    def line(self, kind, source="", **kw):
        kw.setdefault("number", next(self.numbers))
        row = SourceType.objects.get(key=kind) if kind else None
        return InputLine.objects.create(show=self.show, type=row, source=source or kind or "something", **kw)

    def pair(self, kind, **kw):
        return [self.line(kind, side=side, **kw) for side in ("left", "right")]

    def desk(self, key="desk-digital-32", **facts):
        if facts:
            there = self.types[key].facts
            for name, value in facts.items():
                setattr(there, name, value)
            there.save()
        StagePlan.objects.update_or_create(show=self.show, defaults={"desk": self.types[key]})

    def place(self, name, x=None, y=None, feed=None, **kw):
        there = VenueFeed.objects.get_or_create(venue=self.show.venue, name=feed)[0] if feed else None
        return StagePlace.objects.create(show=self.show, name=name, x_mm=x, y_mm=y, feed=there, **kw)

    def own_only(self, *keys):
        gone = [self.types[key] for key in OWNED if key not in keys]
        Item.objects.filter(type__in=gone).update(retired_on=NOW.date(), retired_because="sold")

    def told(self, line):
        return advice_of(self.show).of(line)


@pytest.fixture
def shop(company):
    return Shop()


def keys(one):
    return {mind.key for mind in one.minds}


def words(one, key):
    return next(mind.words for mind in one.minds if mind.key == key)


# which mic/DI, and why


def test_a_passive_bass_goes_to_an_active_box_with_its_figures(shop):
    shop.desk()
    told = shop.told(shop.line("bass-passive"))
    assert told.pickup.key == "active-box"
    assert re.search(r"loses 0\.\d to 0\.\d\u2009dB and keeps its peak of 3\u2009dB at 2\.5\u2009kHz", told.why)
    passive = next(one for one in told.choice.weighed if one.pickup.name == "Passive direct box")
    assert "peak" in passive.in_short and passive.answer.peak.db < told.taken.answer.peak.db


def test_a_keyboard_takes_the_stereo_box_once_and_its_right_line_shares_it(shop):
    left, right = shop.pair("keys")
    told = advice_of(shop.show)
    assert told.of(left).pickup.key == "passive-box-stereo"
    assert (told.of(right).shares, told.of(right).pickup.key, told.of(right).is_ours) == (left, "passive-box-stereo", False)


@pytest.mark.parametrize("kind", ["mic-own-dynamic", "mic-own-ribbon", "mic-own-condenser"])
def test_a_balanced_microphone_goes_as_it_is_and_no_box_is_offered(shop, kind):
    told = shop.told(shop.line(kind))
    assert told.pickup.key == "lead-mic"
    assert told.second is None


def test_a_receiver_is_offered_an_isolator_at_most_never_a_direct_box(shop):
    told = shop.told(shop.line("receiver"))
    assert told.pickup.key == "lead-mic"
    assert told.second.key == "line-isolator"
    assert {one.pickup.name for one in told.choice.weighed} == {"Microphone lead", "Two-channel line isolator"}


def test_no_sentence_of_any_kind_of_source_shows_a_silly_figure(shop):
    for kind in SourceType.objects.exclude(family="output"):
        shop.line(kind.key)
    for one in advice_of(shop.show).lines:
        for said in (one.why, one.lost, *(mind.words for mind in one.minds)):
            assert not re.search(r"\d[eE]-?\d|\d\.\d{3,}|-\d|\b(nan|inf|None)\b", said), said


def test_a_microphone_is_told_by_its_figures(shop):
    told = shop.told(shop.line("trumpet"))
    assert "135\u2009dB of sound pressure gives peaks of" in told.why
    assert "either will do" not in told.why


def test_one_no_figure_is_known_of_says_so(shop):
    facts = shop.types["mic-dynamic-instrument"].facts
    facts.sensitivity_mv_per_pa = None
    facts.save()
    assert "no figure of it is on record" in shop.told(shop.line("snare")).why


def test_a_line_without_a_kind_asks_for_it(shop):
    told = shop.told(shop.line(None, source="Theremin"))
    assert (told.pickup, keys(told)) == (None, {"no-kind"})


def test_a_bare_turntable_needs_an_equaliser_and_gets_no_box(shop):
    told = shop.told(shop.line("turntable"))
    assert told.pickup is None
    assert not told.is_ours
    assert next(mind for mind in told.minds if mind.key == "equaliser").grave


def test_we_own_none_is_said_and_the_usual_one_named(shop):
    shop.own_only("passive-box")
    told = shop.told(shop.line("guitar-piezo"))
    assert told.pickup.key == "passive-box"
    assert words(told, "usual-not-owned") == "Usual here is Active piezo direct box, and we own none."
    shop.own_only()
    assert "not-owned" in keys(shop.told(shop.line("keys")))


# levels and pads


def test_a_loudspeaker_output_is_padded_though_nobody_said_which_desk(shop):
    told = shop.told(shop.line("amp-loudspeaker"))
    assert told.taken.pad_db in {20, 40}
    assert told.taken.level.peak_dbu < told.inputs.takes_dbu
    assert (told.inputs.known, told.inputs.most_dbu, told.inputs.takes_dbu) == (False, None, 18)
    assert {"loudspeaker", "voicing", "pad-on", "floating"} <= keys(told)
    said = words(told, "loudspeaker")
    for part in ("a direct box is not a load", "pad first", "dummy load", "bridged or floating", "transformer isolation"):
        assert part in said


def test_a_box_not_made_for_loudspeakers_is_grave_by_hand(shop):
    told = shop.told(shop.line("amp-loudspeaker", pickup=shop.types["active-box"]))
    assert told.overruled
    assert next(mind for mind in told.minds if mind.key == "loudspeaker-box").grave


def test_an_amplifiers_line_output_wants_a_voicing_filter_and_a_keyboard_does_not(shop):
    assert "voicing" in keys(shop.told(shop.line("amp-line")))
    assert "voicing" not in keys(shop.told(shop.line("keys")))


def test_a_desk_that_takes_little_makes_a_hot_line_clip_or_padded(shop):
    shop.desk(most_input_dbu=0)
    told = shop.told(shop.line("playback-balanced"))
    assert next(mind for mind in told.minds if mind.key == "pad-needed").grave
    keyboard = shop.told(shop.line("keys", pickup=shop.types["active-box"]))
    assert (keyboard.taken.pad_db, "pad-on" in keys(keyboard)) == (20, True)


def test_a_pad_before_a_quiet_microphone_is_called_harmful(shop):
    assert "pad-harmful" in keys(shop.told(shop.line("mic-own-ribbon")))


# supplies


def test_other_supplies_make_it_isolate_and_never_lift_the_mains_earth(shop):
    here, _mix = shop.place("Keys", 0, 0, feed="Stage left"), shop.place("Mix", 0, -9000, feed="Hall", sort="mix")
    told = shop.told(shop.line("keys", place=here))
    assert told.taken.pickup.isolates
    assert told.other_feed
    assert "Fed from Stage left, the mixer from Hall" in words(told, "isolation")
    assert "Never lift or cut protective earth to cure hum" in words(told, "lift")
    by_hand = shop.told(shop.line("keys", place=here, pickup=shop.types["active-box"]))
    assert "does not isolate: expect hum" in words(by_hand, "isolation")


def test_the_same_supply_asks_for_nothing(shop):
    here, _mix = shop.place("Keys", 0, 0, feed="Hall"), shop.place("Mix", 0, -9000, feed="Hall", sort="mix")
    told = shop.told(shop.line("keys", place=here))
    assert not told.other_feed
    assert not keys(told) & {"isolation", "lift"}


def test_a_balanced_line_on_another_supply_is_told_how_much_its_input_holds_off(shop):
    here, _mix = shop.place("Rack", 0, 0, feed="Stage"), shop.place("Mix", 0, -9000, feed="Hall", sort="mix")
    told = shop.told(shop.line("receiver", place=here))
    assert re.search(r"a balanced input holds 60\u2009dB of it off, a transformer up to 134", words(told, "isolation"))


# stereo jacks, runs


def test_a_stereo_jack_in_a_plain_lead_is_the_vanishing_voice(shop):
    told = shop.told(shop.line("laptop", pickup=shop.types["adapter-ts-mic"]))
    mind = next(mind for mind in told.minds if mind.key == "stereo-jack")
    assert mind.grave
    assert "left minus right, and the voice vanishes. Take two lines or a stereo box" in mind.words
    left, right = shop.pair("laptop")
    told = advice_of(shop.show)
    assert told.of(left).taken.pickup.stereo
    assert not told.of(left).grave
    assert "stereo-jack" not in keys(told.of(right))


def test_a_long_unbalanced_lead_is_told_with_its_corner(shop):
    Company.objects.update(unbalanced_limit_mm=4_000)
    here, _mix = shop.place("Rack", 0, 0), shop.place("Mix", 0, -12_000, sort="mix")
    told = shop.told(shop.line("drums-electric", place=here, pickup=shop.types["adapter-ts-mic"]))
    assert re.search(
        r"m unbalanced is over your 4\u2009m: 1\u2009kΩ into \d+\u2009pF turn down at \d+\u2009kHz",
        words(told, "unbalanced-far"),
    )
    bass = shop.told(shop.line("bass-passive", place=here))
    assert "650\u2009pF across the pickup and its peak is down at" in words(bass, "unbalanced-far")


def test_a_run_over_a_stage_box_goes_on_to_the_mix_and_a_digital_one_ends_there(shop):
    here, _mix = shop.place("Singer", 0, 0), shop.place("Mix", 0, -20_000, sort="mix")
    passive = shop.place("Box", 3000, 0, sort="stage box", type=shop.types["multicore-16"])
    digital = shop.place("Digital", 3000, 0, sort="stage box", type=shop.types["stage-box-16-8"])
    far = shop.told(shop.line("voice", place=here, box=passive))
    near = shop.told(shop.line("voice", place=here, box=digital, box_input=3))
    assert far.run_mm == near.run_mm
    assert far.far_mm > 20_000
    assert (near.far_mm, near.input_number, near.inputs.name) == (None, 3, "Digital stage box 16/8")


# phantom


def test_phantom_after_the_lead_is_told_and_too_little_is_grave(shop):
    shop.desk()
    told = shop.told(shop.line("fiddle-piezo"))
    assert told.feed == "phantom"
    assert told.fed.volts == pytest.approx(48 - 4.5 * 3.4, abs=0.1)
    facts = shop.types["active-box-piezo"].facts
    facts.least_supply_v = 40
    facts.save()
    low = shop.told(told.line)
    assert next(mind for mind in low.minds if mind.key == "phantom-low").grave


def test_a_draw_nobody_wrote_down_is_said(shop):
    shop.types["active-box"].facts.__class__.objects.update(draw_ma=None)
    assert "phantom-unknown" in keys(shop.told(shop.line("guitar-single")))


def test_no_phantom_means_cells_or_silence(shop):
    shop.desk("desk-analogue-12", phantom="none")
    told = shop.told(shop.line("guitar-single"))
    assert (told.feed, "cells" in keys(told)) == ("cells", True)
    own = shop.told(shop.line("mic-own-condenser"))
    assert next(mind for mind in own.minds if mind.key == "phantom-none").grave


def test_phantom_forced_off_or_on_by_hand_against_the_need(shop):
    shop.desk()
    off = shop.told(shop.line("mic-own-condenser", phantom="off"))
    assert next(mind for mind in off.minds if mind.key == "phantom-off").grave
    on = shop.told(shop.line("mic-own-ribbon", phantom="on"))
    assert {mind.key for mind in on.grave} == {"phantom-on", "phantom-harm"}
    idle = shop.told(shop.line("mic-own-dynamic", phantom="on"))
    assert "phantom-on" in keys(idle)
    assert not idle.grave


@pytest.mark.parametrize(
    ("kind", "harm"),
    [("mic-own-ribbon", "a ribbon microphone"), ("laptop", "a computer's output"), ("keys", "an unbalanced adapter")],
)
def test_one_switch_for_all_meets_what_phantom_harms(shop, kind, harm):
    shop.desk("desk-analogue-12")
    shop.line("mic-own-condenser")
    plain = shop.types["lead-mic" if kind.startswith("mic") else "adapter-ts-mic"]
    told = shop.told(shop.line(kind, pickup=plain))
    said = words(told, "phantom-harm")
    assert harm in said and "1 mic-own-condenser" in said and "every input" in said


def test_a_ribbon_beside_global_phantom_is_advised_an_isolator_for_that_reason(shop):
    shop.desk("desk-analogue-12")
    ribbon = shop.line("mic-own-ribbon")
    assert shop.told(ribbon).pickup.key == "lead-mic"
    shop.line("mic-own-condenser")
    told = shop.told(ribbon)
    assert told.pickup.key == "line-isolator"
    assert "away from a ribbon microphone" in told.why
    assert "phantom-harm" not in keys(told)
    # the microphone is the player's, the isolator comes from us
    InputLine.objects.filter(pk=ribbon.pk).update(whose="player")
    assert shop.told(ribbon).is_ours


def test_a_bank_of_eight_harms_only_within_itself(shop):
    shop.desk("desk-analogue-12", phantom="per-bank")
    shop.line("mic-own-condenser", number=1)
    near = shop.told(shop.line("mic-own-ribbon", number=8, pickup=shop.types["lead-mic"]))
    far = shop.told(shop.line("mic-own-ribbon", number=9, pickup=shop.types["lead-mic"]))
    assert "phantom-harm" in keys(near)
    assert "phantom-harm" not in keys(far)


def test_one_stereo_box_draws_once(shop):
    shop.desk(phantom_budget_ma=6)
    shop.pair("laptop", pickup=shop.types["active-box-laptop"])
    ((_name, budget),) = advice_of(shop.show).budgets
    assert (budget.asked_ma, budget.over, budget.lines) == (4.5, False, 2)


def test_the_swap_list_and_the_advice_agree_on_what_feeds_a_box(shop):
    for phantom in ("per-channel", "none"):
        for first in (True, False):
            Company.objects.update(phantom_first=first)
            shop.desk("desk-digital-16", phantom=phantom)
            InputLine.objects.all().delete()
            shop.show.pull_rows.all().delete()
            told = shop.told(shop.line("guitar-single", number=1, pickup=shop.types["active-box"]))
            make_pull_row(shop.show, type=told.pickup, feed=told.feed, line="1")
            (needs,) = needs_of_shows([shop.show.pk], NOW)
            (need,) = needs.needs
            assert isinstance(need, DeviceNeed)
            assert (need.feed, need.assumed) == (told.feed, False)
            assert told.feed == ("phantom" if phantom != "none" and first else "cells")


def test_words_for_the_grid_are_a_name_and_a_few_words(shop):
    bass, (left, right) = shop.line("bass-active"), shop.pair("keys")
    told = advised_words(shop.show)
    assert told[bass.pk][0] == "Passive direct box"
    assert told[bass.pk][1].startswith("loses up to")
    assert told[right.pk][1] == f"second channel of line {left.number}’s"


# a person's word


def say(client, shop, line, **kw):
    return client.post(reverse("advice-line", args=[shop.show.pk, line.pk]), kw, follow=True)


def test_overruling_keeps_the_reason_and_the_figures_and_goes_back(shop, as_technician):
    line = shop.line("bass-passive", notes="new strings")
    page = say(
        as_technician, shop, line, do="take", pickup="Passive direct box", reason="the active one hummed; last time"
    ).content.decode()
    line.refresh_from_db()
    assert line.pickup.key == "passive-box"
    assert line.notes == "new strings; by hand: the active one hummed, last time"
    assert reason_of(line.notes) == "the active one hummed, last time"
    assert "Advised is Active direct box." in page
    assert "Chosen by hand. Into Passive direct box it loses" in page
    say(as_technician, shop, line, do="take", pickup="Active piezo direct box", reason="")
    line.refresh_from_db()
    assert line.notes == "new strings"
    say(as_technician, shop, line, do="back")
    line.refresh_from_db()
    assert line.pickup is None
    assert ListSave.objects.count() == 3


def test_feed_phantom_and_whose_are_set_and_undone_as_any_save(shop, as_technician, technician):
    line = shop.line("bass-passive")
    say(as_technician, shop, line, do="set", feed="cells", phantom="off", whose="player")
    line.refresh_from_db()
    assert (line.feed, line.phantom, line.whose) == ("cells", "off", "player")
    assert not shop.told(line).is_ours
    lines_undo(show=shop.show, person=technician, at=NOW)
    line.refresh_from_db()
    assert (line.feed, line.phantom, line.whose) == ("", "", "ours")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"do": "take", "pickup": ""}, "Pick the mic/DI to take."),
        ({"do": "take", "pickup": "Nonsense"}, "No mic/DI is called Nonsense"),
        ({"do": "take", "pickup": "Passive direct box", "reason": "x" * 300}, "have at most 200"),
        ({"do": "take", "pickup": "Passive direct box", "reason": "a\x00b"}, "NUL"),
        ({"do": "set", "feed": "steam"}, "Pick the feed"),
        ({"do": "back", "seen": "0" * 8}, "changed while you were writing"),
    ],
)
def test_what_makes_no_sense_is_a_sentence_and_nothing_changes(shop, as_technician, given, said):
    line = shop.line("bass-passive")
    answer = as_technician.post(reverse("advice-line", args=[shop.show.pk, line.pk]), given)
    assert answer.status_code == 422
    assert said in answer.content.decode()
    line.refresh_from_db()
    assert (line.pickup, line.feed, line.notes) == (None, "", "")


def test_a_hand_reads_and_changes_nothing(shop, as_hand):
    line = shop.line("bass-passive")
    page = as_hand.get(reverse("advice-line", args=[shop.show.pk, line.pk]))
    assert page.status_code == 200
    assert "Take this mic/DI" not in page.content.decode()
    assert as_hand.post(reverse("advice-line", args=[shop.show.pk, line.pk]), {"do": "back"}).status_code == 403


def test_a_line_of_another_show_is_not_here(shop, as_owner):
    line = shop.line("voice")
    assert as_owner.get(reverse("advice-line", args=[make_show().pk, line.pk])).status_code == 404
    assert as_owner.post(reverse("advice-line", args=[make_show().pk, line.pk]), {"do": "back"}).status_code == 404


def test_an_empty_list_leads_to_the_input_list(shop, as_hand):
    page = as_hand.get(reverse("advice", args=[shop.show.pk])).content.decode()
    assert "Write the input list" in page


def test_outputs_and_lines_without_a_kind_have_a_page_too(shop, as_owner):
    shop.line("out-monitor", way="out", number=1)
    shop.line(None, source="Theremin")
    for line in InputLine.objects.all():
        assert as_owner.get(reverse("advice-line", args=[shop.show.pk, line.pk])).status_code == 200
    assert "Say what kind of source" in as_owner.get(reverse("advice", args=[shop.show.pk])).content.decode()


def test_the_pages_ask_the_same_of_the_database_at_1_line_and_at_48(shop, as_owner):
    shop.desk()
    kinds = itertools.cycle(SourceType.objects.exclude(family="output").values_list("key", flat=True))
    here, _mix = shop.place("Stage", 0, 0, feed="A"), shop.place("Mix", 0, -9000, feed="B", sort="mix")
    box = shop.place("Box", 500, 500, feed="A", sort="stage box", type=shop.types["stage-box-16-8"])
    first = shop.line("bass-passive", place=here, box=box, box_input=1, pickup=shop.types["active-box"])
    urls = [reverse("advice", args=[shop.show.pk]), reverse("advice-line", args=[shop.show.pk, first.pk])]

    def asked():
        counts = []
        for url in urls:
            as_owner.get(url)
            with CaptureQueriesContext(connection) as seen:
                assert as_owner.get(url).status_code == 200
            counts.append(len(seen))
        with CaptureQueriesContext(connection) as seen:
            advice_of(shop.show)
        return [*counts, len(seen)]

    one = asked()
    for number in range(2, 49):
        shop.line(
            next(kinds), number=number, place=here, box=box if number % 2 else None, box_input=number if number % 2 else None
        )
    assert asked() == one
    assert one[2] <= 9
