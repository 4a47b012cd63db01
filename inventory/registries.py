"""What higher floors add to an item: sections of its page, its life, its API answer, its actions; and what they do when a
label is bound."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.http import HttpRequest

from company.registry import Registry
from inventory.models import Item


@dataclass(frozen=True, kw_only=True)
class Panel:
    """One section of the item page: a heading in marker and a template drawn beside it."""

    title: str
    template: str
    context: dict[str, Any] = field(default_factory=dict)


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
    """One thing a person may do from the item page; `next_step` makes it the page's one pink strip."""

    name: str
    url: str
    note: str = ""
    role: str = "hand"
    next_step: bool = False


ITEM_PANELS: Registry[Callable[[HttpRequest, Item, datetime], Panel | None]] = Registry("what is true of this item now?")
ITEM_LIFE: Registry[Callable[[Item, datetime], Iterable[LifeEntry]]] = Registry("what has this item been through?")
ITEM_ACTIONS: Registry[Callable[[HttpRequest, Item], Iterable[ItemAction]]] = Registry("what can be done with this item?")
# Takes many items at once, so that a list costs no query a row; answers {item pk: fields}.
ITEM_API_FIELDS: Registry[Callable[[list[Item], datetime], dict[int, dict[str, Any]]]] = Registry(
    "what does the API say of these items?"
)
AFTER_BIND: Registry[Callable[[list[int]], None]] = Registry("what must be worked out again once a label is bound to an item?")
