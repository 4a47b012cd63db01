"""One thing's own scan page, for the phone's camera app: Out, On the truck, Back, each one tap."""

import uuid
from collections.abc import Iterable
from datetime import datetime

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode

from company.clock import now, today
from inventory.calc.codes import Read, parse
from inventory.models import Item
from inventory.registries import ItemAction
from shows.calc.direction import Way, guess
from shows.crew import show_of
from shows.dock import choice_made, choice_of, known_items, near_of, page_device, times_of
from shows.models import Show
from shows.phantom import phantom_of
from shows.services.dock import scan_shaped, scans_sent
from shows.views.dock import remember, uid_of, who


def item_scan(request: HttpRequest, code: str) -> HttpResponse:
    """Ask which way this thing goes, the likeliest first; a POST makes the scan and shows what it was told."""
    read = parse(code)
    known = known_items([read.code], today()).get(read.code) if read.read == Read.CODE else None
    if known is None:
        raise Http404("The record knows no such thing.")
    at = now()
    near = near_of(request, at)
    choice = choice_of(request, at, near) or choice_made(_likeliest(near, known.show, at), request.GET.get("way", ""), at)
    if request.method == "POST":
        way = request.POST.get("way", "")
        asked = request.POST.get("show", "")
        show = None
        if show_of(request) is not None:
            show = show_of(request) if way != Way.BACK else None
        elif asked.isascii() and asked.isdigit() and len(asked) < 16:
            show = Show.objects.live().filter(pk=int(asked)).first()
        if way not in set(Way) or (show is None and way != Way.BACK):
            return redirect("item-scan", known.code)
        scan = scan_shaped(
            code=read.code, action=way, show=show.pk if show else None, at=at, uid=uid_of(request, f"{way} {asked}")
        )
        scans_sent(actor=who(request), device=page_device(request), scans=[scan], at=at)
        response = redirect(f"{reverse('dock')}?{urlencode({'hit': scan['id']})}")
        return remember(response, show=str(show.pk) if show else None, way=way)
    with_show = next((show for show in near if show.pk == known.show), choice.show if choice else None)
    phantom = phantom_of([known], with_show, at).get(known.code)
    context = {"section": "Dock", "known": known, "choice": choice, "near": near, "uid": uuid.uuid4(), "phantom": phantom}
    return render(request, "shows/dock_item.html", context)


def _likeliest(near: list[Show], with_show: int | None, at: datetime) -> Show | None:
    """Return the show a thing is with, or the nearest that is still loading for what is in the shop; None without any."""
    if with_show:
        return next((show for show in near if show.pk == with_show), None) or Show.objects.filter(pk=with_show).first()
    loading = (show for show in near if guess(times_of(show), at).way == Way.OUT)
    return next(loading, near[0] if near else None)


def actions_of(request: HttpRequest, item: Item) -> Iterable[ItemAction]:
    """Offer the scan of a thing from its own page, named for what would happen now. No query a row: one for near shows."""
    if item.retired_on or item.gone_home_on:
        return
    at = now()
    near = near_of(request, at)
    url = reverse("item-scan", args=[item.code])
    if item.custody:
        word = "back"
        if item.custody == "show":
            yield ItemAction(name="Scan it onto the truck", url=f"{url}?way=truck")
        yield ItemAction(name="Scan it back", url=f"{url}?{urlencode({'way': word})}")
    elif near:
        choice = choice_of(request, at, near)
        show = choice.show if choice and choice.show else _likeliest(near, None, at)
        if show is not None and item.suspect_since:
            note = f"scan it out to {show.name}: the dock says stop"
            yield ItemAction(name="It goes anyway", url=f"{url}?way=out", note=note, quiet=True)
        elif show is not None:
            yield ItemAction(name=f"Scan it out to {show.name}", url=f"{url}?way=out")
