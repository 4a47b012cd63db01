"""Writes to venues beyond one row's own fields."""

from django.db import transaction

from company.models import Person
from shows.models import Venue


@transaction.atomic
def venue_remark(*, venue: Venue, words: str, person: Person, day: str) -> None:
    """Put a dated remark at the head of what is known of a venue; the oldest fall off the end when it is full."""
    held = Venue.objects.select_for_update().get(pk=venue.pk)
    held.remarks = f"{day}, {person}: {words}\n{held.remarks}"[:4000].rstrip()
    held.save(update_fields=["remarks"])
