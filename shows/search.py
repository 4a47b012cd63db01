"""What the search box finds among shows and venues."""

from collections.abc import Iterable

from django.db.models import Q
from django.http import HttpRequest

from company.registries import Found
from company.templatetags.tape import day
from shows.calc.words import ShowState
from shows.models import Show, Venue


def shows_found(request: HttpRequest, word: str, limit: int) -> Iterable[Found]:
    """Answer shows by name, client or venue, newest first."""
    word = word.replace("\x00", "").strip()
    if len(word) < 2:
        return
    found = Show.objects.select_related("venue").filter(
        Q(name__icontains=word) | Q(client__icontains=word) | Q(venue__name__icontains=word)
    )
    for show in found.order_by("-load_in")[:limit]:
        at = f", {show.venue.name}" if show.venue else ""
        state = "" if show.state == ShowState.PLANNED else f", {show.state}"
        yield Found(
            name=show.name,
            url=show.get_absolute_url(),
            note=f"{day(show.load_in)}{at}{state}",
            kind="Shows",
            rank=1.0 if show.name.lower().startswith(word.lower()) else 0.5,
        )


def venues_found(request: HttpRequest, word: str, limit: int) -> Iterable[Found]:
    """Answer venues by name or town."""
    word = word.replace("\x00", "").strip()
    if len(word) < 2:
        return
    for venue in Venue.objects.filter(Q(name__icontains=word) | Q(town__icontains=word)).order_by("name")[:limit]:
        yield Found(name=venue.name, url=venue.get_absolute_url(), note=venue.town, kind="Venues", rank=0.4)
