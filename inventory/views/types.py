"""Gear types and their facts."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from inventory.models import GearType


def types(request: HttpRequest) -> HttpResponse:
    """List the gear types."""
    return render(request, "inventory/types.html", {"section": "Gear", "types": GearType.objects.all()})


def gear_type(request: HttpRequest, pk: int) -> HttpResponse:
    """Draw one gear type."""
    return render(request, "inventory/type.html", {"section": "Gear", "type": get_object_or_404(GearType, pk=pk)})
