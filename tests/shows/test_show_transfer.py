"""Shows as a list, in and out."""

import pytest
from django.urls import reverse

from company.models import Job
from inventory.models import CountMove
from shows.models import Show, Venue
from tests.builders import NOW, make_counted_line, make_pull_row, make_show, make_venue
from tests.inventory.test_import import apply, bring, look, media  # noqa: F401

LIST = """Event,Customer,Venue,Load in,Start,End,Notes
Harvest ceilidh,Folk Club,Tithe Barn,2026-10-03 14:00,2026-10-03 18:00,2026-10-03 22:00,=loud
Brass concert,,School hall,9.10.2026 15:00,9/10/2026 7:00 pm,2026-10-09 21:00,
"""


def test_shows_come_in_with_usual_times_and_new_venues(as_technician):
    job = apply(as_technician, bring(as_technician, LIST, what="shows"))
    assert job.state == Job.State.DONE, job.said
    show = Show.objects.get(name="Harvest ceilidh")
    assert show.load_in.isoformat() == "2026-10-03T13:00:00+00:00" and show.venue.name == "Tithe Barn"
    assert show.line_check < show.start and show.strike > show.end and show.hold_from.isoformat() == "2026-10-03"
    assert Show.objects.get(name="Brass concert").start.isoformat() == "2026-10-09T18:00:00+00:00"


def test_same_shows_twice_are_the_same_shows(as_technician):
    apply(as_technician, bring(as_technician, LIST, what="shows"))
    assert look(as_technician, bring(as_technician, LIST, what="shows")).counts["unchanged"] == 2
    assert Show.objects.count() == 2 and Venue.objects.count() == 2


def test_show_number_changes_that_show_but_never_another(as_technician):
    show = make_show(name="Old name")
    day = show.load_in.date().isoformat()
    apply(as_technician, bring(as_technician, f"Show number,Show\n{show.pk},New name\n", what="shows"))
    show.refresh_from_db()
    assert show.name == "New name"
    head = "Show number,Show,Load-in,Start,End\n"
    other = bring(as_technician, f"{head}{show.pk},Else,2027-01-01 10:00,2027-01-01 12:00,2027-01-01 13:00\n", what="shows")
    assert "on another day" in look(as_technician, other).bad[0].why
    gone = bring(as_technician, f"{head}999,X,{day} 10:00,{day} 12:00,{day} 13:00\n", what="shows")
    assert "no show 999" in look(as_technician, gone).bad[0].why


@pytest.mark.parametrize(
    ("load_in", "says"),
    [
        ("2027-03-28 01:30", "does not exist"),
        ("2026-10-25 01:30", "comes twice"),
        ("0001-01-01 10:00", "year 1"),
        ("9999-12-31 23:59", "year 9999"),
        ("2026-10-04 10:00", "comes before"),
        ("tomorrow", "no day and time"),
    ],
)
def test_odd_show_times_get_a_sentence(as_technician, load_in, says):
    text = f"Show,Load-in,Start,End\nX,{load_in},2026-10-03 18:00,2026-10-03 22:00\n"
    assert says in look(as_technician, bring(as_technician, text, what="shows")).bad[0].why


def test_exported_shows_come_in_unchanged_even_where_the_clock_goes_back(as_technician):
    from datetime import UTC, datetime, timedelta

    make_show(
        load_in=datetime(2026, 10, 25, 0, 30, tzinfo=UTC), hours=4, venue=make_venue(name=" Tithe  Barn"), notes="=a\r\n'-b "
    )
    make_show(load_in=datetime(2026, 10, 25, 0, 0, 7, tzinfo=UTC) + timedelta(days=200), name="-minus")
    for form in ("csv", "xlsx"):
        raw = b"".join(as_technician.get(reverse("export-file", args=["shows", form])).streaming_content)
        preview = look(as_technician, bring(as_technician, raw, what="shows"))
        assert preview.counts == {"new": 0, "changed": 0, "unchanged": 2, "bad": 0}, (preview.bad, preview.changed)


def test_shows_brought_by_mistake_go_back_unless_something_hangs_on_them(as_technician):
    job = apply(as_technician, bring(as_technician, LIST, what="shows"))
    make_pull_row(Show.objects.get(name="Brass concert"))
    as_technician.post(reverse("import-undo", args=[job.pk]))
    assert list(Show.objects.values_list("name", flat=True)) == ["Brass concert"]


def test_show_that_counted_things_went_to_stays(as_technician):
    job = apply(as_technician, bring(as_technician, LIST, what="shows"))
    show = Show.objects.get(name="Brass concert")
    CountMove.objects.create(
        uid="00000000-0000-4000-8000-000000000009", line=make_counted_line(), show=show.pk, delta=-1, why="out", happened_at=NOW
    )
    as_technician.post(reverse("import-undo", args=[job.pk]))
    assert Show.objects.get() == show
