"""Addresses of what scans and record disagree about."""

from django.urls import path

from shows.views import custody

urlpatterns = [
    path("contradictions/", custody.contradictions, name="contradictions"),
    path("contradictions/<int:pk>/", custody.contradiction, name="contradiction"),
]
