"""Lists coming in and going out: choose, match, look, bring in, take back; and export."""

import io
import tempfile
from typing import IO, Any, cast

from django.contrib import messages
from django.core.files.base import File
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, QueryDict, StreamingHttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from company.access import technician_required
from company.clock import now
from company.exports import exports_listed
from company.jobs import job_progress, job_result, job_start
from company.models import Company, Job, Person
from inventory.registries import IMPORTS
from inventory.transfer.base import Transfer
from inventory.transfer.matching import matching_guess
from inventory.transfer.reading import MOST_BYTES, UnreadableError, list_open
from inventory.transfer.running import (
    KIND_CHOICES,
    bad_rows_csv,
    import_known,
    import_start,
    import_take_back,
    lack_of,
    preview_make,
    transfer_of,
)
from inventory.transfer.uploads import Upload, upload_keep, upload_of
from inventory.transfer.writing import csv_lines, xlsx_write

CSV_TYPE = "text/csv; charset=utf-8"
XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_AT_ONCE = 5_000  # a workbook of more rows is a job: its file cannot be sent before it is whole


@technician_required
@require_http_methods(["GET", "HEAD", "POST"])
def import_list(request: HttpRequest) -> HttpResponse:
    """Choose what to bring, and the file or the pasted rows."""
    asked = request.POST.get("what") or request.GET.get("what") or "gear"
    transfer = transfer_of(asked) or IMPORTS["gear"]()
    error = ""
    if request.method == "POST":
        try:
            upload = _upload(request, transfer)
        except UnreadableError as refused:
            error = str(refused)
        else:
            return redirect("import-match", upload.token)
    context = {
        "section": "Gear",
        "transfers": [make() for make in IMPORTS],
        "transfer": transfer,
        "columns": [c for c in transfer.columns if c.key in transfer.columns_in(_person(request))],
        "error": error,
        "most_mb": MOST_BYTES // 1024 // 1024,
    }
    return render(request, "inventory/import.html", context, status=400 if error else 200)


def _upload(request: HttpRequest, transfer: Transfer) -> Upload:
    """Keep what was brought once its headings can be read; raise UnreadableError with a sentence."""
    sent, pasted = request.FILES.get("file"), request.POST.get("pasted", "")
    file: IO[bytes]
    if sent is not None:
        file, name = sent, (sent.name or "list").replace("\0", "")
        size = sent.size or 0
        if size > MOST_BYTES:
            raise UnreadableError(
                f"That file has {size // 1024 // 1024} MB; {MOST_BYTES // 1024 // 1024} MB is the most. Bring it in parts."
            )
    elif pasted.strip():
        file, name = io.BytesIO(pasted.encode("utf-8", "replace")), "pasted rows"
    else:
        raise UnreadableError("Choose a file, or paste rows from a spreadsheet.")
    opened = list_open(file)
    first = next(opened.rows(), None)
    if first is None:
        raise UnreadableError("That list has headings but no rows.")
    file.seek(0)
    upload = upload_keep(file=file, name=name, what=transfer.key, person=_person(request), at=now())
    upload.headers, upload.said = opened.headers, opened.said
    upload.matching = matching_guess(transfer, opened.headers, _person(request))
    upload.keep()
    return upload


@technician_required
@require_safe
def import_example(request: HttpRequest, what: str, form: str) -> Any:
    """Hand over a small list with every heading and a row or two."""
    transfer = _transfer(what)
    allowed = transfer.columns_in(_person(request))
    columns = [c for c in transfer.columns if c.key in allowed]
    return _file(columns, transfer.examples, form, f"example-{what}", transfer.title)


