"""Figures for Prometheus.

Requests are counted by each web process in files of its own under VAR_DIR (the library's several-process way: whichever process
is asked adds them all up). All else is asked of the database at that moment: it is true whoever did the work, and outlives
every process.
"""

import logging
import os
from collections.abc import Iterator
from contextlib import suppress
from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError

from company.registries import FIGURES

log = logging.getLogger(__name__)

FOLDER = Path(settings.VAR_DIR) / "metrics"
if not settings.TESTING:
    # the library chooses when it is imported
    FOLDER.mkdir(parents=True, exist_ok=True)
    os.environ.setdefault("PROMETHEUS_MULTIPROC_DIR", str(FOLDER))

from prometheus_client import REGISTRY, CollectorRegistry, Counter, Histogram, generate_latest  # noqa: E402
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric  # noqa: E402
from prometheus_client.multiprocess import MultiProcessCollector  # noqa: E402

METHODS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS")
REQUESTS = Counter("knowngood_requests", "Requests answered.", ["route", "method", "status"])
SECONDS = Histogram(
    "knowngood_request_seconds",
    "How long a request took.",
    ["route", "method"],
    buckets=(0.01, 0.025, 0.05, 0.1, 0.2, 0.5, 1, 2.5, 5, 10, 30),
)


def request_count(*, route: str, method: str, status: int, took_s: float) -> None:
    """Count one request. A full disk must not spoil the page."""
    method = method if method in METHODS else "other"
    try:
        REQUESTS.labels(route, method, str(status)).inc()
        SECONDS.labels(route, method).observe(took_s)
    except (OSError, ValueError) as error:
        log.warning("A request could not be counted: %s", error)


class OfRecord:
    """What the database says, in the library's shape."""

    def __init__(self, at: datetime) -> None:
        self.at = at

    def collect(self) -> Iterator[Metric]:
        families: dict[str, Metric] = {}
        for name, source in FIGURES.items():
            try:
                figures = list(source(self.at))
            except DatabaseError as error:
                log.warning("The figures of %s could not be read: %s", name, error)
                continue
            for figure in figures:
                labels = sorted(figure.labels)
                kind = CounterMetricFamily if figure.counts else GaugeMetricFamily
                family = families.setdefault(figure.name, kind(f"knowngood_{figure.name}", figure.means, labels=labels))
                family.add_metric([figure.labels[label] for label in labels], figure.value)
        yield from families.values()


def metrics_text(at: datetime) -> bytes:
    """Return all figures in Prometheus's text form."""
    if settings.TESTING:
        requests = generate_latest(REGISTRY)
    else:
        summed = CollectorRegistry()
        MultiProcessCollector(summed, path=os.environ["PROMETHEUS_MULTIPROC_DIR"])
        requests = generate_latest(summed)
    record = CollectorRegistry()
    record.register(OfRecord(at))
    return requests + generate_latest(record)


def dead_files_forget() -> int:
    """Remove the files of web processes that are no more; their counts begin again, as after any restart."""
    gone = 0
    for file in FOLDER.glob("*_*.db"):
        pid = file.stem.rpartition("_")[2]
        if pid.isdigit() and not _lives(int(pid)):
            with suppress(FileNotFoundError):
                file.unlink()
                gone += 1
    return gone


def _lives(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
