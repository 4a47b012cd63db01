"""Addresses of an item's record: repairs, sheets, charts, wet calls."""

from django.urls import URLPattern, URLResolver

urlpatterns: list[URLPattern | URLResolver] = []
