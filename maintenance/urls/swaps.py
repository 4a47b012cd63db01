"""Addresses of swap lists."""

from django.urls import URLPattern, URLResolver, path

from maintenance.views import swaps

urlpatterns: list[URLPattern | URLResolver] = [
    path("cells/back/", swaps.cells_back, name="cells-back"),
    path("cells/swaps/<int:show>/", swaps.swap_list, name="swap-list"),
    path("cells/swaps/<int:show>/scan/", swaps.swap_scan, name="swap-scan"),
    path("cells/swaps/<int:show>/do/", swaps.swap_do, name="swap-do"),
    path("cells/swaps/<int:show>/keep/", swaps.swap_freeze, name="swap-freeze"),
    path("cells/swaps/<int:show>/print/", swaps.swap_print, name="swap-print"),
]
