"""Addresses of phones: crew passes, and setting a phone up."""

from django.urls import path

from shows.views import passes, phone

urlpatterns = [
    path("shows/<int:pk>/passes/", passes.passes, name="passes"),
    path("shows/<int:pk>/passes/add/", passes.pass_add, name="pass-add"),
    path("passes/<int:pk>/withdraw/", passes.pass_end, name="pass-end"),
    path("passes/phones/<int:pk>/withdraw/", passes.holder_end, name="holder-end"),
    path("phone/", phone.phone, name="phone"),
    path("phone/root.crt", phone.phone_root, name="phone-root"),
    path("pass/", passes.crew_pass, name="crew-pass"),
    path("pass/stop/", passes.crew_stop, name="crew-stop"),
    path("pass/<str:token>/", passes.pass_open, name="pass-open"),
]
