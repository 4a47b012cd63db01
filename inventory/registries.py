"""What higher floors add to an item: sections of its page, its life, its API answer, its actions; and what they do when a
label is bound."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpRequest

from company.models import Person
from company.registry import Registry
from inventory.models import CountedLine, Item, Placement
from inventory.transfer.base import Transfer


@dataclass(frozen=True, kw_only=True)
class Panel:
    """One section of the item page: a heading in marker and a template drawn beside it, with the sheets and the module it
    needs by their static names."""

    title: str
    template: str
    context: dict[str, Any] = field(default_factory=dict)
    styles: tuple[str, ...] = ()
    modules: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class LifeEntry:
    """One thing that happened to an item, or will: `at` sorts it; `bad` tears the strip's edge, `patched` mends it."""

    at: datetime | date
    did: str
    small: str = ""
    mark: str = ""
    bad: bool = False
    patched: bool = False
    ahead: bool = False
    url: str = ""


@dataclass(frozen=True, kw_only=True)
class ItemAction:
    """One thing a person may do from the item page; `next_step` makes it the page's one pink strip, `quiet` a word below."""

    name: str
    url: str
    note: str = ""
    role: str = "hand"
    next_step: bool = False
    quiet: bool = False


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """One line of the shopping list: so many of a thing, why, and where it is seen to (`url`)."""

    what: str
    count: int
    unit: str = ""
    why: str = ""
    group: str = "To buy"
    url: str = ""
    cents: int | None = None
    line_id: int | None = None


ITEM_PANELS: Registry[Callable[[HttpRequest, Item, datetime], Panel | None]] = Registry("what is true of this item now?")
# (request, case, what lies directly in it, now)
CASE_PANELS: Registry[Callable[[HttpRequest, Item, list[Item], datetime], Panel | None]] = Registry(
    "what is true of what lies in this case?"
)
ITEM_LIFE: Registry[Callable[[Item, datetime], Iterable[LifeEntry]]] = Registry("what has this item been through?")
ITEM_ACTIONS: Registry[Callable[[HttpRequest, Item], Iterable[ItemAction]]] = Registry("what can be done with this item?")
# Takes many items at once, so that a list costs no query a row; answers {item pk: fields}.
ITEM_API_FIELDS: Registry[Callable[[list[Item], datetime], dict[int, dict[str, Any]]]] = Registry(
    "what does the API say of these items?"
)
AFTER_BIND: Registry[Callable[[list[int]], None]] = Registry("what must be worked out again once a label is bound to an item?")
# (item, case or None, placement), in the transaction that recorded it; a second sending of the same placement is not told.
AFTER_PLACEMENT: Registry[Callable[[Item, Item | None, Placement], None]] = Registry(
    "what follows when an item is put in a case, or taken out?"
)
PLACEMENT_UNDONE: Registry[Callable[[Placement, datetime], None]] = Registry("what must be taken back with a placement?")
# (item, counted line, it was bad, the uid of the move, when, who)
AFTER_LABELLED: Registry[Callable[[Item, CountedLine, bool, UUID, datetime, Person | None], None]] = Registry(
    "what follows when a counted thing becomes an item?"
)
IMPORTS: Registry[Callable[[], Transfer]] = Registry("which lists can be brought in and taken out?")
SHOPPING: Registry[Callable[[HttpRequest, datetime], Iterable[Wanted]]] = Registry("what is there to buy?")
# Of these items, by their type's name and length: when one of them was last scanned.
LAST_SEEN: Registry[Callable[[QuerySet[Item]], Iterable[tuple[str, int, datetime]]]] = Registry("when was it last scanned?")
# Of a kind of gear with a wiring: the wirings it may have, as (key, name).
WIRING_CHOICES: Registry[Callable[[str], Iterable[tuple[str, str]]]] = Registry("how may a thing of this kind be wired?")
# {show key: (name, address)}: shows is a floor above, and a key alone says nothing to a person.
SHOW_NAMES: Registry[Callable[[list[int]], dict[int, tuple[str, str]]]] = Registry("what are these shows called?")
# The shows something may go out to or come back from about now, the likeliest first.
SHOW_CHOICES: Registry[Callable[[datetime], list[tuple[int, str]]]] = Registry("which show may this be for?")


def show_names(keys: Iterable[int | None]) -> Mapping[int | None, tuple[str, str]]:
    """Return {key: (name, address)} of shows, asking the floor above once."""
    wanted = sorted({key for key in keys if key is not None})
    names: dict[int, tuple[str, str]] = {}
    if wanted:
        for answer in SHOW_NAMES:
            names.update(answer(wanted))
    return {key: names.get(key, (f"show {key}", "")) for key in wanted}


def show_choices(at: datetime) -> list[tuple[int, str]]:
    """Return the shows to choose from at an instant, as (key, name)."""
    return [choice for answer in SHOW_CHOICES for choice in answer(at)]
