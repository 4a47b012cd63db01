"""Which column of somebody's list is which of ours: what was matched before, then the headings' words."""

import re
from collections.abc import Mapping

from company.models import Job, Person
from inventory.transfer.base import Transfer

_REMEMBERED = 20


def plain(heading: str) -> str:
    """Return a heading as it is compared: small letters, single blanks, no signs."""
    return " ".join(re.sub(r"[^\w]+", " ", heading.casefold().replace("_", " ")).split())


def matching_guess(transfer: Transfer, headers: list[str], person: Person) -> dict[int, str]:
    """Return {column number: key}, each key once; a heading nobody knows is left out."""
    allowed = transfer.columns_in(person)
    known = {plain(c.title): c.key for c in transfer.columns} | {plain(w): c.key for c in transfer.columns for w in c.words}
    remembered = matching_remembered(transfer)
    found: dict[int, str] = {}
    taken: set[str] = set()

    def take(place: int, key: str | None) -> None:
        if key is not None and key in allowed and key not in taken and place not in found:
            found[place] = key
            taken.add(key)

    left_out = {place for place, heading in enumerate(headers) if remembered.get(plain(heading)) == ""}
    for place, heading in enumerate(headers):
        take(place, remembered.get(plain(heading)) or None)
    for place, heading in enumerate(headers):
        if place not in left_out:
            take(place, known.get(plain(heading)))
    for place, heading in enumerate(headers):
        words = plain(heading)
        if place in left_out or words in known:
            continue
        near = (key for word, key in known.items() if len(word) > 3 and (words.startswith(word) or words.endswith(f" {word}")))
        take(place, next(near, None))
    return found


def matching_remembered(transfer: Transfer) -> dict[str, str]:
    """Return {heading: key} as people last matched them; an empty key was left out on purpose."""
    jobs = Job.objects.filter(kind="import", given__what=transfer.key).order_by("-made_at")
    remembered: dict[str, str] = {}
    for matched in jobs.values_list("given__headings", flat=True)[:_REMEMBERED]:
        for heading, key in (matched or {}).items() if isinstance(matched, Mapping) else ():
            remembered.setdefault(heading, key)
    return remembered
