"""For every task of the worker the command that does the same by hand, so that a shop is never without for want of a broker."""

TWINS = {
    "company.tasks.backup_due": "backup",
    "company.tasks.job_wake": "run_jobs",
    "company.tasks.tick": "run_jobs",
    "company.tasks.tidy": "tidy",
    "inventory.tasks.thumbnails_due": "make_thumbnails",
    "maintenance.tasks.alerts_due": "alerts_run",
    "maintenance.tasks.cells_due": "reckon_cells",
    "maintenance.tasks.dates_due": "reckon_retests",
    "maintenance.tasks.deliveries_due": "deliveries",
    "shows.tasks.calendars_due": "mail_calendars",
}
