"""Lists going out, and coming back unchanged."""

import io

import openpyxl
import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from company.jobs import job_run
from company.models import Job
from inventory.calc import codes
from inventory.models import Item
from inventory.views import transfer
from tests.builders import make_case, make_counted_line, make_item, make_place, make_type
from tests.inventory.test_import import apply, bring, look, media  # noqa: F401


def taken(client, what="gear", form="csv", query=""):
    answer = client.get(reverse("export-file", args=[what, form]) + query)
    assert answer.status_code == 200
    return b"".join(answer.streaming_content)


def a_little_of_everything():
    kind = make_type(name="=SUM(A1)")
    make_item(type=kind, name="-1", serial="'=x", maker="@home", notes="+1\r\n'quoted'\r\n ", length_mm=10_058, price_cents=5)
    make_item(
        type=kind, name="\tA", serial="''-", notes="_x000D_ \x0b #N/A", in_case=make_case(), home=make_place(name="Regal  ö")
    )
    make_item(kind="lead", length_mm=500, bought_on="2024-03-04", borrowed_from="Über", give_back_by="2027-01-01")
    make_item(kind="lead", length_mm=500, retired_on="2024-03-04", retired_because="worn")
    make_counted_line(length_mm=12_345, notes="-"), make_counted_line(owned=0)


@pytest.mark.parametrize("what", ["gear", "counted"])
@pytest.mark.parametrize("form", ["csv", "xlsx"])
@pytest.mark.parametrize("units", ["metric", "imperial"])
def test_export_comes_in_unchanged(as_owner, company, what, form, units):
    company.units = units
    company.save()
    a_little_of_everything()
    first = taken(as_owner, what, "csv")
    token = bring(as_owner, taken(as_owner, what, form), what=what, empties_clear="on")
    preview = look(as_owner, token)
    assert preview.counts["unchanged"] == preview.total > 1, (preview.bad, preview.changed)
    apply(as_owner, token)
    assert taken(as_owner, what, "csv") == first


def test_exported_gear_comes_into_an_empty_shop_the_same(as_owner):
    make_item(type=make_type("stand", name="=Stand"), name="'=A", notes="-x\n'", price_cents=1999, length_mm=1500)
    raw = taken(as_owner)
    from inventory.models import Label

    Label.objects.all().delete(), Item.objects.all().delete()
    apply(as_owner, bring(as_owner, raw))
    assert taken(as_owner) == raw


@pytest.mark.django_db
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    notes=st.text(st.sampled_from("'=+-@\t\r\n\"_x05FD;, aé#"), max_size=12)
    | st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0\ufffd"), max_size=40)
)
def test_any_notes_go_out_and_come_in_unchanged(as_owner, notes):
    item = Item.objects.first() or make_item()
    Item.objects.update(notes=notes)
    for form in ("csv", "xlsx"):
        raw = taken(as_owner, form=form)
        preview = look(as_owner, bring(as_owner, raw, empties_clear="on"))
        assert preview.counts == {"new": 0, "changed": 0, "unchanged": 1, "bad": 0}, (preview.bad, preview.changed)
    item.refresh_from_db()
    assert item.notes == notes


def test_no_cell_of_an_export_is_a_formula(as_owner):
    a_little_of_everything()
    sheet = openpyxl.load_workbook(io.BytesIO(taken(as_owner, form="xlsx"))).active
    cells = [cell for row in sheet.iter_rows() for cell in row]
    assert all(cell.data_type not in ("f", "e") for cell in cells)
    assert not any(str(cell.value)[:1] in "=+-@\t\r" for cell in cells if cell.data_type == "s" and cell.value)


def test_prices_leave_with_owners_only(as_owner, as_technician):
    make_item(price_cents=12_345)
    assert b"123.45" in taken(as_owner) and b"Price" in taken(as_owner)
    for form in ("csv", "xlsx"):
        assert b"123.45" not in taken(as_technician, form=form)
    assert b"Price" not in taken(as_technician)
    assert b"Price" not in as_technician.get(reverse("export")).content.replace(b"Prices", b"")


def test_export_keeps_to_the_gear_lists_filters(as_owner):
    lead, box = make_item(kind="lead"), make_item()
    raw = taken(as_owner, query="?kind=lead")
    assert codes.spell(lead.code).encode() in raw and codes.spell(box.code).encode() not in raw
    page = as_owner.get(reverse("export") + "?kind=lead").content.decode()
    assert "1 item, as the gear list was filtered" in page and "gear.csv?kind=lead" in page


def test_export_page_counts_each_list(as_owner):
    make_item(), make_counted_line()
    page = as_owner.get(reverse("export")).content.decode()
    assert "1 item." in page and "1 counted line." in page and "0 shows." in page


def test_export_costs_the_same_queries_for_one_row_and_for_fifty(as_owner):
    def queries():
        with CaptureQueriesContext(connection) as seen:
            taken(as_owner)
        return len(seen)

    make_item(home=make_place())
    one = queries()
    for _ in range(49):
        make_item(home=make_place())
    assert queries() == one


def test_long_workbook_is_written_by_a_job(as_owner, monkeypatch):
    monkeypatch.setattr(transfer, "_AT_ONCE", 1)
    make_item(), make_item()
    answer = as_owner.get(reverse("export-file", args=["gear", "xlsx"]))
    job = Job.objects.get()
    assert answer.url == job.get_absolute_url()
    if job.state == Job.State.QUEUED:
        job_run(job.pk)
    job.refresh_from_db()
    assert job.state == Job.State.DONE, job.said
    with job.result_file.open("rb") as file:
        assert openpyxl.load_workbook(file).active.max_row == 3


@pytest.mark.parametrize("what", ["gear", "counted", "shows"])
@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_example_can_be_brought_as_it_is(as_owner, what, form):
    raw = b"".join(as_owner.get(reverse("import-example", args=[what, form])).streaming_content)
    preview = look(as_owner, bring(as_owner, raw, what=what))
    assert preview.counts["bad"] == 0 and preview.counts["new"] >= 2, preview.bad


def test_codes_leave_as_they_are_printed(as_owner):
    item = make_item()
    assert codes.spell(item.code).encode() in taken(as_owner)
