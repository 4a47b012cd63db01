"""Minting, binding, printing and the pages about labels."""

import io
import uuid

import pypdfium2
import pytest
import zxingcpp
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from company.models import Job
from inventory.calc import codes
from inventory.calc import label_drawings as d
from inventory.calc.kinds import Kind
from inventory.labelled import blank_and_printed, label_missing, without_label
from inventory.models import CountMove, Item, Label, LabelRun, LeadFacts, PrinterTrim
from inventory.registries import AFTER_BIND
from inventory.services import label_runs
from inventory.services.items import item_add, items_add
from inventory.services.label_runs import Wanted, diameter_of, form_of, labels_print, plan, run_again, run_pdf, run_texts
from inventory.services.labels import LabelRefused, code_new, label_bind, label_gone, label_renewed, labels_mint
from tests.builders import NOW, make_case, make_counted_line, make_item, make_person, make_type

pytestmark = pytest.mark.django_db


def a_lead(**kw):
    kw.setdefault("type", make_type(Kind.LEAD))
    return items_add(type=kw.pop("type"), count=1, at=NOW, length_mm=10_000, **kw)[0]


def read_pdf(data: bytes, dpi=300) -> list[str]:
    found = []
    for page in pypdfium2.PdfDocument(data):
        image = page.render(scale=dpi / 72, grayscale=True).to_pil()
        found += [code.text for code in zxingcpp.read_barcodes(image, formats=zxingcpp.BarcodeFormat.QRCode)]
    return found


# minting and binding


def test_a_new_code_is_nobodys():
    code = code_new()
    assert codes.is_code(code) and not Label.objects.filter(code=code).exists()


def test_a_new_code_avoids_what_labels_and_items_carry(monkeypatch):
    item = make_item()
    loose = labels_mint(count=1, at=NOW)[0]
    fresh = codes.mint()
    coming = iter([item.code, loose.code, fresh])
    monkeypatch.setattr(codes, "mint", lambda: next(coming))
    assert code_new() == fresh


def test_minting_makes_so_many_different_blank_labels():
    made = labels_mint(count=200, at=NOW)
    assert len({label.code for label in made}) == 200
    assert Label.objects.filter(item=None, printed_at=None).count() == 200


@pytest.mark.parametrize("count", [0, -1, 1001])
def test_minting_too_many_is_refused(count):
    with pytest.raises(LabelRefused, match="Between 1 and 1000"):
        labels_mint(count=count, at=NOW)


def test_binding_keeps_older_codes_as_aliases_and_tells_the_other_floors(monkeypatch):
    item, told = make_item(), []
    monkeypatch.setattr(AFTER_BIND, "_entries", {"told": (1, told.append)})
    label = label_bind(code=codes.spell(codes.mint()).lower(), item=item, at=NOW)
    assert told == [[item.pk]]
    assert set(item.labels.values_list("code", flat=True)) == {item.code, label.code}
    item.refresh_from_db()
    assert item.code != label.code


def test_binding_again_to_the_same_item_changes_nothing():
    item = make_item()
    first = label_bind(code=(blank := codes.mint()), item=item, at=NOW)
    again = label_bind(code=blank, item=item, at=NOW.replace(year=2027))
    assert again.pk == first.pk and again.bound_at == NOW


def test_a_code_of_another_item_is_refused_with_a_sentence_and_nothing_changes():
    mine, other = make_item(), make_item()
    for code in (other.code, label_bind(code=codes.mint(), item=other, at=NOW).code):
        with pytest.raises(LabelRefused, match="is already the label of"):
            label_bind(code=code, item=mine, at=NOW)
    assert mine.labels.count() == 1


def test_an_items_own_code_is_refused_even_where_its_label_row_is_lost():
    mine, other = make_item(), make_item()
    other.labels.all().delete()
    with pytest.raises(LabelRefused, match="is already the label of"):
        label_bind(code=other.code, item=mine, at=NOW)
    assert not Label.objects.filter(code=other.code).exists()


