"""Figures of scans for whoever watches the program."""

from collections.abc import Iterable
from datetime import datetime

from company.registries import Figure
from shows.models import Scan


def figures(at: datetime) -> Iterable[Figure]:
    """Give the scans stored so far: they are append-only, so the number only rises."""
    yield Figure(name="scans", means="Scans stored.", value=Scan.objects.count(), counts=True)
