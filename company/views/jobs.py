"""Jobs: how far they are, and what came of them."""

from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from company.access import signed_in
from company.calc.roles import Role
from company.clock import now
from company.models import Job

PAGE = 50


@require_safe
def jobs(request: HttpRequest) -> HttpResponse:
    """Show one's own jobs; a technician sees everybody's."""
    rows = Job.objects.select_related("person")
    if not signed_in(request).is_technician:
        rows = rows.filter(person=signed_in(request))
    before = request.GET.get("before", "")
    if before.isascii() and before.isdigit() and len(before) <= 18:
        rows = rows.filter(pk__lt=int(before))
    found = list(rows.order_by("-pk")[: PAGE + 1])
    context = {"jobs": found[:PAGE], "older": found[PAGE - 1].pk if len(found) > PAGE else None}
    return render(request, "company/jobs.html", context)


@never_cache
@require_safe
def job(request: HttpRequest, job_id: int) -> HttpResponse:
    """Show one job; `?part=1` answers the changing part alone, for the script."""
    found = _seen(request, job_id)
    context = {
        "job": found,
        "ended": found.state in {Job.State.DONE, Job.State.FAILED},
        "waits_long": found.state == Job.State.QUEUED and (now() - found.made_at).total_seconds() > 60,
        "may_fetch": _may_fetch(request, found),
    }
    return render(request, "company/_job.html" if "part" in request.GET else "company/job.html", context)


@require_safe
def job_file(request: HttpRequest, job_id: int) -> HttpResponse | FileResponse:
    """Hand over the file a job made, to whoever asked for it or may see everybody's."""
    found = _seen(request, job_id)
    if not _may_fetch(request, found):
        return render(request, "403.html", {"wanted": found.given.get("least_role", Role.TECHNICIAN)}, status=403)
    stored = found.result_file.name if found.result_file else ""
    if not stored or not found.result_file.storage.exists(stored):
        raise Http404("That job has no file, or it was cleared away after 30 days.")
    name = str(found.result.get("file_name") or stored.rpartition("/")[2])
    answer = FileResponse(found.result_file.open("rb"), as_attachment=True, filename=name)
    answer["Cache-Control"] = "private, no-store"
    return answer


def _seen(request: HttpRequest, job_id: int) -> Job:
    found = get_object_or_404(Job.objects.select_related("person"), pk=job_id)
    if found.person_id != signed_in(request).pk and not signed_in(request).is_technician:
        raise Http404("There is no such job of yours.")
    return found


def _may_fetch(request: HttpRequest, job: Job) -> bool:
    return job.person_id == signed_in(request).pk or signed_in(request).is_at_least(
        job.given.get("least_role", Role.TECHNICIAN)
    )
