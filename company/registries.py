"""The registries every floor may fill. Each entry's shape is the dataclass beside it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.http import HttpRequest

from company.registry import Registry


@dataclass(frozen=True, kw_only=True)
class Need:
    """One thing a person must see to: a strip on the start page and a row on the list of needs.

    `by` sorts it into the running order; `standing`, `lifted` and `mark` draw the strip; `why` is one sentence, its
    bold part in `fact`. `next_step` True makes it a candidate for the page's one pink strip (the earliest wins).
    """

    key: str
    name: str
    code: str = ""
    url: str
    fact: str
    why: str = ""
    by: datetime | None = None
    mark: str = "person"
    standing: str = ""
    lifted: bool = False
    next_step: bool = False
    group: str = ""


@dataclass(frozen=True, kw_only=True)
class Found:
    """One answer of the search box."""

    name: str
    url: str
    code: str = ""
    note: str = ""
    kind: str = ""
    standing: str = ""
    lifted: bool = False
    rank: float = 0.0


@dataclass(frozen=True, kw_only=True)
class NavEntry:
    """One word in the main navigation; `role` is the least role that sees it."""

    name: str
    url_name: str
    section: str
    role: str = "hand"


NeedsSource = Callable[[HttpRequest, datetime], Iterable[Need]]
SearchSource = Callable[[HttpRequest, str, int], Iterable[Found]]
JobRunner = Callable[[Any], None]

NEEDS: Registry[NeedsSource] = Registry("what needs a person, now?")
SEARCH: Registry[SearchSource] = Registry("what answers this word or code?")
NAV: Registry[Callable[[], NavEntry]] = Registry("what stands in the main navigation?")
JOBS: Registry[JobRunner] = Registry("how is a job of this kind run?")
