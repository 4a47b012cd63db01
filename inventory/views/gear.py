"""The gear list."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from company.clock import today
from inventory.models import Item


def gear(request: HttpRequest) -> HttpResponse:
    """List what we own."""
    return render(request, "inventory/gear.html", {"section": "Gear", "items": Item.objects.described(today())[:50]})
