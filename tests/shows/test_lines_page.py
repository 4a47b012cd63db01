"""A show's input list on its page: saved whole or not at all, undone, copied, kept, out to a file and in again."""

import json
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from inventory.calc.kinds import Kind
from inventory.models import StageBoxFacts
from shows.calc.input_list import MOST_LINES
from shows.calc.line_judging import Line
from shows.calc.lines import LineWay, PlaceSort
from shows.models import InputLine, ListSave, ListTemplate, Promised, SourceType, StagePlace
from shows.services.input_lines import StaleError, lines_save, lines_undo
from tests.builders import NOW, make_item, make_show, make_source, make_type

SHEET = """Ch\tInstrument\tMic/DI\tWhere\tSnake\tSnake ch
1\tKick\t\tDrums\tSB A\t1
2\tSnare\t\tdrums\tSB A\t2
3\tKeys L/R
5\tLead vox
"""


@pytest.fixture
def show(company):
    return make_show(name="Harvest ceilidh")


@pytest.fixture
def kinds(company):
    make_source("kick", name="Bass drum", family="drums", also="kick")
    make_source("keys", name="Keyboard", family="keys", also="keys", lines=2, way="electric", ohm=1000.0)
    make_source("voice", name="Voice")
    make_source("out-monitor", name="Monitor mix", family="output", also="mix, monitor")


def at(show):
    return reverse("lines", args=[show.pk])


def stored(show) -> list[tuple[str, int, str]]:
    return list(InputLine.objects.filter(show=show).values_list("way", "number", "source"))


def words(answer) -> str:
    return " ".join(str(message) for message in answer.context["messages"])


def save(client, show, text, **kw):
    return client.post(at(show), {"grid": text, **kw}, follow=True)


