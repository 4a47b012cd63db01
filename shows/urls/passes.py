"""Addresses of crew passes."""

from django.urls import path

from shows.views import passes

urlpatterns = [
    path("shows/<int:pk>/passes/", passes.passes, name="passes"),
    path("shows/<int:pk>/passes/add/", passes.pass_add, name="pass-add"),
    path("passes/<int:pk>/withdraw/", passes.pass_end, name="pass-end"),
    path("passes/phones/<int:pk>/withdraw/", passes.holder_end, name="holder-end"),
    path("pass/", passes.crew_pass, name="crew-pass"),
    path("pass/stop/", passes.crew_stop, name="crew-stop"),
    path("pass/<str:token>/", passes.pass_open, name="pass-open"),
]
