"""Addresses of planning a show: its input list, stage, advice, leads, promises, readiness and pack."""

from django.urls import URLPattern, URLResolver

urlpatterns: list[URLPattern | URLResolver] = []
