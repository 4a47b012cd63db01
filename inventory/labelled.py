"""Which things want a label: never printed, or fallen off."""

from django.db.models import Exists, F, OuterRef, QuerySet

from inventory.models import Item, Label


def without_label() -> QuerySet[Item]:
    """Return the items for which no label was ever printed, newest types together as on the shelf."""
    to_print = Label.objects.filter(item__isnull=False, printed_at=None, code=F("item__code"))
    printed = Label.objects.filter(item=OuterRef("pk"), printed_at__isnull=False)
    return Item.objects.owned().filter(pk__in=to_print.values("item")).exclude(Exists(printed))


def label_missing() -> QuerySet[Item]:
    """Return the items whose label is gone, the longest first."""
    return Item.objects.owned().filter(label_gone_since__isnull=False).order_by("label_gone_since", "pk")


def blank_and_printed() -> QuerySet[Label]:
    """Return the labels that are printed and stuck on nothing yet."""
    return Label.objects.filter(item=None, printed_at__isnull=False)