@technician_required
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def import_match(request: HttpRequest, token: str) -> HttpResponse:
    """Say which column of the list is which of ours."""
    upload = _own(request, token)
    if upload is None:
        return _gone(request, token)
    transfer = IMPORTS[upload.what]()
    allowed = transfer.columns_in(_person(request))
    error = ""
    if request.method == "POST":
        upload.matching = {
            place: key for place in range(len(upload.headers)) if (key := request.POST.get(f"column-{place}", "")) in allowed
        }
        upload.empties_clear = "empties_clear" in request.POST
        upload.alike_are_new = "alike_are_new" in request.POST
        keys = list(upload.matching.values())
        twice = [allowed[key].title for key in allowed if keys.count(key) > 1]
        error = (
            f"Two columns are matched to {' and two to '.join(twice)}: leave one of them out."
            if twice
            else lack_of(transfer, upload.matching)
        )
        upload.keep()
        if not error:
            return redirect("import-preview", token)
    with upload.path.open("rb") as file:
        samples = [cells for _row, (_line, cells) in zip(range(3), list_open(file).rows(), strict=False)]
    rows = [
        {
            "place": place,
            "heading": heading or f"column {place + 1}, no heading",
            "values": [cells[place][:60] for cells in samples if place < len(cells) and cells[place].strip()],
            "key": upload.matching.get(place, ""),
        }
        for place, heading in enumerate(upload.headers)
    ]
    context = {
        "section": "Gear",
        "upload": upload,
        "transfer": transfer,
        "rows": rows,
        "columns": allowed.values(),
        "error": error,
    }
    return render(request, "inventory/import_match.html", context, status=400 if error else 200)


@technician_required
@never_cache
@require_safe
def import_preview(request: HttpRequest, token: str) -> HttpResponse:
    """Show what the list would do; nothing is written."""
    upload = _own(request, token)
    if upload is None:
        return _gone(request, token)
    transfer = IMPORTS[upload.what]()
    preview = preview_make(upload, person=_person(request), at=now())
    titles = {"type_id": "Gear type", "home_id": "Kept at", "price_cents": "Price", "length_mm": "Length", "venue_id": "Venue"}
    titles |= {c.key: c.title for c in transfer.columns}
    for row in preview.changed:
        row.said = ", ".join(dict.fromkeys(titles.get(name, name) for name in row.before))  # type: ignore[attr-defined]
    context = {
        "section": "Gear",
        "upload": upload,
        "transfer": transfer,
        "preview": preview,
        "kinds": KIND_CHOICES,
        "types": [f for f in preview.fresh if f.what == "gear type"],
        "others": [f for f in preview.fresh if f.what != "gear type"],
    }
    return render(request, "inventory/import_preview.html", context)


@technician_required
@never_cache
@require_safe
def import_bad(request: HttpRequest, token: str) -> Any:
    """Hand over the bad rows with their reasons."""
    upload = _own(request, token)
    if upload is None:
        return _gone(request, token)
    return _attached(
        StreamingHttpResponse(bad_rows_csv(upload, person=_person(request), at=now()), content_type=CSV_TYPE), "bad-rows.csv"
    )


@technician_required
@require_POST
def import_apply(request: HttpRequest, token: str) -> HttpResponse:
    """Bring the list in, once however often this is sent."""
    upload = _own(request, token)
    if upload is None:
        return _gone(request, token)
    transfer = IMPORTS[upload.what]()
    if lack_of(transfer, upload.matching):
        return redirect("import-match", token)
    known = dict(KIND_CHOICES)
    for key, name in request.POST.items():
        if key.startswith("type-") and (kind := str(request.POST.get(f"kind-{key[5:]}", ""))) in known:
            upload.kinds[str(name)] = str(kind)
    upload.keep()
    job = import_start(upload, person=_person(request), at=now())
    return redirect("import-result", job.pk)


@technician_required
@never_cache
@require_safe
def import_result(request: HttpRequest, job_id: int) -> HttpResponse:
    """Show how far an import is, and what came of it."""
    job = get_object_or_404(Job.objects.select_related("person"), pk=job_id, kind="import")
    transfer = transfer_of(job.given.get("what", ""))
    if transfer is None:
        raise Http404("There is no such list.")
    context = {
        "section": "Gear",
        "job": job,
        "transfer": transfer,
        "counts": job.result.get("counts", {}),
        "ended": job.state in (Job.State.DONE, Job.State.FAILED),
    }
    return render(request, "inventory/import_result.html", context)


