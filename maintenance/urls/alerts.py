"""Addresses of alerts: the inbox, one alert, the rules."""

from django.urls import URLPattern, URLResolver, path

from maintenance.views import alerts, telling

urlpatterns: list[URLPattern | URLResolver] = [
    path("alerts/", alerts.alerts, name="alerts"),
    path("alerts/rules/", alerts.rules, name="alert-rules"),
    path("alerts/rules/<slug:key>/", alerts.rule, name="alert-rule"),
    path("alerts/deliveries/", telling.deliveries, name="deliveries"),
    path("alerts/deliveries/do/", telling.deliveries_do, name="deliveries-do"),
    path("me/telling/", telling.telling, name="telling"),
    path("me/telling/add/<slug:key>/", telling.address_new, name="address-add"),
    path("me/telling/addresses/<int:pk>/", telling.address_do, name="address-do"),
    path("alerts/<int:pk>/", alerts.alert, name="alert"),
    path("alerts/<int:pk>/do/", alerts.alert_do, name="alert-do"),
]
