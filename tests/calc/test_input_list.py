"""Reading an input list as people paste it, and writing it back."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shows.calc.input_list import COLUMNS, KEYS, MOST_LINES, GridError, grid_read, grid_write
from shows.calc.line_changes import appended, changes_said, digest, line_row, lines_match, needs_the_same
from shows.calc.line_judging import BoxKnown, Known, Line, lines_judge
from shows.calc.lines import LineWay, PhantomWish, Side, Whose
from shows.calc.source_words import SourceWords, kind_guess, kind_named

KINDS = (
    SourceWords(key="voice", name="Voice", family="voice", also=("vox", "vocal", "lead vocal")),
    SourceWords(key="kick", name="Bass drum", family="drums", also=("kick", "bd")),
    SourceWords(key="snare", name="Snare drum", family="drums", also=("snare",)),
    SourceWords(key="tom", name="Tom", family="drums", also=("floor tom",)),
    SourceWords(key="bass", name="Bass guitar, passive", family="strings", also=("bass",)),
    SourceWords(key="bass-amp", name="Bass amplifier by microphone", family="amplifier", also=("bass amp",)),
    SourceWords(key="keys", name="Keyboard", family="keys", also=("keys", "synth"), lines=2),
    SourceWords(key="out-monitor", name="Monitor mix", family="output", also=("monitor", "mix", "wedge")),
    SourceWords(key="out-mains", name="Main loudspeakers", family="output", also=("main", "l r")),
)
TYPES = ("Active direct box", "Passive direct box", "Dynamic vocal microphone", "Kick drum microphone")
STANDS = ("Tall microphone stand", "Short microphone stand")
KNOWN = Known(
    kinds=KINDS,
    pickups={name.casefold(): name for name in TYPES} | {"active-box": "Active direct box"},
    stands={name.casefold(): name for name in STANDS},
    places=("Drums", "SB A"),
    boxes=(BoxKnown(name="SB A", inputs=2, outputs=1),),
)


def judged(text: str, **kw):
    return lines_judge(grid_read(text), KNOWN, **kw)


def sources(text: str) -> list[str]:
    return [row.get("source", "") for row in grid_read(text).rows]


def stops(text: str) -> list[tuple[int, str]]:
    return [(one.row, one.key) for one in judged(text).wrong]


@pytest.mark.parametrize(
    "text",
    [
        "No\tSource\n1\tKick\n2\tSnare\n",
        "\ufeffNo\tSource\r\n1\tKick\r\n2\tSnare\r\n",
        "No,Source\n1,Kick\n2,Snare",
        "Ch;Instrument\n1;Kick\n2;Snare",
        "sep=;\nCh;Instrument\n1;Kick\n2;Snare",
        "#|Input\n1|Kick\n2|Snare",
        "Kick\nSnare",
        "1 Kick\n2 Snare",
        "1. Kick\n2) Snare",
        "CH 1\tKick\nCH 2\tSnare",
        "1\tKick\n\n\n2\tSnare\n\n",
        "Harvest ceilidh\t\n3 October\t\nChannel\tInstrument\n1\tKick\n2\tSnare",
        '"No","Source"\n"1","Kick"\n"2","Snare"',
    ],
)
def test_the_same_list_is_read_from_whatever_it_was_pasted_from(text):
    found = judged(text)
    assert [(line.number, line.source, line.kind) for line in found.lines] == [(1, "Kick", "kick"), (2, "Snare", "snare")]
    assert found.wrong == ()


def test_a_quoted_cell_keeps_its_separators_and_quotes():
    assert sources('No,Source\n1,"Tom, floor"\n2,"the ""big"" one"\n') == ["Tom, floor", 'the "big" one']


def test_a_lone_quotation_mark_swallows_nothing():
    assert sources('No\tSource\n1\t"Kick\n2\t12" tom\n3\tSnare') == ['"Kick', '12" tom', "Snare"]


def test_a_comma_in_one_of_many_names_makes_no_second_column():
    assert sources("Kick\nSnare\nKeys, the old one\nBass") == ["Kick", "Snare", "Keys, the old one", "Bass"]


def test_columns_nobody_knows_are_named_and_columns_of_ours_found_by_their_other_words():
    grid = grid_read("Ch\tInstrument\tColour\tMic\tSnake\tSnake ch\t48v\n1\tKick\tred\tKick drum microphone\tSB A\t1\tx")
    assert grid.rows[0] == {
        "number": "1", "source": "Kick", "pickup": "Kick drum microphone", "box": "SB A", "box_input": "1", "phantom": "x",
    }  # fmt: skip
    assert any("“Colour”" in words for words in grid.said)


def test_a_column_that_stands_there_twice_is_read_once_and_told():
    grid = grid_read("No\tSource\tInstrument\n1\tKick\tnothing")
    assert grid.rows[0]["source"] == "Kick"
    assert any("“Instrument”" in words for words in grid.said)


def test_a_sheet_without_headings_is_guessed_and_says_how():
    grid = grid_read("1\tKick\tKick drum microphone\n2\tSnare\t")
    assert grid.keys == ("number", "source", "pickup")
    assert any("No headings" in words for words in grid.said)


def test_twelve_thousand_lines_are_refused_with_a_sentence():
    with pytest.raises(GridError, match="12,000 lines"):
        grid_read("\n".join(f"{n}\tKick" for n in range(12_000)))
    with pytest.raises(GridError, match=str(MOST_LINES)):
        grid_read("No\tSource\n" + "\n".join(f"{n}\tKick" for n in range(MOST_LINES + 1)))
    assert len(grid_read("\n".join(["Kick"] * MOST_LINES)).rows) == MOST_LINES


def test_stereo_sources_that_split_into_too_many_lines_are_refused_too():
    with pytest.raises(GridError, match="stereo"):
        judged("Source\n" + "\n".join(["Keys L/R"] * (MOST_LINES // 2 + 1)))


@pytest.mark.parametrize(
    "source", ["Keys L/R", "Keys (L/R)", "Keys L+R", "Keys LR", "Keys (stereo)", "Keys stereo", "Stereo keys"]
)
def test_a_stereo_source_becomes_two_lines_left_then_right(source):
    lines = judged(f"No\tSource\n5\t{source}").lines
    assert [(line.number, line.source.casefold(), line.side, line.kind) for line in lines] == [
        (5, "keys l", Side.LEFT, "keys"),
        (6, "keys r", Side.RIGHT, "keys"),
    ]


def test_a_stereo_source_takes_the_numbers_and_inputs_it_is_given():
    lines = judged("No\tSource\tDesk\tSnake\tSnake ch\n5/6\tKeys L/R\t9/10\tSB A\t1").lines
    assert [(line.number, line.desk, line.box_input) for line in lines] == [(5, 9, 1), (6, 10, 2)]


def test_a_stereo_source_without_room_for_its_second_line_is_a_sentence_at_its_number():
    found = judged("No\tSource\n5\tKeys L/R\n6\tBass")
    assert [(one.row, one.key) for one in found.wrong] == [(0, "number")]
    assert "6 is taken" in found.wrong[0].words
    assert found.rows[0]["source"] == "Keys L/R"


@pytest.mark.parametrize(
    ("number", "meant", "way"),
    [("12", 12, "in"), ("012", 12, "in"), ("CH 12", 12, "in"), ("Ch12", 12, "in"), ("#12", 12, "in"), ("12.", 12, "in"),
     ("Out 2", 2, "out"), ("Mix 3", 3, "out"), ("Aux 1", 1, "out")],
)  # fmt: skip
def test_numbers_are_read_as_people_write_them(number, meant, way):
    (line,) = judged(f"No\tSource\n{number}\tSomething").lines
    assert (line.number, line.way) == (meant, way)


@pytest.mark.parametrize("number", ["0", "1000", "999999999", "first", "-3", "1.5"])
def test_a_number_that_is_none_is_a_sentence_at_it(number):
    assert (0, "number") in stops(f"No\tSource\n{number}\tKick")


def test_lines_without_numbers_take_the_next_free_ones():
    lines = judged("No\tSource\n\tKick\n2\tSnare\n\tBass\n7\tTom\n\tVoice").lines
    assert [line.number for line in lines] == [1, 2, 3, 7, 8]


def test_two_lines_with_one_number_are_a_sentence_at_both_and_an_output_is_another_matter():
    found = judged("No\tWay\tSource\n5\t\tBass\n5\t\tKeys\n5\tout\tMonitor")
    assert [(one.row, one.key) for one in found.wrong] == [(0, "number"), (1, "number")]
    assert "Keys" in found.wrong[0].words and "Bass" in found.wrong[1].words


def test_a_line_without_a_source_is_a_sentence_and_an_empty_channel_is_left_out():
    assert stops("No\tSource\tPlayer\n1\t\tInes") == [(0, "source")]
    found = judged("No\tSource\n1\tKick\n2\t\n3\tSnare")
    assert (len(found.lines), found.wrong, found.empty) == (2, (), ("2",))


def test_a_heading_of_outputs_makes_what_follows_outputs():
    lines = judged("No\tSource\n1\tKick\nOutputs\n1\tMonitor 1\n\tMain L/R").lines
    assert [(line.way, line.number, line.source) for line in lines] == [
        ("in", 1, "Kick"), ("out", 1, "Monitor 1"), ("out", 2, "Main L"), ("out", 3, "Main R"),
    ]  # fmt: skip


def test_an_output_kind_says_the_way_itself_and_one_on_an_input_is_refused():
    (line,) = judged("No\tSource\tKind\n1\tBand\tMonitor mix").lines
    assert line.way == LineWay.OUT
    assert stops("No\tWay\tSource\tKind\n1\tin\tBand\tMonitor mix") == [(0, "way")]


@pytest.mark.parametrize(
    ("source", "kind"),
    [("Lead vox 2", "voice"), ("VOX2", "voice"), ("Bass", "bass"), ("Bass amp", "bass-amp"), ("the bass drum", "kick"),
     ("Floor tom", "tom"), ("Tomorrow", ""), ("Foxes", ""), ("Monitor", "")],
)  # fmt: skip
def test_a_kind_is_guessed_by_whole_words_and_told_as_a_guess(source, kind):
    found = judged(f"Source\n{source}")
    assert found.lines[0].kind == kind
    assert [one.key for one in found.told] == ["kind"]
    assert ("Taken as" in found.told[0].words) is bool(kind)


def test_a_kind_that_is_said_is_no_guess():
    found = judged("Source\tKind\nJo\tvox\nJess\tVoice\nKim\tvoice")
    assert [line.kind for line in found.lines] == ["voice"] * 3
    assert found.said == ()


@pytest.mark.parametrize(
    ("column", "cell", "near"),
    [("Kind", "Voise", "Voice"), ("Kind", "bass gitar", "Bass guitar, passive"),
     ("Mic/DI", "Active dirct box", "Active direct box"),
     ("Stand", "Tall stnd", "Tall microphone stand"), ("Whose", "plyer", "player"), ("Phantom", "of", "off")],
)  # fmt: skip
def test_a_word_we_do_not_know_is_a_sentence_with_the_nearest(column, cell, near):
    found = judged(f"Source\t{column}\nJo\t{cell}")
    assert [one.row for one in found.wrong] == [0]
    assert near in found.wrong[0].take


def test_a_type_is_taken_by_its_catalogue_key_and_by_a_word_only_it_has():
    found = judged("Source\tMic/DI\tStand\nBass\tactive-box\ttall\nSnare\tDI\tshort")
    assert [(line.pickup, line.stand) for line in found.lines] == [
        ("Active direct box", "Tall microphone stand"),
        ("", "Short microphone stand"),
    ]
    assert found.lines[1].notes == "DI"


def test_what_we_do_not_know_can_go_to_the_notes_instead():
    found = judged("Source\tMic/DI\tNotes\nBass\tTheir favourite\tloud", strangers_to_notes=True)
    assert found.wrong == ()
    assert (found.lines[0].pickup, found.lines[0].notes) == ("", "loud; Their favourite")


def test_a_stage_box_with_fewer_inputs_than_lines_is_told_at_the_line_too_many():
    found = judged("No\tSource\tSnake\n1\tKick\tSB A\n2\tSnare\tSB A\n3\tBass\tsb a")
    assert [(one.row, one.key) for one in found.told if one.key == "box"] == [(2, "box")]
    found = judged("No\tSource\tSnake\tSnake ch\n1\tKick\tSB A\t3")
    assert [(one.row, one.key) for one in found.told if one.key == "box_input"] == [(0, "box_input")]
    assert found.wrong == ()


def test_two_lines_on_one_desk_input_or_one_box_input_are_told_at_both():
    found = judged("No\tSource\tDesk\n1\tKick\t\n2\tSnare\t1")
    assert [(one.row, one.key) for one in found.told if one.key == "desk"] == [(0, "desk"), (1, "desk")]
    found = judged("No\tSource\tSnake\tSnake ch\n1\tKick\tSB A\t2\n2\tSnare\tSB A\t2")
    assert [(one.row, one.key) for one in found.told if one.key == "box_input"] == [(0, "box_input"), (1, "box_input")]


def test_a_box_input_without_its_box_and_a_box_named_like_a_place_are_refused():
    assert stops("Source\tSnake ch\nKick\t4") == [(0, "box")]
    assert stops("Source\tSnake\nKick\tDrums") == [(0, "box")]


def test_a_text_too_long_or_with_a_sign_nobody_can_keep_is_a_sentence_at_its_cell():
    assert stops("Source\tPlayer\nKick\t" + "x" * 61) == [(0, "player")]
    assert stops("Source\tNotes\nKick\ta\0b") == [(0, "notes")]


def test_half_a_pair_is_told():
    found = judged("No\tSource\tSide\n1\tKeys\tleft\n2\tBass\t")
    assert [(one.row, one.key, one.stops) for one in found.said if one.key == "side"] == [(0, "side", False)]


def test_names_say_the_sides_of_a_pair_and_a_lone_letter_does_not():
    lines = judged("Source\nTom L\nTom R\nGuitar R").lines
    assert [line.side for line in lines] == [Side.LEFT, Side.RIGHT, Side.WHOLE]


def test_an_empty_text_is_an_empty_list():
    for text in ("", "\n\n", "\t\t\n", "No\tSource\n"):
        assert judged(text).rows == ()


# Writing and reading again

_TEXT = st.text(st.characters(exclude_categories=("Cs", "Cc"), exclude_characters="\ufffd\ufeff"), max_size=30).map(
    lambda text: " ".join(text.split())
)


@given(st.lists(st.fixed_dictionaries({column.key: _TEXT for column in COLUMNS}), max_size=12), st.sampled_from("\t,;"))
@settings(max_examples=150, deadline=None)
def test_written_text_reads_back_the_same(rows, sign):
    given_rows = [{key: value for key, value in row.items() if value} for row in rows]
    # a row that is only the heading of a part is no row, and an empty one none either
    kept = [row for row in given_rows if row]
    text = grid_write(kept, sign=sign)
    read = [dict(row) for row in grid_read(text).rows]
    assert read == kept


def test_what_a_spreadsheet_would_run_is_guarded_and_restored():
    row = {"source": "=1+1", "notes": "+48", "player": "@Jo", "where": "-left", "kind": "'=x"}
    text = grid_write([row], sign=",")
    assert "'=1+1" in text and ",=" not in text
    assert grid_read(text).rows[0] == row


_LINES = st.builds(
    Line,
    number=st.integers(1, 999),
    source=st.sampled_from(["Kick", "Lead vox", "Bass amp", "Jo", "=Odd", 'The "one"']),
    way=st.sampled_from(LineWay),
    player=st.sampled_from(["", "Ines", "-"]),
    where=st.sampled_from(["", "Drums", "Front"]),
    pickup=st.sampled_from(["", *TYPES]),
    stand=st.sampled_from(["", *STANDS]),
    desk=st.sampled_from([None, 1, 999]),
    phantom=st.sampled_from(PhantomWish),
    whose=st.sampled_from(Whose),
    notes=st.sampled_from(["", "loud, and late", "@ the front"]),
)


@given(st.lists(_LINES, max_size=20, unique_by=lambda line: (line.way, line.number)))
@settings(max_examples=150, deadline=None)
def test_lines_that_were_kept_come_back_from_their_text_as_they_were(lines):
    names = {kind.key: kind.name for kind in KINDS}
    first = judged(grid_write(line_row(line, names) for line in lines))
    assert first.wrong == ()
    kept = [line for line in first.lines if line is not None]
    assert [(line.number, line.way, line.source, line.pickup, line.notes) for line in kept] == [
        (line.number, line.way, line.source, line.pickup, line.notes) for line in lines
    ]
    again = judged(grid_write(line_row(line, names) for line in kept))
    assert list(again.lines) == kept


@given(st.text(max_size=300))
@settings(max_examples=200, deadline=None)
def test_whatever_is_pasted_is_read_or_refused_and_never_breaks(text):
    try:
        found = judged(text)
    except GridError:
        return
    assert len(found.lines) == len(found.rows)
    assert all(0 <= one.row < len(found.rows) and one.words for one in found.said)


# Differences


def lines(*names: str) -> list[Line]:
    return [Line(number=n, source=name) for n, name in enumerate(names, 1)]


def test_a_line_that_moves_is_the_same_line():
    assert lines_match(lines("Kick", "Snare", "Bass"), lines("Bass", "Kick", "Keys", "Snare")) == [2, 0, None, 1]


def test_a_line_renamed_in_its_place_is_the_same_line_and_none_is_taken_twice():
    assert lines_match(lines("Kick", "Snare"), lines("Kick in", "Snare")) == [0, 1]
    assert lines_match(lines("Voice", "Voice"), lines("Voice", "Voice", "Voice")) == [0, 1, None]


def test_a_promise_holds_while_the_line_needs_the_same():
    line = Line(number=5, source="Bass", kind="bass", pickup="Active direct box")
    assert needs_the_same(line, Line(number=9, source="Bass DI", kind="bass", pickup="Active direct box", notes="x"))
    assert not needs_the_same(line, Line(number=5, source="Bass", kind="bass"))
    assert not needs_the_same(line, Line(number=5, source="Bass", kind="bass", pickup="Active direct box", whose=Whose.PLAYER))


def test_the_mark_of_a_list_is_the_same_in_any_order_and_another_for_any_change():
    some = lines("Kick", "Snare")
    assert digest(some) == digest(list(reversed(some)))
    assert digest(some) != digest(lines("Kick", "Snare "[:5] + "s"))


def test_what_changed_is_said_by_line_and_column():
    said = changes_said(lines("Kick", "Snare"), [Line(number=1, source="Kick", player="Ines"), Line(number=3, source="Bass")])
    assert said == ["1 Kick: player nothing is now “Ines”", "3 Bass was added", "2 Snare was removed"]


def test_lines_added_after_others_are_numbered_on_and_unplugged():
    more = [Line(number=3, source="Keys", desk=4, box="SB A", box_input=1), Line(number=1, source="Mix", way=LineWay.OUT)]
    after = appended(lines("Kick", "Snare"), more)
    assert [(line.number, line.source, line.desk, line.box) for line in after[2:]] == [
        (3, "Keys", None, ""),
        (1, "Mix", None, ""),
    ]


def test_words_name_a_kind_outright():
    assert kind_named("BD", KINDS).key == "kick"
    assert kind_named("nothing like it", KINDS) is None
    assert kind_guess("", KINDS) is None
    assert len(KEYS) == len(set(KEYS)) == 17
