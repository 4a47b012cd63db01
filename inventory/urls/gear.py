"""Addresses of gear types, items, the item page and the search."""

from django.urls import path

from inventory.views import find, gear, item, item_do, media, types

urlpatterns = [
    path("find/", find.find, name="find"),
    path("gear/", gear.gear, name="gear"),
    path("gear/add/", item_do.gear_add, name="gear-add"),
    path("gear/chosen/", gear.gear_chosen, name="gear-chosen"),
    path("types/", types.types, name="gear-types"),
    path("types/add/", types.type_add_page, name="gear-type-add"),
    path("types/<int:pk>/", types.gear_type, name="gear-type"),
    path("types/<int:pk>/edit/", types.type_edit_page, name="gear-type-edit"),
    path("types/<int:pk>/goes-with/", types.goes_with_change, name="gear-type-goes-with"),
    path("types/<int:pk>/delete/", types.type_delete_it, name="gear-type-delete"),
    path("a/<str:code>", item.item, name="item"),
    path("a/<str:code>/", item.item, name="item-with-slash"),
    path("A/<str:code>", item.item, name="item-in-capitals"),  # as a printed label spells it
    path("a/<str:code>/edit/", item_do.item_edit_page, name="item-edit"),
    path("a/<str:code>/copy/", item_do.item_copy_page, name="item-copy"),
    path("a/<str:code>/retire/", item_do.item_retire_page, name="item-retire"),
    path("a/<str:code>/lend/", item_do.item_lend_page, name="item-lend"),
    path("a/<str:code>/delete/", item_do.item_delete_it, name="item-delete"),
    path("a/<str:code>/photo/", media.item_photo, name="item-photo"),
    path("a/<str:code>/photo/take/", media.item_photo_take, name="item-photo-take"),
]