@technician_required
@require_POST
def import_undo(request: HttpRequest, job_id: int) -> HttpResponse:
    """Take back what an import has added and nobody has used."""
    job = get_object_or_404(Job.objects.select_related("person"), pk=job_id, kind="import")
    transfer = transfer_of(job.given.get("what", ""))
    if transfer is None or not transfer.can_take_back or job.state != Job.State.DONE:
        messages.error(request, "That cannot be taken back.")
    elif "undone" not in job.result:
        try:
            taken, kept = import_take_back(job, person=_person(request))
        except (UnreadableError, OSError):
            messages.error(request, "The list is no longer kept, so nothing was taken back.")
        else:
            messages.success(request, f"Taken back: {taken}. Kept, because changed or used since: {kept}.")
    return redirect("import-result", job_id)


@technician_required
@require_safe
def export(request: HttpRequest) -> HttpResponse:
    """Choose what to take out, and as which file."""
    at = now()
    transfers = [
        {"transfer": transfer, "count": transfer.count_out(request.GET, at), "columns": transfer.columns_out(_person(request))}
        for transfer in (make() for make in IMPORTS)
    ]
    context = {"section": "Gear", "transfers": transfers, "filtered": bool(request.GET)}
    context["exports"] = exports_listed() if _person(request).is_owner else []
    return render(request, "inventory/export.html", context)


@technician_required
@require_safe
def export_file(request: HttpRequest, what: str, form: str) -> Any:
    """Hand over a list: CSV as it is read, a workbook whole; a long workbook becomes a job."""
    transfer, at = _transfer(what), now()
    if form == "xlsx" and transfer.count_out(request.GET, at) > _AT_ONCE:
        given = {"what": what, "query": request.GET.urlencode(), "least_role": _person(request).role}
        job = job_start(
            kind="export", title=f"Export {transfer.many} as a workbook", given=given, person=_person(request), at=at
        )
        return redirect(job)
    rows = transfer.rows_out(request.GET, _person(request), Company.current(), at)
    day = at.astimezone(Company.current().zone).date().isoformat()
    return _file(transfer.columns_out(_person(request)), rows, form, f"{what}-{day}", transfer.title)


def export_run(job: Job) -> None:
    """Write a long workbook in a worker."""
    transfer = transfer_of(job.given["what"])
    if transfer is None or job.person is None:
        return
    query, at = QueryDict(job.given["query"]), job.made_at
    total = transfer.count_out(query, at)
    job_progress(job=job, done=0, total=total, said=f"Writing {total} rows.")
    with tempfile.TemporaryFile() as file:
        rows = transfer.rows_out(query, job.person, Company.current(), at)
        done = xlsx_write(transfer.columns_out(job.person), rows, title=transfer.title, target=file)
        file.seek(0)
        name = f"{transfer.key}-{at:%Y-%m-%d}.xlsx"
        job_result(job=job, result={"rows": done, "file_name": name}, file_name=name, file=File(file))
    job_progress(job=job, done=done, total=done, said=f"{done} rows written.")


def _file(columns: list, rows: object, form: str, name: str, title: str) -> HttpResponse | StreamingHttpResponse | FileResponse:
    if form == "csv":
        return _attached(StreamingHttpResponse(csv_lines(columns, rows), content_type=CSV_TYPE), f"{name}.csv")  # type: ignore[arg-type]
    if form == "xlsx":
        file = tempfile.SpooledTemporaryFile(max_size=2 * 1024 * 1024)  # noqa: SIM115 (the response closes it)
        xlsx_write(columns, rows, title=title, target=file)  # type: ignore[arg-type]
        file.seek(0)
        return _attached(FileResponse(file, content_type=XLSX_TYPE), f"{name}.xlsx")
    raise Http404("A list goes out as csv or xlsx.")


def _attached(answer: StreamingHttpResponse, name: str) -> StreamingHttpResponse:
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    answer["Cache-Control"] = "private, no-store"
    return answer


def _person(request: HttpRequest) -> Person:
    return cast(Person, request.user)  # role_required lets nobody else in


def _transfer(what: str) -> Transfer:
    transfer = transfer_of(what)
    if transfer is None:
        raise Http404("There is no such list.")
    return transfer


def _own(request: HttpRequest, token: str) -> Upload | None:
    return upload_of(token, _person(request))


def _gone(request: HttpRequest, token: str) -> HttpResponse:
    """An upload that is no longer there has been brought in already, or was forgotten."""
    job = import_known(token)
    if job is not None:
        return redirect("import-result", job.pk)
    messages.warning(request, "That list is no longer kept: lists wait for two days. Bring it again.")
    return redirect("import")
