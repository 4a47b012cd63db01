"""Addresses of alerts: the inbox, one alert, the rules."""

from django.urls import URLPattern, URLResolver, path

from maintenance.views import alerts

urlpatterns: list[URLPattern | URLResolver] = [
    path("alerts/", alerts.alerts, name="alerts"),
    path("alerts/rules/", alerts.rules, name="alert-rules"),
    path("alerts/rules/<slug:key>/", alerts.rule, name="alert-rule"),
    path("alerts/<int:pk>/", alerts.alert, name="alert"),
    path("alerts/<int:pk>/do/", alerts.alert_do, name="alert-do"),
]
