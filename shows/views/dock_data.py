"""What the dock's script asks for: what codes are, everything a device should know by heart, the nearest spare."""

from django.http import HttpRequest, JsonResponse
from django.views.decorators.http import require_GET

from company.clock import now, today
from inventory.calc.codes import Read, parse
from inventory.models import Item
from shows.calc.direction import Way
from shows.dock import choice_of, known_items, near_of, progress_of, run_of
from shows.heart import snapshot_of
from shows.models import Show
from shows.phantom import phantom_of
from shows.spares import spare_for

LOOKUP_CODES = 100


def show_asked(request: HttpRequest) -> Show | None:
    """Return the show named in the query, if there is one."""
    asked = request.GET.get("show", "")
    if not (asked.isascii() and asked.isdigit() and len(asked) < 16):
        return None
    return Show.objects.filter(pk=int(asked)).first()


def _way_asked(request: HttpRequest) -> Way:
    asked = request.GET.get("way", "")
    return Way(asked) if asked in set(Way) else Way.BACK


@require_GET
def dock_lookup(request: HttpRequest) -> JsonResponse:
    """Answer what up to a hundred codes are, and the running count, in a number of queries that depends on neither."""
    at = now()
    day = today(at)
    read = {text: parse(text) for text in request.GET.getlist("code")[:LOOKUP_CODES]}
    known = known_items([p.code for p in read.values() if p.read == Read.CODE], day)
    show = show_asked(request)
    run = run_of(progress_of(show, day), _way_asked(request), show)
    phantom = {code: one.as_json() for code, one in phantom_of(known.values(), show, at).items()}
    items = {text: known[p.code] for text, p in read.items() if p.code in known}
    return JsonResponse(
        {
            "items": {
                text: one.as_json() | ({"phantom": phantom[one.code]} if one.code in phantom else {})
                for text, one in items.items()
            },
            "run": {"done": run.done, "total": run.total, "words": run.words, "still": run.still},
        }
    )


@require_GET
def dock_snapshot(request: HttpRequest) -> JsonResponse:
    """Answer what a device should know by heart to work without signal; constant queries, at most 5,000 items."""
    at = now()
    day = today(at)
    near = near_of(request, at)
    choice = choice_of(request, at, near)
    if choice and choice.show and choice.show not in near:
        near.append(choice.show)
    return JsonResponse(snapshot_of(request, near, at, day))


@require_GET
def dock_spare(request: HttpRequest) -> JsonResponse:
    """Answer the nearest spare for a dead thing, or why there is none."""
    read = parse(request.GET.get("code", ""))
    dead = Item.objects.filter(labels__code=read.code).select_related("type").first() if read.code else None
    if dead is None:
        return JsonResponse({"spare": None, "why": "The record knows no such thing."})
    spare = spare_for(dead, show_asked(request), today())
    if spare is None:
        return JsonResponse({"spare": None, "why": f"No other {dead.type.name} is fit to go, here or in the shop."})
    return JsonResponse(
        {
            "spare": {
                "code": spare.code,
                "name": spare.name,
                "where": spare.where,
                "says": spare.says,
                "standing": spare.standing,
            }
        }
    )
