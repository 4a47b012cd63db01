"""Addresses of an item's record: its tests, charts, sheets, repairs, wet calls."""

from django.urls import URLPattern, URLResolver, path

from maintenance.views import record, repairs, sheets, wet

urlpatterns: list[URLPattern | URLResolver] = [
    path("a/<str:code>/tests/", record.item_tests, name="item-tests"),
    path("a/<str:code>/tests/chart.json", record.item_chart, name="item-chart"),
    path("a/<str:code>/tests.csv", record.item_tests_csv, name="item-tests-csv"),
    path("a/<str:code>/sheet.pdf", sheets.item_sheet, name="item-sheet"),
    path("bench/sheets/show/<int:show>.pdf", sheets.show_sheet, name="show-sheet"),
    path("bench/sheets/sitting/<int:pk>.pdf", sheets.sitting_sheet, name="sitting-sheet"),
    path("bench/sheets/day/<str:day>.pdf", sheets.day_sheet, name="day-sheet"),
    path("a/<str:code>/repair/", repairs.repair_add, name="repair-add"),
    path("bench/repairs/", repairs.repairs, name="repairs"),
    path("bench/repairs.csv", repairs.repairs_csv, name="repairs-csv"),
    path("bench/repairs/<uuid:uid>/take-back/", repairs.repair_undo, name="repair-take-back"),
    path("a/<str:code>/wet/", wet.item_wet, name="item-wet"),
    path("bench/wet/show/<int:show>/", wet.show_wet, name="show-wet"),
    path("bench/wet/take-back/", wet.wet_take_back, name="wet-take-back"),
]
