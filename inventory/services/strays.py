"""Strays: things that came back with our gear and are not ours."""

from datetime import date, datetime

from django.db import transaction

from company.models import Person
from inventory.calc import codes
from inventory.models import Label, Stray


class StrayRefused(ValueError):  # noqa: N818 (a word of the house)
    """A stray that is ours after all, or was settled before."""


def stray_record(
    *,
    what: str,
    at: datetime,
    code_text: str = "",
    show: int | None = None,
    whose: str = "",
    where: str = "",
    person: Person | None = None,
) -> Stray:
    """Note a thing that is not ours: what, what its label says, from which show, whose it may be, where it lies now.

    Raises StrayRefused when its label is one of ours.
    """
    read = codes.parse(code_text) if code_text else None
    if read and read.read is codes.Read.CODE:
        label = Label.objects.select_related("item__type").filter(code=read.code, item__isnull=False).first()
        if label and label.item:
            raise StrayRefused(f"That label is ours: {label.item}. Scan it back instead.")
    with transaction.atomic():
        # the form carries the instant it was opened, so that the same form sent twice is one stray
        stray, _made = Stray.objects.get_or_create(
            found_at=at,
            what=what,
            person=person,
            defaults={"code_text": code_text[:200], "show": show, "whose": whose, "where": where},
        )
        return stray


def stray_settle(*, stray: Stray, how: str, on: date) -> bool:
    """Close a stray with what became of it; False when somebody had settled it before."""
    if not how.strip():
        raise StrayRefused("Say what became of it: given back to whom, or kept.")
    return bool(Stray.objects.filter(pk=stray.pk, settled_on=None).update(settled_on=on, settled_how=how.strip()[:120]))


def stray_reopen(*, stray: Stray) -> bool:
    """Take a settling back; False when it was open."""
    return bool(Stray.objects.filter(pk=stray.pk, settled_on__isnull=False).update(settled_on=None, settled_how=""))
