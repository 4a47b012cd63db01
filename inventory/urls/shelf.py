"""Addresses of counted lines, cases, strays, places and the shopping list."""

from django.urls import path

from inventory.views import cases, counted, places, shopping, strays

urlpatterns = [
    path("shelf/", counted.counted_list, name="counted"),
    path("shelf/add/", counted.counted_add, name="counted-add"),
    path("shelf/<int:pk>/", counted.counted_line, name="counted-line"),
    path("shelf/<int:pk>/out/", counted.counted_out, name="counted-out"),
    path("shelf/<int:pk>/back/", counted.counted_back, name="counted-back"),
    path("shelf/<int:pk>/lost/", counted.counted_lost, name="counted-lost"),
    path("shelf/<int:pk>/change/", counted.counted_change, name="counted-change"),
    path("shelf/<int:pk>/recount/", counted.counted_recount, name="counted-recount"),
    path("shelf/<int:pk>/edit/", counted.counted_edit, name="counted-edit"),
    path("shelf/<int:pk>/label/", counted.counted_label, name="counted-label"),
    path("shelf/<int:pk>/undo/<uuid:uid>/", counted.counted_undo, name="counted-undo"),
    path("cases/", cases.cases, name="cases"),
    path("cases/pack/", cases.packing, name="packing"),
    path("cases/<str:code>/", cases.case, name="case"),
    path("cases/<str:code>/plan/", cases.case_plan, name="case-plan"),
    path("cases/<str:code>/pack/", cases.case_pack, name="case-pack"),
    path("cases/<str:code>/take-out/", cases.case_take_out, name="case-take-out"),
    path("cases/<str:code>/close/", cases.case_close, name="case-close"),
    path("cases/<str:code>/sheet/", cases.case_sheet, name="case-sheet"),
    path("strays/", strays.strays, name="strays"),
    path("strays/add/", strays.stray_add, name="stray-add"),
    path("strays/<int:pk>/settle/", strays.stray_settled, name="stray-settle"),
    path("places/", places.places, name="places"),
    path("places/<int:pk>/", places.place_edit, name="place"),
    path("a/<str:code>/place/", places.item_place, name="item-place"),
    path("shopping/", shopping.shopping, name="shopping"),
]
