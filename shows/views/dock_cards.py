"""The sheet of printed cards: commands, a card a show and way, and the shelf cards of counted lines."""

from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from company.clock import now
from inventory.models import CountedLine, Item
from shows.calc.cards import COMMAND_CARDS, Card, counted_card, matrix_of, path_of, show_card
from shows.calc.direction import Way
from shows.models import Show

SHOWS_ON_SHEET = 12
LINES_ON_SHEET = 200


def _drawn(card: Card) -> dict[str, object]:
    matrix = matrix_of(card.text)
    return {"card": card, "side": len(matrix), "path": path_of(matrix)}


@require_GET
def dock_cards(request: HttpRequest) -> HttpResponse:
    """Draw the cards: commands, coming shows, BACK for those not all home; `?show=` one show; `?lines=yes` counted lines."""
    at = now()
    asked = request.GET.get("show", "")
    out = Item.objects.filter(custody_show__isnull=False).order_by().values("custody_show").distinct()
    shows = Show.objects.live().filter(Q(home_by__gte=at) | Q(pk__in=out)).select_related("venue")
    if asked.isascii() and asked.isdigit() and len(asked) < 16:
        shows = Show.objects.filter(pk=int(asked)).select_related("venue")
    groups = []
    if request.GET.get("lines"):
        lines = CountedLine.objects.select_related("type")[:LINES_ON_SHEET]
        drawn = [_drawn(counted_card(line=line.pk, name=line.label)) | {"anchor": f"line-{line.pk}"} for line in lines]
        groups.append(("Counted lines", drawn))
    else:
        if not asked:
            groups.append(("Commands", [_drawn(card) for card in COMMAND_CARDS]))
        coming, left = [s for s in shows if s.home_by >= at], [s for s in shows if s.home_by < at]
        for show in [*coming[:SHOWS_ON_SHEET], *left[-SHOWS_ON_SHEET:]]:
            ways = list(Way) if show.home_by >= at or asked else [Way.BACK]
            groups.append((show.name, [_drawn(show_card(show=show.pk, name=show.name, way=way)) for way in ways]))
    return render(request, "shows/dock_cards.html", {"section": "Dock", "groups": groups, "lines": request.GET.get("lines")})
