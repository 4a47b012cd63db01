"""The worker's and the clock's side of the program. Settings starting with CELERY_ in config/settings.py."""

import os

from celery import Celery
from celery.signals import worker_init
from kombu.transport import TRANSPORT_ALIASES

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
TRANSPORT_ALIASES["folder"] = "config.broker:Transport"

app = Celery("knowngood")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@worker_init.connect
def _take_folder(**_: object) -> None:
    """Before the worker's first message: be the only worker of the folder, and put back what a killed one had in hand."""
    from django.conf import settings

    if settings.CELERY_BROKER_URL.startswith("folder:"):
        from config.broker import Folder

        Folder(settings.BROKER_DIR).take()
