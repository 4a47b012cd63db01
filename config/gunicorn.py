"""The web server's settings, for `manage.py start` and for systemd alike: gunicorn -c python:config.gunicorn config.wsgi."""

import os
from typing import Any

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

from django.conf import settings


def _place(host: str) -> str:
    host = host.strip("[]")
    return f"[{host}]:{settings.PORT}" if ":" in host else f"{host}:{settings.PORT}"


# under systemd the socket is handed over, and gunicorn listens on that one instead
bind = [_place(settings.HOST)]
if settings.LAN_ADDRESS and not settings.TLS_CERT:
    bind.append(_place("127.0.0.1"))  # the laptop itself goes on as before
worker_class = "gthread"
workers = settings.WEB_WORKERS
threads = 8
timeout = 60
graceful_timeout = 30
keepalive = 5
loglevel = "warning"
control_socket_disable = True
logconfig_dict = settings.LOGGING | {
    "loggers": {
        **settings.LOGGING["loggers"],
        "gunicorn.error": {"handlers": [], "level": "WARNING", "propagate": True},
        "gunicorn.access": {"handlers": [], "propagate": False},  # the program writes its own line a request
    }
}
if settings.TLS_CERT:
    certfile, keyfile = settings.TLS_CERT, settings.TLS_KEY


def on_starting(server: Any) -> None:
    """Before the first worker: forget what web processes of an earlier start have counted."""
    from company.metrics import dead_files_forget

    dead_files_forget()
