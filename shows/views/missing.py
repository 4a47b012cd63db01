"""What is not home, and what a person does about it."""

from typing import cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST

from company.access import technician_required
from company.clock import now, today
from company.models import Person
from company.templatetags.tape import day as day_words
from inventory.models import Item
from inventory.search import EXACT_UP_TO
from shows.missing import missing_at
from shows.models import Checkout
from shows.services.shows import item_not_missing, item_said_at, items_declare_missing

NOTE_MOST = 200


def missing(request: HttpRequest) -> HttpResponse:
    """List everything not home after its home-by, by show."""
    at = now()
    groups = missing_at(at)
    total = sum(group.total for group in groups)
    context = {
        "section": "Shows",
        "groups": groups,
        "total": min(total, EXACT_UP_TO),
        "over": total > EXACT_UP_TO,
        "at": at,
    }
    return render(request, "shows/missing.html", context)


@technician_required
@require_POST
def missing_say(request: HttpRequest, code: str) -> HttpResponse:
    """Declare an item missing, take that back, or write down where somebody says it is."""
    item, at = get_object_or_404(Item.objects.select_related("type"), code=code), now()
    do = request.POST.get("do", "")
    if do == "missing":
        if items_declare_missing(item_ids=[item.pk], at=at):
            messages.success(request, f"{item.label} is declared missing. The next scan of it says it is found.")
        else:
            messages.warning(request, f"{item.label} was declared missing already.")
    elif do == "found":
        out = Checkout.objects.filter(item=item, closed_at=None).exists()
        item_not_missing(item=item)
        rest = " It is still out on the record: scan it back." if out else ""
        messages.success(request, f"{item.label} is not missing any more.{rest}")
    else:
        words = " ".join(request.POST.get("words", "").replace("\x00", "").split())
        if len(words) > NOTE_MOST:
            messages.error(request, f"At most {NOTE_MOST} characters: yours has {len(words)}.")
        elif not words:
            messages.error(request, "Write where it is.")
        else:
            item_said_at(item=item, words=words, person=cast(Person, request.user), day=day_words(today(at)))
            messages.success(request, f"Noted on {item.label}: {words}.")
    back = request.POST.get("next", "")
    if not url_has_allowed_host_and_scheme(back, allowed_hosts=None):
        back = reverse("missing")
    return redirect(back)
