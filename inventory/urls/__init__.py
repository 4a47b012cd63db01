"""Addresses of what we own, one room a module."""

from django.urls import include, path

urlpatterns = [
    path("", include("inventory.urls.gear")),
    path("", include("inventory.urls.shelf")),
    path("", include("inventory.urls.labels")),
    path("", include("inventory.urls.transfer")),
]
