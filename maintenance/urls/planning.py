"""Addresses of what to test next: the queue, wirings, limits, rules, forecasts."""

from django.urls import URLPattern, URLResolver, path

from maintenance.views import bench_settings, forecasts, planning, rules, wirings

urlpatterns: list[URLPattern | URLResolver] = [
    path("bench/", planning.bench, name="bench"),
    path("bench/paper/", planning.bench_paper, name="bench-paper"),
    path("bench/start/", planning.bench_start, name="bench-start"),
    path("bench/instruments/", bench_settings.instruments, name="bench-instruments"),
    path("bench/limits/", bench_settings.limits, name="bench-limits"),
    path("bench/forecasts/", forecasts.forecasts, name="forecasts"),
    path("bench/rules/", rules.rules, name="retest-rules"),
    path("bench/rules/<int:pk>/", rules.rule, name="retest-rule"),
    path("bench/rules/<int:pk>/forget/", rules.rule_forget_it, name="retest-rule-forget"),
    path("bench/wirings/", wirings.wirings, name="wirings"),
    path("bench/wirings/add/", wirings.wiring_add_page, name="wiring-add"),
    path("bench/wirings/<slug:key>/", wirings.wiring, name="wiring"),
    path("bench/wirings/<slug:key>/edit/", wirings.wiring_edit_page, name="wiring-edit"),
    path("bench/wirings/<slug:key>/delete/", wirings.wiring_delete_it, name="wiring-delete"),
]