@pytest.mark.parametrize("text", ["", "ABC", "DO.OUT", "4H2K70A0", "x" * 5000])
def test_what_is_no_code_binds_nothing(text):
    with pytest.raises(LabelRefused) as refused:
        label_bind(code=text, item=make_item(), at=NOW)
    assert str(refused.value).endswith(".")


def test_a_broken_follow_up_binds_nothing(monkeypatch):
    def breaks(_items):
        raise RuntimeError("no")

    item, code = make_item(), codes.mint()
    monkeypatch.setattr(AFTER_BIND, "_entries", {"breaks": (1, breaks)})
    with pytest.raises(RuntimeError):
        label_bind(code=code, item=item, at=NOW)
    assert not Label.objects.filter(code=code).exists()


def test_label_gone_is_listed_until_it_is_renewed_or_another_is_bound():
    first, second = make_item(), make_item()
    for item in (first, second):
        label_gone(item=item, at=NOW)
        label_gone(item=item, at=NOW.replace(year=2027))
    assert [i.label_gone_since for i in label_missing()] == [NOW, NOW]
    label_renewed(item=first, at=NOW)
    label_bind(code=codes.mint(), item=second, at=NOW)
    assert not label_missing().exists()


# which things want a label


def test_items_first_want_a_label_until_it_is_printed_labels_first_never_do():
    fresh = item_add(type=make_type(), at=NOW)
    labels_first = labels_print(wanted=Wanted(blank=1), person=None, at=NOW).codes[0]
    item_add(type=make_type(), at=NOW, code=labels_first)
    assert list(without_label()) == [fresh]
    labels_print(wanted=Wanted(codes=(fresh.code,)), person=None, at=NOW)
    assert not without_label().exists()


def test_a_thing_bound_to_a_printed_label_wants_none_of_its_own():
    item = item_add(type=make_type(), at=NOW)
    blank = labels_print(wanted=Wanted(blank=1), person=None, at=NOW).codes[0]
    label_bind(code=blank, item=item, at=NOW)
    assert not without_label().exists() and not blank_and_printed().exists()


# what is printed


def test_a_lead_gets_a_flag_at_both_ends_with_one_code_and_other_things_one_label():
    lead, box, case = a_lead(), make_item(), make_case()
    company = label_runs.Company.current()
    planned = plan(Wanted(codes=(lead.code, box.code, case.code)), company=company)
    assert [(t.form, t.end) for t in planned.texts] == [("flag", "A"), ("flag", "B"), ("box", ""), ("case", "")]
    assert planned.texts[0].code == planned.texts[1].code == lead.code
    assert (planned.flags, planned.others) == (2, 2)


def test_a_flags_wrap_follows_the_types_own_diameter_then_its_facts_then_what_is_usual():
    lead = a_lead()
    assert diameter_of(lead) == 6
    LeadFacts.objects.create(type=lead.type, outer_diameter_mm=8.5)
    assert diameter_of(Item.objects.get(pk=lead.pk)) == 8.5
    lead.type.label_diameter_mm = 11
    assert diameter_of(lead) == 11


def test_an_adapter_without_length_gets_a_box_label_unless_a_flag_is_wished():
    adapter = make_item(kind=Kind.LEAD)
    assert form_of(adapter) is d.Form.BOX and form_of(adapter, "flag") is d.Form.FLAG


def test_a_leads_own_letter_is_left_out_beside_the_ends_mark():
    lead = a_lead()
    assert lead.name == "A"
    texts = plan(Wanted(codes=(lead.code,)), company=label_runs.Company.current()).texts
    assert {t.name for t in texts} == {lead.type.name}


