"""Addresses of the dock."""

from django.urls import path

from shows.views import dock, dock_cards, dock_data, dock_item, dock_say, dock_truck, offline, take_in

urlpatterns = [
    path("dock-worker.js", offline.worker, name="dock-worker"),
    path("no-signal/", offline.no_signal, name="no-signal"),
    path("dock/take-in/", take_in.take_in, name="take-in"),
    path("dock/hello", offline.hello, name="dock-hello"),
    path("dock/", dock.dock, name="dock"),
    path("dock/show/", dock.dock_show, name="dock-show"),
    path("dock/turn/", dock.dock_turn, name="dock-turn"),
    path("dock/undo/", dock.dock_undo, name="dock-undo"),
    path("dock/count/", dock.dock_count, name="dock-count"),
    path("dock/inside/", dock.dock_inside, name="dock-inside"),
    path("dock/say/<str:code>/", dock_say.dock_say, name="dock-say"),
    path("dock/bag/", dock_say.dock_bag, name="dock-bag"),
    path("dock/swap/<str:code>/", dock_say.dock_swap, name="dock-swap"),
    path("dock/channel/", dock_say.dock_channel, name="dock-channel"),
    path("dock/stray/", dock_say.dock_stray, name="dock-stray"),
    path("dock/lookup", dock_data.dock_lookup, name="dock-lookup"),
    path("dock/snapshot.json", dock_data.dock_snapshot, name="dock-snapshot"),
    path("dock/spare", dock_data.dock_spare, name="dock-spare"),
    path("dock/cards/", dock_cards.dock_cards, name="dock-cards"),
    path("shows/<int:pk>/truck/", dock_truck.truck_check, name="truck-check"),
    path("shows/<int:pk>/straight-on/", dock_truck.straight_on, name="straight-on"),
    path("a/<str:code>/scan", dock_item.item_scan, name="item-scan"),
]
