"""Phantom seen at a box at line check, and not seen after all."""

from datetime import datetime

from company.models import Person
from inventory.models import Item
from shows.models import PhantomSeen, Show


def phantom_see(*, show: Show, item: Item, person: Person | None, at: datetime) -> bool:
    """Note that phantom reaches a box at a show; False when somebody noted it already."""
    return PhantomSeen.objects.get_or_create(show=show, item=item, defaults={"seen_at": at, "person": person})[1]


def phantom_unsee(*, show: Show, item: Item) -> bool:
    """Take that back; False when there was nothing to take back."""
    return bool(PhantomSeen.objects.filter(show=show, item=item).delete()[0])
