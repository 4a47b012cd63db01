"""Addresses of what to test next: the queue, wirings, limits, rules, forecasts."""

from django.urls import URLPattern, URLResolver, path

from maintenance.views import bench_settings

urlpatterns: list[URLPattern | URLResolver] = [
    path("bench/instruments/", bench_settings.instruments, name="bench-instruments"),
    path("bench/limits/", bench_settings.limits, name="bench-limits"),
]
