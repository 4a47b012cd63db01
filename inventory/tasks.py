"""What the worker does for inventory. Every message is a wake-up: the work is found in the database."""

from celery import shared_task

from inventory.services.photos import thumbnails_make


@shared_task
def thumbnails_due() -> None:
    """Make the small pictures that are missing, a batch at a time."""
    thumbnails_make(most=100)
