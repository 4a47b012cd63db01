"""Addresses of is-it-good, one room a module."""

from django.urls import include, path

urlpatterns = [
    path("", include("maintenance.urls.faults")),
    path("", include("maintenance.urls.bench")),
    path("", include("maintenance.urls.planning")),
    path("", include("maintenance.urls.record")),
    path("", include("maintenance.urls.swaps")),
    path("", include("maintenance.urls.cells")),
    path("", include("maintenance.urls.alerts")),
]
