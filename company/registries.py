"""The registries every floor may fill. Each entry's shape is the dataclass beside it."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, Protocol

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


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One thing a person must do by a time, as an alert rule finds it true now.

    `subject` ("item:17", "show:4", "lot:3", "shop") and `occasion` (the last test's id, the show's id; never empty) tell this
    time from another: the same pair never raises twice. `says` is a sentence that says what to do; `url` the page where it is
    done, within the program. A `stage` above the one told last tells again ("again if still undone"). `show` is a show's key.
    """

    subject: str
    occasion: str
    title: str
    says: str
    url: str
    by: datetime | None = None
    stage: int = 0
    show: int | None = None


@dataclass(frozen=True, kw_only=True)
class RuleTerms:
    """What an owner has set for a rule: how early it speaks, and its further stages, all before (or after) the cause's time."""

    lead: timedelta
    stages: tuple[timedelta, ...] = ()


@dataclass(frozen=True, kw_only=True)
class AlertRule:
    """A rule that speaks up in time. `find` yields everything that is true now, whatever was said before: what it no longer
    yields has lost its cause and closes. It selects by "due <= now", never by equality, in a constant number of queries.

    `lead_means` says in words what the lead is counted from ("before load-in", "after home-by"); None where there is none.
    """

    key: str
    name: str
    why: str
    find: Callable[[datetime, RuleTerms], Iterable[Cause]]
    done: str = "Its cause is gone."  # what an alert says when it closes by itself
    role: str = "technician"  # the least role that is told
    urgent: bool = False
    on: bool = True
    digest: bool = True  # False: told by itself, at once
    terms: RuleTerms = field(default_factory=lambda: RuleTerms(lead=timedelta()))
    lead_means: str | None = None
    page: str = ""  # the name of the page where many of them are seen to at once


@dataclass(frozen=True, kw_only=True)
class StatusLine:
    """One line of the status page: what, one sentence how it is, and whether that is well (None: nothing to judge)."""

    name: str
    says: str
    well: bool | None = None
    url: str = ""


@dataclass(frozen=True, kw_only=True)
class TopLine:
    """Something said at the top of every page: a word or a sentence with a link; `count` is drawn as a figure after it.

    `new`: something of it was not seen yet. `alarm`: it stands as a strip of its own above the page.
    """

    says: str
    url: str
    count: int | None = None
    new: bool = False
    alarm: bool = False


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One figure for whoever watches the program from outside; `name` without the program's own in front, unit last."""

    name: str
    means: str
    value: float
    counts: bool = False  # it only ever rises
    labels: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class GoingOut:
    """What of an app's tables an export takes along. A test fails while a table is in neither `out` nor `stays`.

    `out`: label of each model that goes, with what a row is; empty: the first paragraph of its docstring. `stays`: those that
    never go, with why. `without`: columns ("company.Person.password") that never go, with why.
    """

    out: dict[str, str]
    stays: dict[str, str] = field(default_factory=dict)
    without: dict[str, str] = field(default_factory=dict)


NeedsSource = Callable[[HttpRequest, datetime], Iterable[Need]]
SearchSource = Callable[[HttpRequest, str, int], Iterable[Found]]
JobRunner = Callable[[Any], None]


class Forget(Protocol):
    """Forget what is too old at an instant, in short transactions; return how many rows."""

    def __call__(self, *, at: datetime) -> int: ...


NEEDS: Registry[NeedsSource] = Registry("what needs a person, now?")
SEARCH: Registry[SearchSource] = Registry("what answers this word or code?")
NAV: Registry[Callable[[], NavEntry]] = Registry("what stands in the main navigation?")
JOBS: Registry[JobRunner] = Registry("how is a job of this kind run?")
ALERT_RULES: Registry[Callable[[], AlertRule]] = Registry("what does it speak up about?")
STATUS: Registry[Callable[[datetime], Iterable[StatusLine]]] = Registry("how is the program itself?")
TOP: Registry[Callable[[HttpRequest], TopLine | None]] = Registry("what is said at the top of every page?")
FIGURES: Registry[Callable[[datetime], Iterable[Figure]]] = Registry("what figures does the program give?")
TIDY: Registry[Forget] = Registry("what is forgotten once a day?")
GOES_OUT: Registry[Callable[[], GoingOut]] = Registry("what does an export take along?")
