"""Bench sheets to fetch as PDF: of one item, one show, one sitting, one day; a long one is made by a job."""

import uuid
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

from django.core.files.base import ContentFile
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_safe

from company.access import signed_in
from company.calc.roles import Role
from company.clock import now
from company.jobs import job_progress, job_result, job_start
from company.models import Company, Job
from inventory.registries import show_names
from maintenance.calc.bench import Procedure, Verdict
from maintenance.models import BenchTest, Sitting
from maintenance.pdf.sheet import sheet_pdf
from maintenance.sheets import SheetOf, sheet_of_day, sheet_of_item, sheet_of_show, sheet_of_sitting, show_items
from maintenance.views.keys import possible_show
from maintenance.views.record import item_or_404

MOST_IN_A_REQUEST = 24  # tests; more take longer than a page may (measured: 25 to 35 ms each on a busy laptop)
IN_FULL = frozenset({"item", "day"})  # a show and a sitting are a line a thing, in full when that is asked for
MOST_LINES = 300  # of the table alone
JOB_KIND, SAME_JOB = "bench-sheet", timedelta(minutes=1)
EARLIEST = date(1950, 1, 1)


@require_safe
def item_sheet(request: HttpRequest, code: str) -> HttpResponse:
    """Hand over the sheet of an item: of the test asked for, else of its newest that counts."""
    item, test, asked = item_or_404(code), None, request.GET.get("test", "")
    if asked:
        try:
            uid = uuid.UUID(asked)
        except ValueError:
            raise Http404("There is no such test.") from None
        test = get_object_or_404(BenchTest.objects.exclude(procedure=Procedure.UNDO), uid=uid, item=item)
    return _answer(request, sheet_of_item(item, at=now(), test=test), {"of": "item"})


@require_safe
def show_sheet(request: HttpRequest, show: int) -> HttpResponse:
    """Hand over the sheet of a show: everything on it with its last test."""
    possible_show(show)
    name, url = show_names([show]).get(show, ("", ""))
    if not url:
        raise Http404("There is no such show.")
    return _answer(request, sheet_of_show(show, name, at=now(), items=show_items(show)), {"of": "show", "show": show})


@require_safe
def sitting_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """Hand over the sheet of one sitting."""
    sitting = get_object_or_404(Sitting.objects.select_related("person"), pk=pk)
    return _answer(request, sheet_of_sitting(sitting, at=now()), {"of": "sitting", "sitting": pk})


@require_safe
def day_sheet(request: HttpRequest, day: str) -> HttpResponse:
    """Hand over the sheet of one day at the bench."""
    wanted = _day(day)
    return _answer(request, sheet_of_day(wanted, at=now()), {"of": "day", "day": wanted.isoformat()})


def _day(text: str) -> date:
    try:
        wanted = date.fromisoformat(text)
    except ValueError:
        raise Http404("Write the day as 2026-09-25.") from None
    if not EARLIEST <= wanted <= date(9000, 1, 1):
        raise Http404("Nothing was tested on that day.")
    return wanted


def _answer(request: HttpRequest, sheet: SheetOf, given: dict[str, Any]) -> HttpResponse:
    asked = request.GET.get("full") == "1"
    sheet = replace(sheet, full=asked or given["of"] in IN_FULL)
    if _details(sheet) > MOST_IN_A_REQUEST or len(sheet.entries) > MOST_LINES:
        given = given | {"full": True} if asked else given
        given, person = {**given, "least_role": Role.HAND.value}, signed_in(request)
        # asked again while it is made, or reloaded: the same job
        lately = Job.objects.filter(kind=JOB_KIND, given=given, person=person, made_at__gt=sheet.at - SAME_JOB)
        job = lately.exclude(state=Job.State.FAILED).first() or job_start(
            kind=JOB_KIND,
            title=f"Bench sheet: {sheet.under}"[:160],
            given=given,
            person=person,
            at=sheet.at,
            total=len(sheet.entries),
        )
        return redirect(job.get_absolute_url())
    answer = HttpResponse(sheet_pdf(sheet, company=request.company), content_type="application/pdf")
    answer["Content-Disposition"] = f'inline; filename="{sheet.file_name}"'
    answer["Cache-Control"] = "private, no-store"
    return answer


def _details(sheet: SheetOf) -> int:
    """Return how many tests are laid out with all their details: what takes the time."""
    return sum(one.told is not None and (sheet.full or one.told.verdict != Verdict.PASS) for one in sheet.entries)


def run_job(job: Job) -> None:
    """Make a long sheet, saying how far it is."""
    at, given = now(), job.given
    if given["of"] == "show":
        show = int(given["show"])
        sheet = sheet_of_show(show, show_names([show])[show][0], at=at, items=show_items(show))
    elif given["of"] == "sitting":
        sheet = sheet_of_sitting(Sitting.objects.select_related("person").get(pk=given["sitting"]), at=at)
    else:
        sheet = sheet_of_day(date.fromisoformat(given["day"]), at=at)
    sheet = replace(sheet, full=bool(given.get("full")) or given["of"] in IN_FULL)
    total = len(sheet.entries)
    data = sheet_pdf(
        sheet,
        company=Company.current(),
        said=lambda done: job_progress(job=job, done=done, total=total, said=f"{done} of {total} set."),
    )
    job_result(job=job, result={"file_name": sheet.file_name}, file_name=sheet.file_name, file=ContentFile(data))
