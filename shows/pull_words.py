"""Reading what is typed into a pull row: "6 mic lead 10 m", a type's name, or an item's code."""

import re
from dataclasses import dataclass

from django.core.exceptions import ValidationError

from inventory.calc.codes import Read, parse
from inventory.models import GearType, Item, Label

_LENGTH = re.compile(r"(?:^|\s)(\d{1,4}(?:[.,]\d{1,3})?)\s*(m|ft)$", re.IGNORECASE)
_COUNT = re.compile(r"^(\d{1,5})\s*[x×]?\s+(?=\D)", re.IGNORECASE)
MM_A_FOOT = 304.8
MOST = 10_000


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """What a typed line asks for."""

    type: GearType
    count: int | None
    length_mm: int
    item: Item | None = None


def length_read(text: str, units: str) -> int:
    """Read a length as millimetres: 10, 10 m, 33 ft; a bare number is in the company's unit. Empty is 0, any length."""
    text = text.strip().replace(",", ".").replace("\u2009", " ")
    if not text:
        return 0
    found = re.fullmatch(r"(\d{1,4}(?:\.\d{1,3})?)\s*(m|ft)?", text, re.IGNORECASE)
    if not found:
        raise ValidationError("Write a length as 10 or 10 m.")
    unit = (found[2] or ("ft" if units == "imperial" else "m")).lower()
    mm = round(float(found[1]) * (MM_A_FOOT if unit == "ft" else 1000))
    if mm > 1_000_000:
        raise ValidationError("A length lies between 0 and 1000 m.")
    return mm


def wanted_read(text: str, units: str = "metric") -> Wanted:
    """Make sense of a typed line, or raise with a sentence that says what would do."""
    text = " ".join(text.replace("\x00", " ").replace("\u2009", " ").split())
    if not text:
        raise ValidationError("Type what is wanted: a type, or an item's code.")
    whole = GearType.objects.filter(name__iexact=text).first()
    if whole is not None:
        return Wanted(type=whole, count=None, length_mm=0)
    parsed = parse(text)
    if parsed.read is Read.CODE:
        label = Label.objects.select_related("item__type").filter(code=parsed.code, item__isnull=False).first()
        item = label.item if label else Item.objects.select_related("type").filter(code=parsed.code).first()
        if item is not None:
            return Wanted(type=item.type, count=1, length_mm=item.length_mm, item=item)
        raise ValidationError("No item carries that code.")
    count, rest, length = None, text, 0
    if found := _COUNT.match(rest):
        count, rest = int(found[1]), rest[found.end() :]
        if not 1 <= count <= MOST:
            raise ValidationError("A count is a whole number, 1 to 10 000.")
    if (found := _LENGTH.search(rest)) and found.start() > 0:
        length, rest = length_read(f"{found[1]} {found[2]}", units), rest[: found.start()].strip()
    type_ = GearType.objects.filter(name__iexact=rest).first()
    if type_ is None:
        near = list(GearType.objects.filter(name__icontains=rest).order_by("name")[:4])
        if len(near) == 1:
            type_ = near[0]
        elif near:
            raise ValidationError(f"“{rest}” could be {', '.join(t.name for t in near)}. Type a little more.")
        else:
            raise ValidationError(f"No gear type is called “{rest[:60]}”. Pick one from the list, or type an item's code.")
    return Wanted(type=type_, count=count, length_mm=length)
