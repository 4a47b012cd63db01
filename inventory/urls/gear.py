"""Addresses of gear types, items, the item page and the search."""

from django.urls import path

from inventory.views import find, gear, item, types

urlpatterns = [
    path("find/", find.find, name="find"),
    path("gear/", gear.gear, name="gear"),
    path("types/", types.types, name="gear-types"),
    path("types/<int:pk>/", types.gear_type, name="gear-type"),
    path("a/<str:code>", item.item, name="item"),
]