def test_printing_is_logged_marks_its_labels_and_can_be_read():
    items = [item_add(type=make_type(), at=NOW) for _ in range(3)]
    line = make_counted_line()
    wanted = Wanted(codes=tuple(i.code for i in items), counted=(line.pk,), blank=2, stock="a4-3x7", start=5)
    run = labels_print(wanted=wanted, person=make_person(), at=NOW)
    assert (run.count, run.start_at, run.sheet) == (6, 5, "a4-3x7")
    assert Label.objects.filter(run=run, printed_at=NOW).count() == 5
    out = io.BytesIO()
    assert run_pdf(run=run, out=out) == 1
    found = read_pdf(out.getvalue())
    assert sorted(found) == sorted([*run.codes, f"COUNT.{line.pk}"])


def test_the_same_token_prints_once():
    token = uuid.uuid4()
    first, second = (labels_print(wanted=Wanted(blank=3), person=None, at=NOW, token=token) for _ in range(2))
    assert first.pk == second.pk and Label.objects.count() == 3


def test_printing_again_gives_blank_labels_the_codes_they_had():
    run = labels_print(wanted=Wanted(blank=3, stock="a4-3x7"), person=None, at=NOW)
    again = run_again(run=run, start=7, person=None, at=NOW)
    assert [t.code for t in run_texts(again)[1]] == [t.code for t in run_texts(run)[1]] == run.codes
    assert again.start_at == 7 and run_texts(again)[0].start == 7 and Label.objects.count() == 3


def test_the_site_address_is_carried_once_it_is_set():
    company = label_runs.Company.current()
    company.site_address = "https://gear.example.org"
    company.save()
    run = labels_print(wanted=Wanted(blank=1), person=None, at=NOW)
    out = io.BytesIO()
    run_pdf(run=run, out=out)
    assert read_pdf(out.getvalue()) == [f"https://GEAR.EXAMPLE.ORG/A/{run.codes[0]}"]


@pytest.mark.parametrize(
    ("wanted", "why"),
    [
        (Wanted(), "nothing to print"),
        (Wanted(codes=("4H2K70B0",)), "nothing to print"),
        (Wanted(blank=1001), "At most 1000"),
        (Wanted(blank=1, stock="a5"), "not one the program knows"),
        (Wanted(blank=1, stock="a4-3x7", start=22), "places 1 to 21"),
    ],
)
def test_what_cannot_be_printed_is_refused_and_mints_nothing(wanted, why):
    with pytest.raises(LabelRefused, match=why):
        labels_print(wanted=wanted, person=None, at=NOW)
    assert not Label.objects.exists() and not LabelRun.objects.exists()


def test_planning_asks_the_database_as_often_for_one_item_as_for_fifty():
    def asked(count):
        items = items_add(type=make_type(Kind.LEAD), count=count, at=NOW, length_mm=5000)
        # a kind whose facts hold no diameter is not asked for one, thing by thing
        items += items_add(type=make_type(Kind.INTERFACE_BOX), count=count, at=NOW)
        company = label_runs.Company.current()
        with CaptureQueriesContext(
            connection,
        ) as queries:
            plan(Wanted(codes=tuple(i.code for i in items)), company=company)
        return len(queries)

    assert asked(1) == asked(50) <= 3


# pages


def test_the_labels_page_shows_what_has_no_label_and_the_sheet(as_technician):
    lead, box = a_lead(), item_add(type=make_type(name="Active direct box"), at=NOW, name="A")
    page = as_technician.get(reverse("labels")).content.decode()
    assert "2 things have no label yet" in page
    assert "Print 2 flags, 1 label" in page
    assert codes.spell(lead.code) in page and codes.spell(box.code) in page
    assert "ACTIVE" in page and "style=" not in page


def test_labels_are_for_technicians(as_hand, as_owner):
    item = make_item()
    run = labels_print(wanted=Wanted(codes=(item.code,)), person=None, at=NOW)
    for name, args in (
        ("labels", []),
        ("label-bind", []),
        ("label-trial", []),
        ("label-run", [run.pk]),
        ("label-run-pdf", [run.pk]),
        ("label-png", [item.code]),
        ("label-svg", [item.code]),
        ("labels-print", []),
    ):
        assert as_hand.get(reverse(name, args=args)).status_code == 403, name
        assert as_owner.get(reverse(name, args=args), follow=True).status_code == 200, name
    for name, args in (
        ("labels-print", []),
        ("label-stuck", []),
        ("label-trim", []),
        ("label-run-again", [run.pk]),
        ("label-bind", []),
    ):
        assert as_hand.post(reverse(name, args=args)).status_code == 403, name


