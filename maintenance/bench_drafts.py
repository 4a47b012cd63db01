"""What was half read at the bench: kept in the session by sitting and thing; no scan or reload loses it."""

import re
from collections.abc import Mapping
from typing import Any

from django.contrib.sessions.backends.base import SessionBase

from inventory.models import Item
from maintenance.bench_form import Asked, PairField, answered
from maintenance.models import Sitting

SESSION = "bench-drafts"
MOST_SITTINGS, MOST_THINGS, MOST_FIELDS, LONGEST = 3, 40, 700, 400
_NAME = re.compile(r"(?:(?:p|f|s|rest):.{1,120}|through|failed|note)")


def draft_given(post: Mapping[str, str]) -> dict[str, str]:
    """Return the answers a form carries, what is empty left out; a note alone is kept too."""
    cut = {name: post[name].replace("\0", " ").strip()[:LONGEST] for name in post if _NAME.fullmatch(name)}
    return dict([(name, text) for name, text in cut.items() if text][:MOST_FIELDS])


def draft_keep(
    session: SessionBase, *, sitting: Sitting, code: str, fields: Mapping[str, str], post: Mapping[str, str]
) -> None:
    """Keep the answers read of a thing; none at all forget it. `post` says by which procedure, flexed or not."""
    every = session.get(SESSION, {})
    mine = dict(every.get(str(sitting.pk), {}))
    before = mine.pop(code, None)
    if fields:
        made = {"fields": dict(fields), "as": post.get("as", "")[:40], "flexed": post.get("flexed") == "yes"}
        mine[code] = made
    if mine.get(code) == before:
        return
    every = {key: value for key, value in every.items() if key != str(sitting.pk)} | {str(sitting.pk): _last(mine, MOST_THINGS)}
    session[SESSION] = _last({key: value for key, value in every.items() if value}, MOST_SITTINGS)


def _last(given: dict[str, Any], most: int) -> dict[str, Any]:
    return dict(list(given.items())[-most:])


def drafts_of(session: SessionBase, sitting: Sitting) -> dict[str, Any]:
    """Return what is kept at a sitting, by code, the oldest first."""
    kept: dict[str, Any] = session.get(SESSION, {}).get(str(sitting.pk), {})
    return kept


def draft_forget(session: SessionBase, *, sitting: Sitting, code: str) -> None:
    """Forget what was half read of a thing: it was judged, or is read anew."""
    draft_keep(session, sitting=sitting, code=code, fields={}, post={})


def draft_back(session: SessionBase, *, sitting: Sitting, code: str) -> str:
    """Take the last answer kept of a thing back and return its field's name; empty when none is kept."""
    kept = drafts_of(session, sitting).get(code)
    names = [name for name in kept["fields"] if name != "note"] if kept else []
    if not kept or not names:
        return ""
    fields = {name: text for name, text in kept["fields"].items() if name != names[-1]}
    draft_keep(
        session, sitting=sitting, code=code, fields=fields, post={"as": kept["as"], "flexed": "yes" if kept["flexed"] else ""}
    )
    return str(names[-1])


def draft_laid(asked: Asked, kept: Mapping[str, Any]) -> None:
    """Write what is kept into the fields of what is asked; what cannot be read says so beside it."""
    answered(asked, kept["fields"])


def read_of(asked: Asked) -> tuple[int, int]:
    """Return how many of the answers asked for are there, and how many are asked for; a tick that answers a group is one."""
    read = total = 0
    for group in asked.groups:
        filled = sum(bool(one.value or (isinstance(one, PairField) and (one.stated or one.flexed))) for one in group.fields)
        if group.rest:
            read, total = read + (group.ticked or bool(filled)), total + 1
        else:
            read, total = read + filled, total + len(group.fields)
    return read, total


def words_of(item: Item, asked: Asked) -> str:
    """Say how much of a thing is read and kept: Microphone lead 6 m: 2 of 6 read, kept."""
    read, total = read_of(asked)
    return f"{item}: {read} of {total} read, kept." if read else f"{item}: what you wrote is kept."
