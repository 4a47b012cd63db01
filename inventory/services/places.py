"""Places: where gear stays in the shop, in the order a person walks, and what is away at the bench or a repairer."""

from collections.abc import Sequence

from django.db import transaction

from inventory.models import Item, Place

STEP = 10  # between two ranks, so that one place can be put between two others by hand


class PlaceRefused(ValueError):  # noqa: N818 (a word of the house)
    """A place that is still in use, or that gear cannot be sent to."""


def places_rank(*, keys: Sequence[int]) -> None:
    """Set the order a person walks the places in; places not named follow, in the order they had."""
    with transaction.atomic():
        places = {place.pk: place for place in Place.objects.select_for_update(no_key=True)}
        first = [key for key in dict.fromkeys(keys) if key in places]
        order = [*first, *(key for key in places if key not in first)]
        for n, key in enumerate(order, start=1):
            places[key].rank = n * STEP
        Place.objects.bulk_update(places.values(), ["rank"])


def place_move(*, place: Place, by: int) -> None:
    """Walk a place one earlier (-1) or later (+1)."""
    with transaction.atomic():
        keys = list(Place.objects.select_for_update(no_key=True).values_list("pk", flat=True))
        here = keys.index(place.pk)
        there = min(max(here + by, 0), len(keys) - 1)
        keys.insert(there, keys.pop(here))
        places_rank(keys=keys)


def place_remove(*, place: Place) -> None:
    """Take a place off the walk; refused while anything has its home there or lies there."""
    with transaction.atomic():
        homed = place.homed_items.owned().count() + place.counted_lines.count()
        there = place.items_there.owned().count()
        if homed or there:
            raise PlaceRefused(f"{place} is still used: {homed} have their home there and {there} lie there now.")
        place.delete()


def item_send(*, item: Item, place: Place) -> None:
    """Send an item to the bench or to a repairer."""
    if place.sort == Place.Sort.SHELF:
        raise PlaceRefused(f"{place} is a shelf: set it as the item's home instead.")
    Item.objects.filter(pk=item.pk).update(at=place)
    item.at = place


def item_fetch(*, item: Item) -> None:
    """Note that an item is back from the bench or the repairer, where it has its home."""
    Item.objects.filter(pk=item.pk).update(at=None)
    item.at = None
