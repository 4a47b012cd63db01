"""The tick of line check: phantom is seen at this box."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
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
    if request.POST.get("do") == "no":
        phantom_unsee(show=show, item=item)
        messages.success(request, f"{item.label}: phantom is not seen there.")
    else:
        phantom_see(show=show, item=item, person=signed_in(request), at=now())
        messages.success(request, f"{item.label}: phantom seen at {show.name}.")
    return redirect(f"{reverse('swap-list', args=[show.pk])}#phantom")