def test_a_pasted_sheet_becomes_lines_with_places_and_guessed_kinds(as_technician, show, kinds):
    answer = save(as_technician, show, SHEET)
    assert "5 lines added" in words(answer) and "Drums" in words(answer)
    found = list(InputLine.objects.filter(show=show).select_related("type", "place", "box"))
    assert [(line.number, line.source, line.type and line.type.key, line.side) for line in found] == [
        (1, "Kick", "kick", ""),
        (2, "Snare", None, ""),
        (3, "Keys L", "keys", "left"),
        (4, "Keys R", "keys", "right"),
        (5, "Lead vox", "voice", ""),
    ]
    assert [(line.place.name, line.box.name, line.box_input) for line in found[:2]] == [
        ("Drums", "SB A", 1),
        ("Drums", "SB A", 2),
    ]
    assert sorted(StagePlace.objects.values_list("name", "sort")) == [("Drums", "source"), ("SB A", "stage box")]


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("No\tSource\n5\tBass\n5\tKeys", "Number 5 is on “Keys” too"),
        ("No\tSource\tPlayer\n5\t\tInes", "A line needs a source"),
        ("No\tSource\n1000\tKick", "out of range"),
        ("No\tSource\tKind\n1\tJo\tVoise", "Is it Voice?"),
        ("\n".join(f"{n}\tKick" for n in range(12_000)), "12,000 lines"),
        ("Colour\tEQ\nred\tup", "is no mic/DI of ours"),
        ("No\tPlayer\n1\tInes", "No column is called Source"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_saved_and_what_was_typed_stays(as_technician, show, kinds, text, sentence):
    lines_save(show=show, rows=[Line(number=1, source="Kick")], person=None, at=NOW)
    answer = save(as_technician, show, text)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert sentence in page
    assert stored(show) == [("in", 1, "Kick")]
    assert ListSave.objects.count() == 1
    if "12,000" in sentence:
        assert answer.context["text"] == text


def test_unknown_gear_can_be_moved_to_the_notes_and_saved(as_technician, show, kinds):
    text = "Source\tMic/DI\nKick\tTheir favourite"
    assert save(as_technician, show, text).status_code == 422
    answer = save(as_technician, show, text, do="notes")
    assert "1 line added" in words(answer)
    assert InputLine.objects.get().notes == "Their favourite"


def test_two_people_do_not_overwrite_each_other_silently(as_technician, as_owner, show, kinds):
    save(as_owner, show, "1\tKick\n2\tSnare")
    seen = as_technician.get(at(show)).context["seen"]
    save(as_owner, show, "1\tKick\n2\tSnare top", seen=seen)
    answer = as_technician.post(at(show), {"grid": "1\tKick\n2\tSnare\n3\tBass", "seen": seen})
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "owner saved this list" in page
    assert "source “Snare” is now “Snare top”" in page
    assert "Bass" in answer.context["text"]
    assert [source for _way, _number, source in stored(show)] == ["Kick", "Snare top"]
    again = as_technician.post(at(show), {"grid": answer.context["text"], "seen": answer.context["seen"]})
    assert again.status_code == 302
    assert [source for _way, _number, source in stored(show)] == ["Kick", "Snare", "Bass"]


def test_saving_what_is_there_already_writes_nothing(as_technician, show, kinds):
    save(as_technician, show, SHEET)
    page = as_technician.get(at(show))
    answer = save(as_technician, show, page.context["text"], seen=page.context["seen"])
    assert "Nothing was different" in words(answer)
    assert ListSave.objects.count() == 1


def test_lines_keep_their_rows_when_they_swap_numbers(show):
    rows = [Line(number=n, source=f"Source {n}") for n in range(1, 49)]
    lines_save(show=show, rows=rows, person=None, at=NOW)
    was = dict(InputLine.objects.values_list("source", "pk"))
    turned = [Line(number=49 - n, source=f"Source {n}") for n in range(1, 49)]
    saved = lines_save(show=show, rows=turned, person=None, at=NOW)
    assert (saved.added, saved.changed, saved.removed) == (0, 48, 0)
    assert dict(InputLine.objects.values_list("source", "pk")) == was
    assert InputLine.objects.get(source="Source 1").number == 48


def test_a_full_list_turned_upside_down_finds_numbers_to_pass_through(show):
    rows = [Line(number=n, source=f"Source {n}") for n in range(1, MOST_LINES + 1)]
    lines_save(show=show, rows=rows, person=None, at=NOW)
    lines_save(
        show=show,
        rows=[Line(number=700 + n, source=f"Source {MOST_LINES - n}") for n in range(MOST_LINES)],
        person=None,
        at=NOW,
    )
    assert InputLine.objects.get(source="Source 1").number == 700 + MOST_LINES - 1


def test_what_is_promised_stays_while_the_line_needs_the_same(show):
    type_ = make_type(Kind.MICROPHONE, name="Kick microphone")
    rows = [Line(number=1, source="Kick", pickup="Kick microphone"), Line(number=2, source="Snare", pickup="Kick microphone")]
    lines_save(show=show, rows=rows, person=None, at=NOW)
    for line in InputLine.objects.all():
        Promised.objects.create(line=line, item=make_item(type=type_), made_at=NOW)
    moved = [Line(number=7, source="Kick", pickup="Kick microphone", notes="in the hole"), Line(number=2, source="Snare")]
    saved = lines_save(show=show, rows=moved, person=None, at=NOW)
    assert saved.let_go == 1 and "no longer promised" in saved.words
    assert [one.line.source for one in Promised.objects.all()] == ["Kick"]


def test_undo_puts_the_list_back_and_again_puts_it_forth(as_technician, show, kinds):
    save(as_technician, show, SHEET)
    first = stored(show)
    save(as_technician, show, "1\tKick")
    as_technician.post(reverse("lines-undo", args=[show.pk]))
    assert stored(show) == first
    assert {line.box.name for line in InputLine.objects.filter(box__isnull=False)} == {"SB A"}
    as_technician.post(reverse("lines-undo", args=[show.pk]))
    assert stored(show) == [("in", 1, "Kick")]


def test_undo_with_nothing_saved_says_so_and_undo_over_another_change_is_told(as_technician, show):
    answer = as_technician.post(reverse("lines-undo", args=[show.pk]), follow=True)
    assert "nothing can be undone" in words(answer)
    lines_save(show=show, rows=[Line(number=1, source="Kick")], person=None, at=NOW)
    with pytest.raises(StaleError):
        lines_undo(show=show, person=None, at=NOW, seen="0" * 16)
    assert as_technician.post(reverse("lines-undo", args=[show.pk]), {"seen": "0" * 16}).status_code == 409


def test_a_copy_from_an_earlier_show_brings_lines_and_no_promises(as_technician, show, kinds):
    source = make_show(NOW - timedelta(days=30), name="Barn dance")
    lines_save(
        show=source,
        rows=[Line(number=3, source="Kick", kind="kick", where="Drums", box="SB A", box_input=2)],
        person=None,
        at=NOW,
    )
    Promised.objects.create(line=InputLine.objects.get(), item=make_item(), made_at=NOW)
    lines_save(show=show, rows=[Line(number=1, source="Voice")], person=None, at=NOW)
    as_technician.post(reverse("lines-copy", args=[show.pk]), {"from": f"show:{source.pk}", "how": "append"})
    assert stored(show) == [("in", 1, "Voice"), ("in", 2, "Kick")]
    as_technician.post(reverse("lines-copy", args=[show.pk]), {"from": f"show:{source.pk}", "how": "replace"})
    line = InputLine.objects.get(show=show)
    assert (line.number, line.place.name, line.place.show_id, line.box_input) == (3, "Drums", show.pk, 2)
    assert Promised.objects.filter(line__show=show).count() == 0
    as_technician.post(reverse("lines-undo", args=[show.pk]))
    assert stored(show) == [("in", 1, "Voice"), ("in", 2, "Kick")]


def test_a_list_is_kept_without_its_players_and_another_show_starts_from_it(as_technician, show, kinds):
    rows = [
        Line(number=1, source="Kick", kind="kick", player="Ines", desk=9),
        Line(number=1, way=LineWay.OUT, source="Mix", kind="out-monitor"),
    ]
    lines_save(show=show, rows=rows, person=None, at=NOW)
    as_technician.post(reverse("lines-keep", args=[show.pk]), {"name": "Small"})
    kept = ListTemplate.objects.get()
    assert kept.lines[0] == {"number": "1", "source": "Kick", "way": "in", "kind": "kick"}
    other = make_show(name="Other")
    as_technician.post(reverse("lines-copy", args=[other.pk]), {"from": f"list:{kept.pk}", "how": "replace"})
    assert stored(other) == [("in", 1, "Kick"), ("out", 1, "Mix")]
    answer = as_technician.post(reverse("lines-keep", args=[show.pk]), {"name": "Small"}, follow=True)
    assert "already" in words(answer)
    assert ListTemplate.objects.count() == 1


@pytest.mark.parametrize("given", ["", "show:x", "show:999999", "list:999999", "list:", "show:99999999999999999999"])
def test_a_copy_from_nothing_says_so(as_technician, show, given):
    answer = as_technician.post(reverse("lines-copy", args=[show.pk]), {"from": given}, follow=True)
    assert "Pick an earlier show" in words(answer)


def test_what_leaves_as_csv_comes_back_the_same(as_technician, show, kinds):
    save(as_technician, show, SHEET + "6\t=Odd one\n")
    first = as_technician.get(at(show)).context["text"]
    file = as_technician.get(reverse("lines-csv", args=[show.pk])).content
    assert b"'=Odd one" in file and b"Advised" in file
    answer = as_technician.post(reverse("lines-upload", args=[show.pk]), {"file": SimpleUploadedFile("lines.csv", file)})
    assert answer.status_code == 200
    assert answer.context["text"] == first
    assert not answer.context["stops"]
    assert ListSave.objects.count() == 1  # looked at, not saved


@pytest.mark.parametrize(
    ("name", "body", "sentence"),
    [
        ("lines.pdf", b"%PDF-1.7 x", "no list"),
        ("lines.csv", b"No;Source\n" + b"1;Kick\n" * 400, "400 lines"),
        ("lines.csv", b"\n\n\n", "No line was found"),
        ("book.xlsx", b"PK\x03\x04 broken", "cannot be opened"),
    ],
)
def test_a_file_that_is_no_list_is_a_sentence(as_technician, show, name, body, sentence):
    answer = as_technician.post(reverse("lines-upload", args=[show.pk]), {"file": SimpleUploadedFile(name, body)})
    assert answer.status_code == 422
    assert sentence in answer.content.decode()


def test_reading_without_saving_answers_rows_and_marks(as_technician, show, kinds):
    path = reverse("lines-paste", args=[show.pk])
    told = as_technician.post(path, {"grid": "Source\tKind\nKeys L/R\t\nJo\tVoise"}).json()
    assert [row[2] for row in told["rows"]] == ["Keys L", "Keys R", "Jo"]
    assert [(one["row"], one["key"], one["stops"], one["take"]) for one in told["marks"] if one["stops"]] == [
        (2, "kind", True, ["Voice"])
    ]
    refused = as_technician.post(path, {"grid": "\n".join(["Kick"] * 12_000)})
    assert refused.status_code == 422 and "12,000" in refused.json()["wrong"]
    assert InputLine.objects.count() == 0


def test_a_place_the_list_made_goes_when_the_list_no_longer_names_it(show):
    lines_save(show=show, rows=[Line(number=1, source="Kick", where="Drms")], person=None, at=NOW)
    lines_save(show=show, rows=[Line(number=1, source="Kick", where="Drums")], person=None, at=NOW)
    assert [place.name for place in StagePlace.objects.all()] == ["Drums"]
    StagePlace.objects.update(x_mm=100, y_mm=100)
    lines_save(show=show, rows=[Line(number=1, source="Kick")], person=None, at=NOW)
    assert [place.name for place in StagePlace.objects.all()] == ["Drums"]  # somebody has put it on the stage


def test_a_stage_box_with_fewer_inputs_than_lines_is_told_on_the_page(as_technician, show, kinds):
    type_ = make_type(Kind.STAGE_BOX, name="Small box")
    StageBoxFacts.objects.create(type=type_, inputs=1)
    StagePlace.objects.create(show=show, name="SB A", sort=PlaceSort.BOX, type=type_)
    save(as_technician, show, "Source\tSnake\nKick\tSB A\nVoice\tSB A")
    page = as_technician.get(at(show))
    assert "SB A has 1 inputs, and 2 lines come to it." in page.content.decode()


def test_a_hand_reads_the_list_and_writes_nothing(as_hand, as_technician, show, kinds):
    save(as_technician, show, SHEET)
    page = as_hand.get(at(show)).content.decode()
    assert "Lead vox" in page and "<textarea" not in page
    assert as_hand.post(at(show), {"grid": "1\tMine"}).status_code == 403
    assert len(stored(show)) == 5


def test_paper_shows_every_line_in_two_parts(as_hand, show):
    rows = [Line(number=1, source="Kick", box="SB A", box_input=3), Line(number=1, way=LineWay.OUT, source="Mix front")]
    lines_save(show=show, rows=rows, person=None, at=NOW)
    page = as_hand.get(reverse("lines-print", args=[show.pk])).content.decode()
    assert "SB A 3" in page and "Mix front" in page and "outputs" in page


def test_only_lists_of_ours_can_be_deleted_and_a_changed_one_is_ours(as_technician):
    shipped = ListTemplate.objects.create(name="Shipped", lines=[{"source": "Kick"}], shipped=True)
    path = reverse("list-change", args=[shipped.pk])
    assert "stays" in words(as_technician.post(path, {"do": "delete"}, follow=True))
    assert "needed" in words(as_technician.post(path, {"name": " "}, follow=True))
    as_technician.post(path, {"name": "Ours now"})
    shipped.refresh_from_db()
    assert (shipped.name, shipped.shipped) == ("Ours now", False)
    as_technician.post(path, {"do": "delete"})
    assert ListTemplate.objects.count() == 0


def test_a_kind_of_source_is_added_changed_and_deleted(as_technician, kinds):
    fields = {"name": "Hurdy-gurdy", "family": "strings", "way": "electric", "sort": "piezo", "lines": "1", "ohm": "10000"}
    assert as_technician.post(reverse("source-add"), fields | {"least_ohm": "20000"}).status_code == 422
    as_technician.post(reverse("source-add"), fields)
    kind = SourceType.objects.get(key="hurdy-gurdy")
    path = reverse("source-edit", args=[kind.pk])
    SourceType.objects.filter(pk=kind.pk).update(shipped=True)
    assert "stays" in words(as_technician.post(path, {"do": "delete"}, follow=True))
    as_technician.post(path, fields)
    kind.refresh_from_db()
    assert kind.shipped is True  # nothing was different
    as_technician.post(path, fields | {"ohm": "12000"})
    kind.refresh_from_db()
    assert (kind.ohm, kind.shipped) == (12_000, False)
    show = make_show()
    InputLine.objects.create(show=show, number=1, source="Gurdy", type=kind)
    assert "stands on lines" in words(as_technician.post(path, {"do": "delete"}, follow=True))
    InputLine.objects.all().delete()
    as_technician.post(path, {"do": "delete"})
    assert not SourceType.objects.filter(pk=kind.pk).exists()


def test_kinds_are_listed_with_their_figures_and_where_they_are_from(as_hand, kinds):
    SourceType.objects.filter(key="keys").update(source="Judgement of the trade", least_ohm=100, most_ohm=5000)
    page = as_hand.get(reverse("sources")).content.decode()
    assert "Judgement of the trade" in page and "100 to 5000" in page


def _queries(client, path, count, connection, **kw):
    from django.test.utils import CaptureQueriesContext

    client.get(path)
    with CaptureQueriesContext(connection) as caught:
        assert client.post(path, kw).status_code in {200, 302} if kw else client.get(path).status_code == 200
    return len(caught)


@pytest.mark.parametrize("name", ["lines", "lines-csv", "lines-print"])
def test_pages_ask_the_same_of_one_line_and_of_fifty(as_technician, show, kinds, name, django_assert_num_queries):
    from django.db import connection

    path = reverse(name, args=[show.pk])
    lines_save(show=show, rows=[Line(number=1, source="Kick", kind="kick", where="Drums", box="SB A")], person=None, at=NOW)
    one = _queries(as_technician, path, 1, connection)
    fifty = [Line(number=n, source=f"Keys {n}", kind="keys", where=f"Place {n}", box=f"Box {n}") for n in range(1, 51)]
    lines_save(show=show, rows=fifty, person=None, at=NOW)
    assert _queries(as_technician, path, 50, connection) == one


def test_saving_asks_the_same_of_two_lines_and_of_fifty(as_technician, show, kinds):
    from django.db import connection

    path = at(show)
    text = [f"{n}\tKeys {n}" for n in range(1, 51)]
    two = _queries(as_technician, path, 2, connection, grid="\n".join(text[:2]))
    InputLine.objects.all().delete()
    assert _queries(as_technician, path, 50, connection, grid="\n".join(text)) == two


def test_the_api_answers_the_lines(as_hand, show, kinds):
    lines_save(show=show, rows=[Line(number=1, source="Kick", kind="kick", where="Drums", desk=4)], person=None, at=NOW)
    told = json.loads(as_hand.get(f"/api/shows/{show.pk}/lines").content)
    assert told["show"] == show.pk
    assert {key: told["lines"][0][key] for key in ("number", "way", "source", "kind", "where", "desk")} == {
        "number": 1, "way": "in", "source": "Kick", "kind": "Bass drum", "where": "Drums", "desk": 4,
    }  # fmt: skip
