"""Addresses of planning a show: its input list, stage, advice, leads, promises, readiness and pack."""

from django.urls import path

from shows.views import advice, line_files, lines, lists, pack, ready, stage, venue_feeds

urlpatterns = [
    path("shows/<int:pk>/lines/", lines.lines, name="lines"),
    path("shows/<int:pk>/lines/paste/", lines.lines_paste, name="lines-paste"),
    path("shows/<int:pk>/lines/copy/", lines.lines_copy, name="lines-copy"),
    path("shows/<int:pk>/lines/undo/", lines.lines_back, name="lines-undo"),
    path("shows/<int:pk>/lines/keep/", lines.lines_keep, name="lines-keep"),
    path("shows/<int:pk>/lines/upload/", line_files.lines_upload, name="lines-upload"),
    path("shows/<int:pk>/lines/lines.csv", line_files.lines_csv, name="lines-csv"),
    path("shows/<int:pk>/lines/print/", line_files.lines_print, name="lines-print"),
    path("shows/<int:pk>/advice/", advice.advice, name="advice"),
    path("shows/<int:pk>/advice/<int:line_pk>/", advice.advice_line, name="advice-line"),
    path("shows/<int:pk>/stage/", stage.stage, name="stage"),
    path("shows/<int:pk>/stage/undo/", stage.stage_undo, name="stage-undo"),
    path("shows/<int:pk>/stage/spread/", stage.stage_spread, name="stage-spread"),
    path("shows/<int:pk>/stage/keep/", stage.stage_keep, name="stage-keep"),
    path("shows/<int:pk>/stage/print/", stage.stage_print, name="stage-print"),
    path("shows/<int:pk>/stage.svg", stage.stage_svg, name="stage-svg"),
    path("shows/<int:pk>/feeds/<int:feed>/pressed/", stage.feed_press, name="feed-pressed"),
    path("venues/<int:pk>/feeds/", venue_feeds.venue_feed, name="venue-feeds"),
    path("venues/<int:pk>/feeds/<int:feed>/", venue_feeds.venue_feed, name="venue-feed"),
    path("lists/", lists.lists, name="lists"),
    path("lists/<int:pk>/", lists.list_change, name="list-change"),
    path("sources/", lists.sources, name="sources"),
    path("sources/add/", lists.source_edit, name="source-add"),
    path("sources/<int:pk>/", lists.source_edit, name="source-edit"),
    path("shows/<int:pk>/make-pull/", ready.make_pull, name="make-pull"),
    path("shows/<int:pk>/make-pull/extra/", ready.extra, name="pull-extra"),
    path("shows/<int:pk>/ready/", ready.readiness, name="readiness"),
    path("shows/<int:pk>/pack/", pack.pack, name="pack"),
    path("shows/<int:pk>/pack.pdf", pack.pack_print, name="pack-pdf"),
]
