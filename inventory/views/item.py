"""The item page."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from company.clock import today
from inventory.models import Item


def item(request: HttpRequest, code: str) -> HttpResponse:
    """Draw one item."""
    found = get_object_or_404(Item.objects.described(today()), code=code)
    return render(request, "inventory/item.html", {"section": "Gear", "item": found})
