"""Addresses of the bench: sittings, tests, verdicts, command labels."""

from django.urls import URLPattern, URLResolver, path

from maintenance.views import bench, bench_cards, verdicts

urlpatterns: list[URLPattern | URLResolver] = [
    path("bench/sittings/", bench.sittings, name="sittings"),
    path("bench/sittings/<int:pk>/", bench.sitting, name="sitting"),
    path("bench/sittings/<int:pk>/change/", bench.sitting_change, name="sitting-change"),
    path("bench/sittings/<int:pk>/scan/", bench.sitting_scan, name="sitting-scan"),
    path("bench/sittings/<int:pk>/record/", bench.sitting_record, name="sitting-record"),
    path("bench/sittings/<int:pk>/undo/", bench.sitting_undo, name="sitting-undo"),
    path("bench/sittings/<int:pk>/end/", bench.sitting_end, name="sitting-end"),
    path("bench/tests/<uuid:uid>/", verdicts.bench_test, name="bench-test"),
    path("bench/tests/<uuid:uid>/correct/", verdicts.bench_test_correct, name="bench-test-correct"),
    path("bench/tests/<uuid:uid>/undo/", verdicts.bench_test_undo, name="bench-test-undo"),
    path("bench/labels/", bench_cards.bench_cards, name="bench-cards"),
    path("bench/labels.pdf", bench_cards.bench_cards_pdf, name="bench-cards-pdf"),
]
