"""Addresses of what to test next: the queue, wirings, limits, rules, forecasts."""

from django.urls import URLPattern, URLResolver

urlpatterns: list[URLPattern | URLResolver] = []
