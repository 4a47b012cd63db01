"""Addresses of is-it-good."""

from django.urls import path

from maintenance.views import faults as views

urlpatterns = [
    path("a/<str:code>/bad/", views.fault_report, name="fault-report"),
    path("a/<str:code>/good/", views.taken_as_good, name="taken-as-good"),
    path("faults/<int:pk>/close/", views.fault_close_page, name="fault-close"),
    path("faults/<int:pk>/take-back/", views.fault_take_back, name="fault-take-back"),
]
