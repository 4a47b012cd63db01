"""A show's stage: the plan drawn, its places in a table that is saved as one, undo, its size kept for the venue."""

import re
from typing import Any, cast

from django.contrib import messages
from django.core import signing
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_POST, require_safe

from company.access import technician_required
from company.clock import now
from company.models import Person
from company.plain import in_our_words
from inventory.calc.kinds import Kind
from inventory.models import GearType
from shows.calc.lines import LineWay, PlaceSort
from shows.calc.stage_plan import spread
from shows.calc.stage_typed import MM_A_FOOT, figure
from shows.models import InputLine, Show, StagePlace, VenueFeed
from shows.planning.power import power_of
from shows.planning.stage import digest_of, kept_of, stage_of
from shows.services.stage import StaleStageError, feed_pressed, places_moved, stage_put_back, stage_save, stage_to_venue
from shows.stage_form import BOXES, StageForm

SALT = "shows.stage.undo"
UNDO_FOR_S = 24 * 3600
SORT_WORDS = {PlaceSort.SOURCE: "source", PlaceSort.BOX: "stage box or multicore", PlaceSort.MIX: "mix"}


def _show(pk: int) -> Show:
    return get_object_or_404(Show.objects.select_related("venue__house_desk_type"), pk=pk)


def _imperial(request: HttpRequest) -> bool:
    return bool(request.company.units == "imperial")


def stage(request: HttpRequest, pk: int) -> HttpResponse:
    """Draw a show's stage; a POST of a technician saves the whole of it."""
    if request.method == "POST":
        return stage_write(request, pk)
    return _draw(request, _show(pk))


@technician_required
@require_POST
def stage_write(request: HttpRequest, pk: int) -> HttpResponse:
    """Save the stage as typed, or say at each field what is wrong and keep what was typed."""
    show = _show(pk)
    form = StageForm.of_post(request.POST, imperial=_imperial(request))
    if not form.read():
        return _draw(request, show, form=form)
    try:
        places = [place for _number, place in form.wanted]
        before = stage_save(show=show, plan=form.wanted_plan, places=places, seen=request.POST.get("seen", ""))
    except StaleStageError as error:
        form.wrong["__all__"] = error.messages[0]
        return _draw(request, show, form=form, status=409)
    except ValidationError as error:
        form.refused(in_our_words(error).message_dict)
        return _draw(request, show, form=form)
    return _saved(show, before)


def _saved(show: Show, before: dict[str, Any]) -> HttpResponse:
    token = signing.dumps({"show": show.pk, "kept": before}, salt=SALT, compress=True)
    return redirect(f"{reverse('stage', args=[show.pk])}?{urlencode({'saved': token})}")


def _draw(request: HttpRequest, show: Show, *, form: StageForm | None = None, status: int = 422) -> HttpResponse:
    imperial = _imperial(request)
    told = stage_of(show, imperial=imperial)
    shown = form or StageForm.of_stage(told, imperial=imperial)
    venue, token = show.venue, request.GET.get("saved", "")
    feeds = list(VenueFeed.objects.filter(venue=show.venue_id)) if show.venue_id else []
    shown.feeds = {str(feed.pk): feed.name for feed in feeds}
    powered = GearType.objects.filter(kind__in=[Kind.LOUDSPEAKER, Kind.AMPLIFIER])
    context = {
        "section": "Shows",
        "show": show,
        "told": told,
        "nowhere": [str(line) for line in InputLine.objects.filter(show=show, place=None, way=LineWay.IN)],
        "rows": shown.drawn(),
        "plan": shown.plan,
        "wrong": shown.wrong,
        "wrong_all": shown.wrong.get("__all__", ""),
        "plan_wrong": [words for key, words in shown.wrong.items() if key.startswith("plan-")],
        "venue_width": figure(venue.stage_width_mm if venue else None, imperial=imperial),
        "venue_depth": figure(venue.stage_depth_mm if venue else None, imperial=imperial),
        "seen": digest_of(kept_of(show)),
        "sorts": list(SORT_WORDS.items()),
        "feeds": feeds,
        "boxes": GearType.objects.filter(kind__in=BOXES).order_by("name").values_list("name", flat=True),
        "powered": powered.order_by("name").values_list("name", flat=True),
        "desks": GearType.objects.filter(kind=Kind.DESK).order_by("name"),
        "power": power_of(show),
        "unit": "ft" if imperial else "m",
        "unit_mm": MM_A_FOOT if imperial else 1000,
        "undo": token if _undo_of(token, show) else "",
        "unsaved": form is not None,
    }
    return render(request, "shows/stage.html", context, status=200 if form is None else status)


