"""Addresses of the bench: sittings, tests, verdicts, command labels."""

from django.urls import URLPattern, URLResolver

urlpatterns: list[URLPattern | URLResolver] = []