def test_printing_from_the_page_leads_to_a_pdf_that_reads(as_technician):
    lead = a_lead()
    answer = as_technician.post(
        reverse("labels-print"), {"what": "new", "sheet": "a4-flags", "start": "3", "token": uuid.uuid4()}
    )
    run = LabelRun.objects.get()
    assert answer.url == reverse("label-run", args=[run.pk])
    page = as_technician.get(answer.url).content.decode()
    assert "next free place is 5" in page and codes.spell(lead.code) in page
    pdf = as_technician.get(reverse("label-run-pdf", args=[run.pk]))
    assert pdf["Content-Type"] == "application/pdf"
    assert read_pdf(b"".join(pdf.streaming_content)) == [lead.code, lead.code]
    assert (
        "Places 1 to 4 of this sheet are used"
        in as_technician.get(reverse("labels"), {"what": "blank", "sheet": "a4-flags"}).content.decode()
    )


def test_a_form_sent_twice_prints_once(as_technician):
    given = {"what": "blank", "count": "5", "token": str(uuid.uuid4())}
    for _ in range(2):
        assert as_technician.post(reverse("labels-print"), given).status_code == 302
    assert LabelRun.objects.count() == 1 and Label.objects.count() == 5


def test_other_pages_links_show_one_item_or_one_counted_line(as_technician):
    item, line = make_item(), make_counted_line()
    assert "Print 1 label" in as_technician.get(reverse("labels-print"), {"codes": item.code}, follow=True).content.decode()
    page = as_technician.get(reverse("labels-print"), {"count_line": line.pk}, follow=True).content.decode()
    assert f"COUNT.{line.pk}" in page and "Print 1 label" in page


def test_each_choice_prints_what_it_says(as_technician):
    kind = make_type(name="Tall stand")
    one, two = (make_item(type=kind, name=name) for name in "AB")
    case = make_case()
    Item.objects.filter(pk=one.pk).update(in_case=case)
    label_gone(item=two, at=NOW)
    make_counted_line()
    for given, words in (
        ({"what": "type", "type": kind.pk}, "Print 2 labels"),
        ({"what": "case", "case": case.code}, "Print 2 labels"),
        ({"what": "gone"}, "Print 1 label"),
        ({"what": "codes", "codes": f"{one.code} {codes.spell(two.code)}"}, "Print 2 labels"),
        ({"what": "counted"}, "Print 1 label"),
        ({"what": "blank", "count": "7"}, "Print 7 labels"),
        ({"what": "new", "some": "1", "only": one.code}, "Print 1 label"),
    ):
        assert words in as_technician.get(reverse("labels"), given).content.decode(), given


def test_a_part_used_sheet_shows_its_used_places_dashed(as_technician):
    make_item()
    page = as_technician.get(reverse("labels"), {"sheet": "a4-3x7", "start": "4"}).content.decode()
    assert "3 used" in page and "4 used" not in page


def test_what_is_too_small_is_warned_of_with_what_would_fit(as_technician):
    a_lead()
    page = as_technician.get(reverse("labels"), {"sheet": "a4-4x16", "dpi": "203"}).content.decode()
    assert "too short to fold around a lead of 6" in page and "77 × 18" in page and "203 dots an inch" in page


