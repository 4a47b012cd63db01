"""Every address, app by app."""

from django.urls import include, path

from config.api import api

urlpatterns = [
    path("", include("company.urls")),
    path("", include("inventory.urls")),
    path("", include("maintenance.urls")),
    path("", include("shows.urls")),
    path("api/", api.urls),
]
