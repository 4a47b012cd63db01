"""Addresses of where gear goes, one room a module."""

from django.urls import include, path

urlpatterns = [
    path("", include("shows.urls.shows")),
    path("", include("shows.urls.plan")),
    path("", include("shows.urls.dock")),
    path("", include("shows.urls.custody")),
    path("", include("shows.urls.passes")),
    path("", include("shows.urls.calendars")),
]
