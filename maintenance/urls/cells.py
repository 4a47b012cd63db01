"""Addresses of cells: the fleet and its rooms, and what is done at one device."""

from django.urls import URLPattern, URLResolver, path

from maintenance.views import cell_device, cell_doings, cell_rooms, cell_stock, cells

urlpatterns: list[URLPattern | URLResolver] = [
    path("cells/", cells.cells, name="cells"),
    path("cells/scan/", cells.cells_scan, name="cells-scan"),
    path("cells/between/", cells.between, name="cells-between"),
    path("cells/stock/", cell_stock.stock, name="cell-stock"),
    path("cells/stock.csv", cell_stock.stock_csv, name="cell-stock-csv"),
    path("cells/stock/add/", cell_stock.lot_new, name="cell-lot-add"),
    path("cells/stock/<int:pk>/", cell_stock.lot, name="cell-lot"),
    path("cells/stock/<int:pk>/count/", cell_stock.lot_counted, name="cell-lot-count"),
    path("cells/stock/<int:pk>/out/", cell_stock.lot_out, name="cell-lot-out"),
    path("cells/stock/<int:pk>/undo/", cell_stock.lot_undo, name="cell-lot-undo"),
    path("cells/types/", cell_rooms.cell_types, name="cell-types"),
    path("cells/types/add/", cell_rooms.cell_type_edit, name="cell-type-add"),
    path("cells/types/<slug:key>/", cell_rooms.cell_type, name="cell-type"),
    path("cells/types/<slug:key>/edit/", cell_rooms.cell_type_edit, name="cell-type-edit"),
    path("cells/sets/", cell_rooms.cell_sets, name="cell-sets"),
    path("cells/plans/", cell_rooms.plans, name="cell-plans"),
    path("cells/plans/<int:pk>/", cell_rooms.plan_edit, name="cell-plan"),
    path("cells/forecasts/", cell_rooms.forecasts, name="cell-forecasts"),
    path("a/<str:code>/cells/", cell_device.item_cells, name="item-cells"),
    path("a/<str:code>/cells/chart.json", cell_device.item_cells_chart, name="item-cells-chart"),
    path("a/<str:code>/cells/swap/", cell_doings.item_swap, name="item-swap"),
    path("a/<str:code>/cells/read/", cell_doings.item_reading, name="item-reading"),
    path("a/<str:code>/cells/hours/", cell_doings.item_hours, name="item-hours"),
    path("a/<str:code>/cells/out/", cell_doings.item_take_out, name="item-take-out"),
    path("a/<str:code>/cells/day-one/", cell_doings.item_day_one, name="item-day-one"),
    path("a/<str:code>/cells/charge/", cell_doings.item_charge, name="item-charge"),
    path("a/<str:code>/cells/capacity/", cell_rooms.capacity_test, name="cell-set-test"),
    path("a/<str:code>/cells/draw/", cell_device.item_draw, name="item-draw"),
    path("a/<str:code>/cells/take-back/", cell_device.item_take_back, name="item-take-back"),
    path("a/<str:code>/cells/undo/", cell_device.item_cells_undo, name="item-cells-undo"),
]
