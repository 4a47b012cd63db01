"""Addresses of calendars."""

from django.urls import path

from shows.views import calendars

urlpatterns = [
    path("calendar/<str:secret>.ics", calendars.feed, name="calendar-feed"),
    path("me/calendar/", calendars.page, name="calendar"),
    path("me/calendar/make/", calendars.make, name="calendar-make"),
    path("me/calendar/withdraw/", calendars.withdraw, name="calendar-withdraw"),
    path("me/calendar/mail/", calendars.mail, name="calendar-mail"),
    path("me/calendar/file/", calendars.file, name="calendar-file"),
]