@pytest.mark.parametrize(
    "given",
    [
        {"what": "nonsense"}, {"start": "0"}, {"start": "9" * 30}, {"sheet": "x"}, {"sheet": "own", "wide": "1", "high": "-3"},
        {"what": "codes", "codes": "\x00\ud800".encode("utf-8", "replace").decode()}, {"what": "codes", "codes": "x " * 9000},
        {"what": "case", "case": "hello"}, {"what": "type", "type": "99999999999999999999"}, {"count": "1e9", "what": "blank"},
        {"dpi": "17"}, {"printer": "-1"}, {"what": "type"}, {"what": "case"}, {"what": "counted", "line": "zz"}, {"form": "x"},
    ],
)  # fmt: skip
def test_odd_values_get_a_sentence_never_a_500(as_technician, given):
    make_item()
    assert as_technician.get(reverse("labels"), given).status_code == 200
    assert as_technician.post(reverse("labels-print"), {**given, "token": "not one"}).status_code == 302
    assert as_technician.get(reverse("label-trial"), given).status_code == 200


def test_an_own_roll_is_printed_at_its_own_size(as_technician):
    given = {"what": "blank", "count": "2", "sheet": "own", "wide": "60", "high": "40", "gap": "2"}
    as_technician.post(reverse("labels-print"), given)
    run = LabelRun.objects.get()
    data = b"".join(as_technician.get(reverse("label-run-pdf", args=[run.pk])).streaming_content)
    pdf = pypdfium2.PdfDocument(data)
    assert len(pdf) == 2 and [round(v / 72 * 25.4) for v in pdf[0].get_size()] == [60, 40]


def test_a_printers_trim_is_kept_by_name_and_used(as_technician):
    given = {"name": "Back office", "dpi": "600", "right_mm": "0.7", "down_mm": "-0.2", "scale_percent": "99.5"}
    as_technician.post(reverse("label-trim"), given)
    as_technician.post(reverse("label-trim"), {**given, "right_mm": "0.9"})
    trim = PrinterTrim.objects.get()
    assert float(trim.right_mm) == 0.9
    as_technician.post(reverse("labels-print"), {"what": "blank", "count": "1", "printer": trim.pk})
    given = LabelRun.objects.get().given
    assert (given["right_mm"], given["down_mm"], given["scale_percent"], given["dpi"]) == (0.9, -0.2, 99.5, 600)


def test_a_trim_out_of_range_is_refused_with_a_sentence(as_technician):
    answer = as_technician.post(
        reverse("label-trim"),
        {"name": "x", "dpi": "300", "right_mm": "200", "down_mm": "0", "scale_percent": "100"},
        follow=True,
    )
    assert not PrinterTrim.objects.exists() and "Move right" in answer.content.decode()


def test_ticking_as_stuck_on_takes_things_off_both_lists(as_technician):
    fresh, lost = item_add(type=make_type(), at=NOW), make_item()
    Label.objects.filter(item=lost).update(printed_at=NOW)
    label_gone(item=lost, at=NOW)
    as_technician.post(reverse("label-stuck"), {"only": [fresh.code, lost.code], "what": "gone"})
    assert not without_label().exists() and not label_missing().exists()


def test_a_large_printing_is_a_job_with_its_pdf(as_technician, django_capture_on_commit_callbacks):
    from company.jobs import job_run

    answer = as_technician.post(reverse("labels-print"), {"what": "blank", "count": "210", "sheet": "a4-7x27", "dpi": "600"})
    job = Job.objects.get(kind="labels")
    assert answer.url == job.get_absolute_url() and job.total == 210
    job_run(job.pk)
    job.refresh_from_db()
    assert (job.state, job.done) == ("done", 210), job.said
    with job.result_file.open("rb") as file:
        assert len(pypdfium2.PdfDocument(file.read())) == 2
    job.result_file.delete(save=False)


