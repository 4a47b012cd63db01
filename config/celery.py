"""The worker's and the clock's side of the program. Settings starting with CELERY_ in config/settings.py."""

import logging.config
import os
from typing import Any

from celery import Celery
from celery.signals import beat_init, before_task_publish, setup_logging, task_postrun, task_prerun, worker_init
from kombu.transport import TRANSPORT_ALIASES

from company import logs

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
TRANSPORT_ALIASES["folder"] = "config.broker:Transport"

app = Celery("knowngood")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()

_HELD = "held_by_knowngood"


@setup_logging.connect
def _log_as_everybody(**_: object) -> None:
    from django.conf import settings

    logging.config.dictConfig(settings.LOGGING)


@worker_init.connect
@beat_init.connect
def _hold_folder(**_: object) -> None:
    """Keep a restore away while this runs."""
    from company.in_use import hold

    hold()


@worker_init.connect
def _take_folder(**_: object) -> None:
    """Before the worker's first message: be the only worker of the folder, and put back what a killed one had in hand."""
    from django.conf import settings

    if settings.CELERY_BROKER_URL.startswith("folder:"):
        from config.broker import Folder

        try:
            Folder(settings.BROKER_DIR).take()
        except OSError as error:
            raise SystemExit(f"The worker cannot start: {error}") from None


@before_task_publish.connect
def _carry_id(headers: dict[str, Any] | None = None, **_: object) -> None:
    """Let the worker's log name the request that asked for the work."""
    if headers is not None and (request_id := logs.REQUEST_ID.get()):
        headers["request_id"] = request_id


@task_prerun.connect
def _task_begins(task_id: str, task: Any, **_: object) -> None:
    if task.request.is_eager:
        return
    from company.pulses import WORKER_PULSE, Busy

    carried = logs.id_taken(str(getattr(task.request, "request_id", "") or ""))
    tokens = logs.REQUEST_ID.set(carried or task_id), logs.TASK.set(task.name)
    WORKER_PULSE.write()
    busy = Busy()
    busy.start()
    setattr(task.request, _HELD, (busy, tokens))


@task_postrun.connect
def _task_ends(task: Any, **_: object) -> None:
    held = getattr(task.request, _HELD, None)
    if held is None:
        return
    busy, (request_id, name) = held
    busy.stop()
    logs.REQUEST_ID.reset(request_id)
    logs.TASK.reset(name)
