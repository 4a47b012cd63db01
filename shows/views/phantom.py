"""The tick of line check: phantom is seen at this box. From the swap list, and from the dock."""

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_POST

from company.access import signed_in
from company.clock import now
from inventory.calc.codes import parse
from inventory.models import Item
from shows.models import Show
from shows.services.phantom import phantom_see, phantom_unsee


@require_POST
def phantom_seen(request: HttpRequest, pk: int, code: str) -> HttpResponse:
    """Tick that phantom reaches a box, or take the tick back (`do` = no)."""
    show = get_object_or_404(Show, pk=pk)
    item = get_object_or_404(Item.objects.select_related("type"), code=parse(code).code or code[:8])
    seen = request.POST.get("do") != "no"
    if seen:
        phantom_see(show=show, item=item, person=signed_in(request), at=now())
        said = f"{item.label}: phantom seen at {show.name}."
    else:
        phantom_unsee(show=show, item=item)
        said = f"{item.label}: phantom is not seen there."
    if "application/json" in request.headers.get("Accept", ""):
        return JsonResponse({"said": said, "seen": seen})
    messages.success(request, said)
    return redirect(_where(request, show, item))


def _where(request: HttpRequest, show: Show, item: Item) -> str:
    """Return the page the tick was made on: the dock with its last scan, the thing's own page there, else the swap list."""
    came = request.POST.get("from")
    if came == "item":
        return reverse("item-scan", args=[item.code])
    if came == "dock":
        try:
            return f"{reverse('dock')}?{urlencode({'hit': str(uuid.UUID(request.POST.get('hit', '')))})}"
        except ValueError:
            return reverse("dock")
    return f"{reverse('swap-list', args=[show.pk])}#phantom"
