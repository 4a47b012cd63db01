"""Addresses of who we are."""

from django.urls import path

from company.views import changelog, export, health, jobs, me, people, settings, shop, sign, status

urlpatterns = [
    path("sign-in/", sign.sign_in, name="sign-in"),
    path("sign-out/", sign.sign_out, name="sign-out"),
    path("password/", sign.password, name="password"),
    path("me/", me.me, name="me"),
    path("me/tokens/", me.token_make, name="token-make"),
    path("me/tokens/<int:token_id>/withdraw/", me.token_drop, name="token-drop"),
    path("theme/", me.theme, name="theme"),
    path("shop/", shop.shop, name="shop"),
    path("health/", health.health, name="health"),
    path("ready/", health.ready, name="ready"),
    path("metrics/", health.metrics, name="metrics"),
    path("people/", people.people, name="people"),
    path("people/add/", people.person_new, name="person-add"),
    path("people/<int:person_id>/", people.person, name="person"),
    path("people/<int:person_id>/password/", people.person_password, name="person-password"),
    path("settings/", settings.settings, name="settings"),
    path("settings/country/", settings.country, name="country"),
    path("welcome/", settings.welcome, name="welcome"),
    path("change-log/", changelog.change_log, name="change-log"),
    path("status/", status.status, name="status"),
    path("status/backup/", status.backup, name="backup-now"),
    path("status/backups/<str:name>/", status.backup_file, name="backup-file"),
    path("export/all/", export.export_all, name="export-all"),
    path("export/all/<str:name>/", export.export_all_file, name="export-all-file"),
    path("jobs/", jobs.jobs, name="jobs"),
    path("jobs/<int:job_id>/", jobs.job, name="job"),
    path("jobs/<int:job_id>/file/", jobs.job_file, name="job-file"),
]
