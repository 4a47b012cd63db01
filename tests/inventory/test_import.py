"""Bring your own list: gear and counted lines."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError
from django.urls import reverse

from company.jobs import job_run
from company.models import Job
from inventory.calc import codes
from inventory.models import CountedLine, CountMove, GearType, Item, Label, Place
from inventory.transfer import running
from inventory.transfer.running import import_run
from tests.builders import NOW, make_counted_line, make_item, make_place, make_type


@pytest.fixture(autouse=True)
def media(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


def bring(client, text, what="gear", **matching):
    """Upload a list and save its matching; answer its token."""
    raw = text if isinstance(text, bytes) else text.encode()
    answer = client.post(reverse("import"), {"what": what, "file": SimpleUploadedFile("list.csv", raw)})
    assert answer.status_code == 302, answer.content.decode()
    token = answer.url.strip("/").split("/")[-1]
    page = client.get(answer.url)
    wanted = {row["place"]: row["key"] for row in page.context["rows"]}
    fields = {f"column-{place}": key for place, key in wanted.items()}
    answer = client.post(reverse("import-match", args=[token]), {**fields, **matching})
    assert answer.status_code == 302, answer.context["error"]
    return token


def look(client, token):
    return client.get(reverse("import-preview", args=[token])).context["preview"]


def apply(client, token, **fields):
    answer = client.post(reverse("import-apply", args=[token]), fields)
    job = Job.objects.get(pk=int(answer.url.strip("/").split("/")[-1]))
    if job.state == Job.State.QUEUED:
        assert job_run(job.pk)
        job.refresh_from_db()
    return job


LIST = """Gear type;Which;Len;Serial No;Price;Shelf;Remarks
Active direct box;A;;K1;149,00;Shelf 1;
Active direct box;B;;K2;£149;Shelf 1;hums a little
Microphone lead;;10 m;;12.50;Shelf 2;
Microphone lead;;10 m;;12.50;Shelf 2;
"""


def test_preview_counts_everything_and_writes_nothing(as_owner, django_assert_num_queries):
    token = bring(as_owner, LIST)
    before = [model.objects.count() for model in (Item, Label, GearType, Place, Job)]
    preview = look(as_owner, token)
    assert preview.counts == {"new": 4, "changed": 0, "unchanged": 0, "bad": 0}
    assert {(f.what, f.name, f.kind) for f in preview.fresh} == {
        ("gear type", "Active direct box", "interface-box"),
        ("gear type", "Microphone lead", "lead"),
        ("place", "Shelf 1", ""),
        ("place", "Shelf 2", ""),
    }
    assert [model.objects.count() for model in (Item, Label, GearType, Place, Job)] == before


def test_list_comes_in_whole_with_labels_types_and_places(as_owner):
    job = apply(as_owner, bring(as_owner, LIST), **{"type-1": "Microphone lead", "kind-1": "multicore"})
    assert job.state == Job.State.DONE, job.said
    assert job.result["counts"] == {"new": 4, "changed": 0, "unchanged": 0, "bad": 0}
    box = Item.objects.get(name="B")
    assert (box.serial, box.price_cents, box.home.name, box.notes) == ("K2", 14_900, "Shelf 1", "hums a little")
    assert box.type.kind == "interface-box" and box.type.has_standing
    assert GearType.objects.get(name="Microphone lead").kind == "multicore"
    assert all(codes.is_code(item.code) and item.labels.get().code == item.code for item in Item.objects.all())


def test_same_list_twice_doubles_nothing_even_without_codes(as_owner):
    apply(as_owner, bring(as_owner, LIST))
    token = bring(as_owner, LIST)
    assert look(as_owner, token).counts == {"new": 0, "changed": 0, "unchanged": 4, "bad": 0}
    apply(as_owner, token)
    assert Item.objects.count() == 4
    assert any("one of several alike" in note for row in look(as_owner, bring(as_owner, LIST)).told for note in row.notes)


def test_rows_said_to_be_new_are_new(as_owner):
    apply(as_owner, bring(as_owner, LIST))
    apply(as_owner, bring(as_owner, LIST, alike_are_new="on"))
    assert Item.objects.count() == 8


def test_reimport_updates_by_code_and_by_an_old_labels_code(as_owner):
    item, other = make_item(name="A"), make_item(name="B")
    alias = codes.mint()
    Label.objects.create(code=alias, item=other, minted_at=NOW, bound_at=NOW)
    token = bring(as_owner, f"Code,Name,Serial\n{codes.spell(item.code)},A2,\n{alias.lower()},B,S9\n")
    assert look(as_owner, token).counts == {"new": 0, "changed": 2, "unchanged": 0, "bad": 0}
    apply(as_owner, token)
    item.refresh_from_db(), other.refresh_from_db()
    assert (item.name, other.serial, Item.objects.count()) == ("A2", "S9", 2)


def test_what_a_list_changed_stands_in_the_change_log(as_owner):
    from auditlog.models import LogEntry

    item = make_item(name="A")
    LogEntry.objects.all().delete()
    text = f"Code,Name\n{item.code},A2\n"
    apply(as_owner, bring(as_owner, text)), apply(as_owner, bring(as_owner, text))
    entry = LogEntry.objects.get(object_id=item.pk)
    assert entry.changes == {"name": ["A", "A2"]} and entry.actor.username == "owner"
    assert b"A2" in as_owner.get(reverse("change-log")).content


def test_empty_cell_leaves_alone_unless_it_is_said_to_clear(as_owner):
    item = make_item(name="A", serial="S1", notes="keep")
    text = f"Code,Serial,Notes\n{item.code},,\n"
    assert look(as_owner, bring(as_owner, text)).counts["unchanged"] == 1
    apply(as_owner, bring(as_owner, text, empties_clear="on"))
    item.refresh_from_db()
    assert (item.serial, item.notes) == ("", "")


def test_old_number_is_kept_in_the_notes_and_finds_the_item_again(as_owner):
    text = "Old number,Gear type,Notes\nL-1,Lead,\nL-2,Lead,blue\n"
    apply(as_owner, bring(as_owner, text))
    assert {i.notes for i in Item.objects.all()} == {"Old number: L-1", "blue\nOld number: L-2"}
    swapped = "Old number,Gear type,Notes\nL-2,Lead,blue\nL-1,Lead,\n"
    assert look(as_owner, bring(as_owner, swapped)).counts == {"new": 0, "changed": 0, "unchanged": 2, "bad": 0}


def test_printed_label_waiting_for_a_thing_is_bound(as_owner):
    code = codes.mint()
    Label.objects.create(code=code, minted_at=NOW, printed_at=NOW)
    apply(as_owner, bring(as_owner, f"Code,Gear type\n{code},Lead\n"))
    label = Label.objects.get(code=code)
    assert label.item.code == code and label.printed_at == NOW


ODD = [
    ("Code", "4H2K70AA", "no code"),
    ("Code", "DO.OUT", "no code"),
    ("Length", "1" + "0" * 30, "length"),
    ("Length", "long", "no length"),
    ("Price", "1" + "0" * 30, "no price"),
    ("Price", "-4", "below nothing"),
    ("Bought on", "0001-01-01", "year 1"),
    ("Bought on", "9999-12-31", "year 9999"),
    ("Bought on", "2026-02-30", "calendar"),
    ("Serial", "x" * 61, "60 fit"),
    ("Serial", "a\0b", "NUL"),
    ("Notes", "y" * 100_000, "100000 characters"),
    ("Notes", "z" * 5000, "4000 fit"),
    ("Gear type", "t" * 81, "80 fit"),
    ("Kind", "spaceship", "no kind"),
]


@pytest.mark.parametrize(("column", "value", "says"), ODD)
def test_odd_value_makes_one_bad_row_with_line_column_and_reason(as_owner, column, value, says):
    headings = ["Gear type", "Kind", "Code", "Length", "Price", "Bought on", "Serial", "Notes"]
    cells = ["Lead" if h == "Gear type" else "" for h in headings]
    cells[headings.index(column)] = value
    text = "\n".join([",".join(headings), "Lead,,,,,,,", ",".join(cells), ""])
    token = bring(as_owner, text)
    preview = look(as_owner, token)
    assert preview.counts["bad"] == 1 and preview.counts["new"] == 1
    (bad,) = preview.bad
    assert bad.line == 3 and bad.reasons[0][0] == column and says in bad.reasons[0][1]
    answer = as_owner.get(reverse("import-bad", args=[token]))
    reasons = b"".join(answer.streaming_content).decode()
    assert "Reason" in reasons.splitlines()[0] and says in reasons
    job = apply(as_owner, token)
    assert job.state == Job.State.DONE and Item.objects.count() == 1 and job.result_file


def test_lone_surrogate_in_utf16_is_a_bad_row(as_owner):
    raw = "\ufeffGear type\tNotes\nLead\t".encode("utf-16-le") + b"\x00\xd8" + "x\n".encode("utf-16-le")
    preview = look(as_owner, bring(as_owner, raw))
    assert preview.counts["bad"] == 1 and "could not be read" in preview.bad[0].why


def test_formula_text_is_text(as_owner):
    apply(as_owner, bring(as_owner, "Gear type,Notes\nLead,=1+1\nLead,'=1+1\nLead,''=1+1\nLead,'tis\n"))
    assert sorted(Item.objects.values_list("notes", flat=True)) == ["'=1+1", "'tis", "=1+1", "=1+1"]


def test_code_twice_in_a_list_is_a_bad_row_naming_the_first(as_owner):
    code = codes.mint()
    preview = look(as_owner, bring(as_owner, f"Code,Gear type\n{code},Lead\n{code},Lead\n"))
    assert preview.counts == {"new": 1, "changed": 0, "unchanged": 0, "bad": 1}
    assert "Line 2 already" in preview.bad[0].why


def test_type_column_matched_to_serials_is_stopped(as_owner):
    text = "Gear type\n" + "\n".join(f"S{n}" for n in range(320))
    preview = look(as_owner, bring(as_owner, text))
    assert preview.counts["bad"] == 20 and "right column" in preview.bad[0].why


def test_two_columns_matched_to_one_and_none_to_the_type_get_sentences(as_owner):
    answer = as_owner.post(reverse("import"), {"what": "gear", "pasted": "One\tTwo\nA\tB\n"})
    assert answer.status_code == 302
    twice = as_owner.post(answer.url, {"column-0": "type", "column-1": "type"})
    assert twice.status_code == 400 and "Two columns" in twice.context["error"]
    none = as_owner.post(answer.url, {"column-0": "name"})
    assert none.status_code == 400 and "Gear type" in none.context["error"]


def test_matching_is_remembered_for_the_next_list(as_owner):
    answer = as_owner.post(reverse("import"), {"what": "gear", "pasted": "Ding\tFach\nKabel\tRegal\n"})
    token = answer.url.strip("/").split("/")[-1]
    as_owner.post(answer.url, {"column-0": "type", "column-1": "home"})
    apply(as_owner, token)
    answer = as_owner.post(reverse("import"), {"what": "gear", "pasted": "Fach\tDing\nRegal\tKabel\n"})
    assert [row["key"] for row in as_owner.get(answer.url).context["rows"]] == ["home", "type"]


def test_apply_sent_twice_is_one_import(as_owner):
    token = bring(as_owner, LIST)
    first = as_owner.post(reverse("import-apply", args=[token]))
    second = as_owner.post(reverse("import-apply", args=[token]))
    assert first.url == second.url and Job.objects.count() == 1
    job_run(Job.objects.get().pk)
    third = as_owner.post(reverse("import-apply", args=[token]))
    assert third.url == first.url and Item.objects.count() == 4


class Killed(BaseException):
    """Stands in for the machine going off: nothing catches it."""


@pytest.mark.parametrize("at", [1, 2, 3])
@pytest.mark.parametrize("alike", [{}, {"alike_are_new": "on"}])
def test_import_killed_midway_and_run_again_gives_the_same(as_owner, monkeypatch, at, alike):
    monkeypatch.setattr(running, "JUDGED_AT_ONCE", 3)
    make_item(type=make_type("lead", name="Microphone lead"), length_mm=10_000)
    text = "Gear type,Length\n" + "Microphone lead,10 m\n" * 10
    token = bring(as_owner, text, **alike)
    as_owner.post(reverse("import-apply", args=[token]))
    job = Job.objects.get()
    Job.objects.update(state=Job.State.RUNNING)
    real, calls = running._written, []

    def dying(plan, rows):
        calls.append(1)
        if len(calls) == at:
            raise Killed
        return real(plan, rows)

    monkeypatch.setattr(running, "_written", dying)
    job.refresh_from_db()
    with pytest.raises(Killed):
        import_run(job)
    monkeypatch.setattr(running, "_written", real)
    again = Job.objects.get()
    import_run(again)
    assert Item.objects.count() == (11 if alike else 10)
    assert again.result["counts"]["new"] == (10 if alike else 9)
    assert Label.objects.filter(item__isnull=False).count() == Item.objects.count()


def test_row_the_database_refuses_spoils_no_other(as_owner, monkeypatch):
    from inventory.transfer.gear import GearPlan

    real = GearPlan.write

    def refusing(self, rows):
        if any(row.line == 3 for row in rows):
            raise IntegrityError("no")
        real(self, rows)

    monkeypatch.setattr(GearPlan, "write", refusing)
    job = apply(as_owner, bring(as_owner, LIST))
    assert job.state == Job.State.DONE and Item.objects.count() == 3
    with job.result_file.open("rb") as file:
        assert b"no longer fits" in file.read()


def test_import_can_be_taken_back_but_for_what_was_used_or_changed(as_owner):
    job = apply(as_owner, bring(as_owner, LIST))
    Item.objects.filter(name="A").update(notes="mine now")
    Item.objects.filter(name="B").update(tested_on=NOW.date())
    old = make_item(name="old")
    page = as_owner.get(reverse("import-result", args=[job.pk]))
    assert b"Take back what is new" in page.content
    as_owner.post(reverse("import-undo", args=[job.pk]))
    assert set(Item.objects.values_list("name", flat=True)) == {"A", "B", "old"}
    assert Label.objects.count() == 3 and old.labels.exists()
    as_owner.post(reverse("import-undo", args=[job.pk]))
    job.refresh_from_db()
    assert job.result["undone"] == {"taken": 2, "kept": 2, "by": "owner"}


def test_technician_neither_sees_nor_sets_prices(as_technician):
    item = make_item(name="A", price_cents=100)
    token = bring(as_technician, f"Code,Name,Price\n{item.code},A2,9.99\n")
    assert look(as_technician, token).counts["changed"] == 1
    apply(as_technician, token)
    item.refresh_from_db()
    assert (item.name, item.price_cents) == ("A2", 100)
    assert b"Price" not in as_technician.get(reverse("import-example", args=["gear", "csv"])).getvalue().splitlines()[0]


def test_hand_may_not_bring_or_take_lists(as_hand):
    for name, args in (("import", []), ("export", []), ("export-file", ["gear", "csv"]), ("import-match", ["x" * 32])):
        assert as_hand.get(reverse(name, args=args)).status_code == 403


def test_nobody_opens_another_persons_list(as_owner, as_technician):
    token = bring(as_owner, LIST)
    for name in ("import-match", "import-preview", "import-bad"):
        assert as_technician.get(reverse(name, args=[token])).status_code == 302
    assert as_technician.get("/import/..%2f..%2fsecret_key/").status_code in (302, 404)
    assert as_technician.post(reverse("import-apply", args=[token])).url == reverse("import")


@pytest.mark.parametrize("raw", [b"", b"Gear type\n", b"PK\x03\x04broken", b"\xd0\xcf\x11\xe0xls", b"\0" * 5000])
def test_file_that_is_no_list_is_refused_on_the_page(as_owner, raw):
    answer = as_owner.post(reverse("import"), {"what": "gear", "file": SimpleUploadedFile("list.xlsx", raw)})
    assert answer.status_code == 400 and answer.context["error"].endswith(".")


def test_nothing_chosen_and_unknown_kind_get_a_page(as_owner):
    assert as_owner.post(reverse("import"), {"what": "spoons"}).context["error"].startswith("Choose a file")
    assert as_owner.get("/export/spoons.csv").status_code == 404
    assert as_owner.get("/export/gear.pdf").status_code == 404
    assert as_owner.get("/import/example/gear.pdf").status_code == 404


def preview_queries(as_owner, count):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    code = lambda: codes.mint()  # noqa: E731
    token = bring(as_owner, "Code,Gear type,Kept at\n" + "".join(f"{code()},Lead,Shelf 1\n" for _ in range(count)))
    with CaptureQueriesContext(connection) as seen:
        assert look(as_owner, token).counts["new"] == count
    return len(seen)


def test_preview_costs_the_same_queries_for_one_row_and_for_fifty(as_owner):
    make_type("lead", name="Lead"), make_place(name="Shelf 1")
    assert preview_queries(as_owner, 1) == preview_queries(as_owner, 50)


COUNTED = "Type,Length,Qty,Broken,Place\nMicrophone lead,10 m,24,1,Shelf 2\nGaffer tape,,6,,\n"


def test_counted_lines_come_in_through_the_ledger(as_technician):
    job = apply(as_technician, bring(as_technician, COUNTED, what="counted"))
    assert job.state == Job.State.DONE, job.said
    lead = CountedLine.objects.described().get(type__name="Microphone lead")
    assert (lead.owned, lead.on_shelf, lead.bad, lead.length_mm, lead.home.name) == (24, 23, 1, 10_000, "Shelf 2")
    assert GearType.objects.get(name="Gaffer tape").kind == "consumable"
    token = bring(as_technician, COUNTED, what="counted")
    assert look(as_technician, token).counts == {"new": 0, "changed": 0, "unchanged": 2, "bad": 0}


def test_count_that_differs_is_a_recount_and_twice_is_once(as_technician):
    line = make_counted_line(owned=20)
    text = f"Type,Owned,Bad\n{line.type.name},24,2\n"
    apply(as_technician, bring(as_technician, text, what="counted"))
    apply(as_technician, bring(as_technician, text, what="counted"))
    found = CountedLine.objects.described().get()
    assert (found.owned, found.on_shelf, found.bad) == (24, 22, 2)
    assert CountMove.objects.filter(why="recounted").get().delta == 4


def test_counts_that_cannot_be_are_bad_rows(as_technician):
    line = make_counted_line(owned=10)
    CountMove.objects.create(
        uid="00000000-0000-4000-8000-000000000001", line=line, show=5, delta=-8, why="out", happened_at=NOW
    )
    name = line.type.name
    for text, says in (
        (f"Type,Owned\n{name},5\n", "too few"),
        (f"Type,Owned,Bad\n{name},5,6\n", "cannot be"),
        (f"Type,Owned\n{name},10\n{name},11\n", "Line 2 already"),
        (f"Type,Owned\n{name},-3\n", "no count"),
    ):
        assert says in look(as_technician, bring(as_technician, text, what="counted")).bad[0].why


def test_workbook_comes_in_like_text(as_owner):
    import openpyxl

    book, file = openpyxl.Workbook(), io.BytesIO()
    for row in (["Gear type", "Price", "Length"], ["Lead", 12.5, 10]):
        book.active.append(row)
    book.save(file)
    apply(as_owner, bring(as_owner, file.getvalue()))
    item = Item.objects.get()
    assert (item.price_cents, item.length_mm) == (1250, 10_000)