def _undo_of(token: str, show: Show) -> dict[str, Any] | None:
    try:
        held = signing.loads(token, salt=SALT, max_age=UNDO_FOR_S) if token else None
    except signing.BadSignature:
        return None
    return held["kept"] if held and held["show"] == show.pk else None


@technician_required
@require_POST
def stage_undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Put the stage back as it was before a save; that can be undone too."""
    show = _show(pk)
    kept = _undo_of(request.POST.get("undo", ""), show)
    if kept is None:
        messages.error(request, "That save is too long ago to be undone.")
        return redirect("stage", show.pk)
    before = stage_put_back(show=show, kept=kept)
    messages.success(request, "The stage is as it was before.")
    return _saved(show, before)


@technician_required
@require_POST
def stage_spread(request: HttpRequest, pk: int) -> HttpResponse:
    """Give every place without coordinates somewhere to begin."""
    show = _show(pk)
    told, before = stage_of(show), kept_of(show)
    waiting: list[StagePlace] = [one.place for one in told.unplaced]
    mix = show.venue.stage_to_mix_mm if show.venue else None
    spots = spread(told.floor, [place.sort for place in waiting], mix_mm=mix)
    places_moved(show=show, spots={place.pk: spot for place, spot in zip(waiting, spots, strict=True)})
    return _saved(show, before)


@technician_required
@require_POST
def stage_keep(request: HttpRequest, pk: int) -> HttpResponse:
    """Keep the stage's size and its distance to the mix for the venue."""
    show = _show(pk)
    try:
        stage_to_venue(show=show)
        messages.success(request, "Kept for the venue's next show.")
    except ValidationError as error:
        messages.error(request, " ".join(in_our_words(error).messages))
    return redirect("stage", show.pk)


@require_safe
def stage_svg(request: HttpRequest, pk: int) -> HttpResponse:
    """Return the drawing as a file of its own."""
    show = _show(pk)
    told = stage_of(show, imperial=_imperial(request))
    drawing = render_to_string("shows/stage_alone.svg", {"told": told, "show": show})
    named = re.sub(r"[^A-Za-z0-9]+", "-", show.name).strip("-").lower() or "stage"
    headers = {"Content-Disposition": f'attachment; filename="{named}-stage.svg"'}
    return HttpResponse(drawing, content_type="image/svg+xml", headers=headers)


@require_safe
def stage_print(request: HttpRequest, pk: int) -> HttpResponse:
    """Print the plan on one page, with what stands where."""
    show = _show(pk)
    told = stage_of(show, imperial=_imperial(request))
    return render(request, "shows/print_stage.html", {"section": "Shows", "show": show, "told": told, "at": now()})


@require_POST
def feed_press(request: HttpRequest, pk: int, feed: int) -> HttpResponse:
    """Tick that a feed's test button was pressed here and it tripped, or take the tick back."""
    show, found = _show(pk), get_object_or_404(VenueFeed, pk=feed)
    done = request.POST.get("do") != "take-back"
    try:
        feed_pressed(show=show, feed=found, person=cast(Person, request.user), at=now(), done=done)
    except ValidationError as error:
        messages.error(request, " ".join(error.messages))
    back = "readiness" if request.POST.get("next") == "readiness" else "stage"
    return redirect(f"{reverse(back, args=[show.pk])}#power")
