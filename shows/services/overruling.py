"""A person's word on what a line needs: another mic/DI with the reason kept, its feed, phantom, whose it is; and back."""

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from django.core.exceptions import ValidationError

from company.models import Person
from shows.models import InputLine, Show
from shows.planning.input_list import line_of, lines_of
from shows.services.input_lines import Saved, lines_save

BY_HAND = "by hand: "
_KEPT = re.compile(r"(^|;\s*)by hand: [^;]*")
MOST_NOTES = InputLine._meta.get_field("notes").max_length or 200


def line_decide(
    *,
    show: Show,
    line: InputLine,
    changes: Mapping[str, Any],
    reason: str,
    person: Person,
    at: datetime,
    seen: str | None = None,
) -> Saved:
    """Change what a person says of one line (`pickup` by name, `feed`, `phantom`, `whose`), as a save that can be undone.

    A reason is kept in the line's notes and goes when the mic/DI is put back to what is advised.
    """
    kept = []
    for row in lines_of(show):
        one = line_of(row)
        if row.pk == line.pk:
            changed = dict(changes)
            if "pickup" in changed:
                changed["notes"] = _noted(one.notes, reason if changed["pickup"] else "")
            one = replace(one, **changed)
        kept.append(one)
    return lines_save(show=show, rows=kept, person=person, at=at, seen=seen, did=f"{line.called} {line.source}, by hand"[:120])


def reason_of(notes: str) -> str:
    """Return the reason kept in a line's notes."""
    found = _KEPT.search(notes)
    return found[0].lstrip("; ").removeprefix(BY_HAND) if found else ""


def _noted(notes: str, reason: str) -> str:
    left = _KEPT.sub("", notes).strip("; ")
    # one reason ends at the next semicolon
    reason = " ".join(reason.replace(";", ",").split())
    told = "; ".join(part for part in (left, BY_HAND + reason if reason else "") if part)
    if len(told) > MOST_NOTES:
        raise ValidationError(
            f"Its notes and the reason have at most {MOST_NOTES} characters together: {len(told)} are too many."
        )
    return told
