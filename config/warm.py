"""What a web worker loads before anybody waits for it: the addresses and the computing that the first verdict needs."""

import logging
import threading
from importlib import import_module

log = logging.getLogger(__name__)

# imported late by what uses them, so that a command or a job that reckons nothing is spared them
LATE = ("numpy", "scipy.special", "maintenance.calc.wiring", "maintenance.calc.procedures", "maintenance.services.retest")


def warm() -> None:
    """Load the addresses, then what is computed with; what cannot be loaded is told when it is used."""
    from django.urls import get_resolver

    try:
        _ = get_resolver().url_patterns
        for name in LATE:
            import_module(name)
    except Exception:
        log.exception("What the first request needs could not be loaded ahead of it.")


def warm_aside() -> threading.Thread:
    """Warm up beside the first requests, which need not wait for it."""
    thread = threading.Thread(target=warm, name="warm", daemon=True)
    thread.start()
    return thread
