"""Every address, app by app."""

from django.urls import include, path

urlpatterns = [
    path("", include("company.urls")),
    path("", include("inventory.urls")),
    path("", include("maintenance.urls")),
    path("", include("shows.urls")),
]
