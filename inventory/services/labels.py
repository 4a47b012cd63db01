"""Labels: mint codes, bind them to items, and keep track of labels that fell off."""

from datetime import datetime

from django.db import IntegrityError, transaction
from django.db.models import F

from inventory.calc import codes
from inventory.models import Item, Label
from inventory.registries import AFTER_BIND

MOST_MINTED = 1000


class LabelRefused(ValueError):  # noqa: N818 (a word of the house)
    """A label cannot be bound or minted as asked; the message is a sentence for the person who asked."""


def code_new() -> str:
    """Return a code that no label and no item carries yet. Whoever stores it relies on the unique column for the rest."""
    while True:
        code = codes.mint()
        if not Label.objects.filter(code=code).exists() and not Item.objects.filter(code=code).exists():
            return code


@transaction.atomic
def labels_mint(*, count: int, at: datetime) -> list[Label]:
    """Make blank labels, bound to nothing yet: print them, stick them on, scan them, say what they are."""
    if not 1 <= count <= MOST_MINTED:
        raise LabelRefused(f"Between 1 and {MOST_MINTED} blank labels at a time.")
    fresh: set[str] = set()
    while len(fresh) < count:
        wanted = {codes.mint() for _ in range(count - len(fresh))} - fresh
        wanted -= set(Label.objects.filter(code__in=wanted).values_list("code", flat=True))
        wanted -= set(Item.objects.filter(code__in=wanted).values_list("code", flat=True))
        fresh |= wanted
    return Label.objects.bulk_create([Label(code=code, minted_at=at) for code in sorted(fresh)])


@transaction.atomic
def label_bind(*, code: str, item: Item, at: datetime) -> Label:
    """Bind a code to an item; its older codes stay aliases. Scans made before the label was bound count from now on.

    Any code with a good check character will do, also one that was never minted here: borrowed gear may keep its owner's
    label. A code bound to another item is refused. Raises LabelRefused.
    """
    read = codes.parse(code)
    if read.read is not codes.Read.CODE:
        raise LabelRefused(read.why or "That is a card, not a label to stick on a thing.")
    taken = Item.objects.filter(code=read.code).exclude(pk=item.pk).first()
    if taken:
        raise LabelRefused(_already(read.code, taken))
    label, _made = Label.objects.select_for_update().get_or_create(code=read.code, defaults={"minted_at": at})
    if label.item_id is not None and label.item_id != item.pk:
        raise LabelRefused(_already(read.code, label.item))
    if label.item_id is None:
        try:
            with transaction.atomic():
                changed = Label.objects.filter(pk=label.pk, item=None).update(item=item, bound_at=at)
        except IntegrityError as error:
            raise LabelRefused("That item is gone; the label is bound to nothing.") from error
        if not changed:
            raise LabelRefused("Somebody else has just bound that label: look it up again.")
        label.item, label.bound_at = item, at
    Item.objects.filter(pk=item.pk).update(label_gone_since=None)
    item.label_gone_since = None
    for work_out_again in AFTER_BIND:
        work_out_again([item.pk])
    return label


def label_gone(*, item: Item, at: datetime) -> None:
    """Note that an item has lost its label; the first time counts."""
    Item.objects.filter(pk=item.pk, label_gone_since=None).update(label_gone_since=at)
    item.refresh_from_db(fields=["label_gone_since"])


def label_renewed(*, item: Item, at: datetime) -> None:
    """Note that an item carries a readable label again."""
    with transaction.atomic():
        Item.objects.filter(pk=item.pk).update(label_gone_since=None)
        Label.objects.filter(item=item, code=F("item__code"), printed_at=None).update(printed_at=at)
    item.label_gone_since = None


def _already(code: str, item: Item | None) -> str:
    return f"{codes.spell(code)} is already the label of {item}. Take another label."
