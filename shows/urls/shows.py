"""Addresses of today, shows, venues, rigs, paper and what is missing."""

from django.urls import path, re_path

from shows.views import missing, phantom, prints, pull, rigs, shows, start, ticksheet, venues

urlpatterns = [
    path("", start.start, name="start"),
    path("needs/", start.needs, name="needs"),
    path("shows/", shows.shows, name="shows"),
    path("shows/add/", shows.show_add, name="show-add"),
    path("shows/<int:pk>/", shows.show, name="show"),
    path("shows/<int:pk>/edit/", shows.show_edit, name="show-edit"),
    path("shows/<int:pk>/cancel/", shows.show_cancel_it, name="show-cancel"),
    path("shows/<int:pk>/close/", shows.show_close_it, name="show-close"),
    path("shows/<int:pk>/reopen/", shows.show_reopen, name="show-reopen"),
    path("shows/<int:pk>/delete/", shows.show_delete_it, name="show-delete"),
    path("shows/<int:pk>/pull/", pull.pull, name="pull"),
    path("shows/<int:pk>/pull/add/", pull.pull_add, name="pull-add"),
    path("shows/<int:pk>/pull/put-back/", pull.pull_put_back, name="pull-put-back"),
    path("shows/<int:pk>/pull/rig/", pull.pull_rig, name="pull-rig"),
    path("shows/<int:pk>/pull/goes-with/", pull.pull_goes_with, name="pull-goes-with"),
    path("shows/<int:pk>/pull/<int:row_pk>/", pull.pull_row, name="pull-row"),
    path("shows/<int:pk>/phantom/<str:code>/", phantom.phantom_seen, name="phantom-seen"),
    path("shows/<int:pk>/print/", prints.pull_print, name="pull-print"),
    path("shows/<int:pk>/load-out/", prints.load_out_print, name="load-out-print"),
    re_path(r"^shows/(?P<pk>[0-9]{1,15})/ticked/(?P<way>out|truck|back)/$", ticksheet.ticksheet, name="ticksheet"),
    path("missing/", missing.missing, name="missing"),
    path("missing/print/", prints.missing_print, name="missing-print"),
    path("missing/<str:code>/", missing.missing_say, name="missing-say"),
    path("venues/", venues.venues, name="venues"),
    path("venues/add/", venues.venue_edit, name="venue-add"),
    path("venues/<int:pk>/", venues.venue, name="venue"),
    path("venues/<int:pk>/edit/", venues.venue_edit, name="venue-edit"),
    path("venues/<int:pk>/remark/", venues.venue_remark_add, name="venue-remark"),
    path("venues/<int:pk>/delete/", venues.venue_delete, name="venue-delete"),
    path("rigs/", rigs.rigs, name="rigs"),
    path("rigs/add/", rigs.rig_add, name="rig-add"),
    path("rigs/<int:pk>/", rigs.rig, name="rig"),
    path("rigs/<int:pk>/change/", rigs.rig_change, name="rig-change"),
]
