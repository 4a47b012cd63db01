"""Addresses of today, shows, venues, rigs and what is missing."""

from django.urls import path

from shows.views import shows, start

urlpatterns = [
    path("", start.start, name="start"),
    path("shows/", shows.shows, name="shows"),
]