def test_single_labels_as_png_and_svg(as_technician):
    lead = a_lead()
    png = as_technician.get(reverse("label-png", args=[lead.code]), {"dpi": "203", "sheet": "roll-100x50", "end": "B"})
    assert png["Content-Type"] == "image/png"
    small = as_technician.get(reverse("label-png", args=[lead.code]), {"only": "qr", "dots": "4", "dpi": "203"})
    from PIL import Image

    assert Image.open(io.BytesIO(small.content)).size == (33 * 4, 33 * 4)
    assert b"<svg" in as_technician.get(reverse("label-svg", args=[lead.code])).content
    for path in (f"/labels/{codes.mint()}.png", "/labels/DO.OUT.svg", f"/labels/{lead.code}.png?sheet=zzz"):
        assert as_technician.get(path).status_code == 404


# binding


def test_a_scanned_blank_label_becomes_a_new_thing(as_technician):
    blank = labels_print(wanted=Wanted(blank=1), person=None, at=NOW).codes[0]
    kind = make_type(Kind.LEAD)
    page = as_technician.get(reverse("label-bind"), {"code": f"https://any.example/A/{blank}"}).content.decode()
    assert "not stuck on anything yet" in page
    given = {"code": blank, "way": "new", "type": kind.pk, "length": "2.5", "uid": uuid.uuid4()}
    for _ in range(2):
        as_technician.post(reverse("label-bind"), given)
    item = Item.objects.get()
    assert (item.code, item.length_mm, item.type) == (blank, 2500, kind)


def test_a_scanned_blank_label_takes_one_out_of_a_counted_line(as_technician):
    blank, line = labels_print(wanted=Wanted(blank=1), person=None, at=NOW).codes[0], make_counted_line(24)
    as_technician.post(reverse("label-bind"), {"code": blank, "way": "counted", "line": line.pk, "uid": uuid.uuid4()})
    assert Item.objects.get().code == blank
    assert sum(CountMove.objects.filter(line=line).values_list("delta", flat=True)) == 23


def test_a_scanned_label_is_put_on_something_we_have(as_technician):
    item = make_item(type=make_type(name="Valve preamplifier"))
    blank = labels_print(wanted=Wanted(blank=1), person=None, at=NOW).codes[0]
    page = as_technician.get(reverse("label-bind"), {"code": blank, "like": "valve"}).content.decode()
    assert item.code in page
    as_technician.post(reverse("label-bind"), {"code": blank, "way": "item", "item": item.code})
    assert Label.objects.get(code=blank).item == item


def test_a_label_that_is_bound_says_to_what(as_technician):
    item = make_item()
    page = as_technician.get(reverse("label-bind"), {"code": item.code}).content.decode()
    assert "is bound already" in page and item.label in page
    answer = as_technician.post(reverse("label-bind"), {"code": item.code, "way": "new", "type": item.type.pk})
    assert answer.status_code == 422 and "already the label of" in answer.content.decode()
    assert Item.objects.count() == 1


@pytest.mark.parametrize(
    "given",
    [{}, {"way": "new"}, {"way": "item", "item": "x"}, {"way": "counted"}, {"way": "?"}, {"way": "new", "type": "9" * 30}],
)
def test_saying_nothing_useful_binds_nothing(as_technician, given):
    code = codes.mint()
    assert as_technician.post(reverse("label-bind"), {"code": code, **given}).status_code in {200, 422}
    assert not Label.objects.filter(code=code).exists()


@pytest.mark.parametrize("code", ["nonsense", "DO.OUT", "x" * 5000, "4H2K70B1"])
def test_a_wrong_code_on_the_bind_page_gets_a_sentence(as_technician, code):
    answer = as_technician.get(reverse("label-bind"), {"code": code})
    assert answer.status_code == 200 and 'class="error"' in answer.content.decode()


def test_the_labels_page_asks_the_database_as_often_for_one_thing_as_for_fifty(as_technician):
    kind = make_type(Kind.LEAD)

    def asked():
        with CaptureQueriesContext(connection) as queries:
            assert as_technician.get(reverse("labels")).status_code == 200
        return len(queries)

    items_add(type=kind, count=1, at=NOW, length_mm=5000)
    asked()
    one = asked()
    items_add(type=kind, count=50, at=NOW, length_mm=5000)
    assert asked() == one <= 22
