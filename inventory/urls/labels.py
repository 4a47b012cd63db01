"""Addresses of labels: choose, print, print again, bind, and single pictures."""

from django.urls import path, re_path

from inventory.views import label_bind, labels

urlpatterns = [
    path("labels/", labels.labels, name="labels"),
    path("labels/print/", labels.labels_print_view, name="labels-print"),
    path("labels/bind/", label_bind.label_bind_view, name="label-bind"),
    path("labels/stuck/", labels.label_stuck, name="label-stuck"),
    path("labels/trim/", labels.label_trim, name="label-trim"),
    path("labels/test-page.pdf", labels.label_trial, name="label-trial"),
    path("labels/runs/<int:pk>/", labels.label_run, name="label-run"),
    path("labels/runs/<int:pk>/labels.pdf", labels.label_run_pdf, name="label-run-pdf"),
    path("labels/runs/<int:pk>/again/", labels.label_run_again, name="label-run-again"),
    re_path(r"^labels/(?P<code>[^/]{1,40})\.png$", labels.label_picture, {"kind": "png"}, name="label-png"),
    re_path(r"^labels/(?P<code>[^/]{1,40})\.svg$", labels.label_picture, {"kind": "svg"}, name="label-svg"),
]
