"""Items over HTTP: find them, and what is known of one."""

from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.http import Http404, HttpRequest
from ninja import Query, Router, Schema

from company.api import PROBLEMS, CleanText, Limit, Offset
from company.clock import now, today
from inventory.calc import codes
from inventory.calc.kinds import STANDING_WORDS, Standing
from inventory.models import Item, Label
from inventory.registries import ITEM_API_FIELDS
from inventory.search import EXACT_UP_TO, count_matching, matching

router = Router(tags=["items"])


class ItemRow(Schema):
    code: str
    name: str
    type: str
    kind: str
    length_mm: int
    standing: str
    where: str
    show: int | None


class ItemList(Schema):
    count: int
    more: bool
    items: list[ItemRow]


class OpenCheckout(Schema):
    show: int
    name: str
    out_at: datetime
    out_by: str
    on_truck_at: datetime | None
    evidence: str


class OpenFault(Schema):
    symptom: str
    note: str
    since: datetime
    line: str


class LastTest(Schema):
    """Its newest bench test that counts."""

    id: UUID
    verdict: str
    procedure: str
    depth: str
    done_at: datetime
    by: str
    findings: list[str]


class ItemChance(Schema):
    """The chance, as reckoned now, that it is bad by the end of a day: its next `booked` show's, else that of its test.

    `low` and `high` hold it for the middle 8 in 10 of how often it may fail; `age` is what it has been through, in shows.
    """

    by: date
    booked: bool
    chance: float
    low: float
    high: float
    age: float


class ItemForecast(Schema):
    """The chance that it is bad by `test_by`, as reckoned at its last test; `prior_share` of it is still a first guess."""

    chance: float
    shows: float
    test_by: date | None
    made_at: datetime
    prior_share: float
    why: str
    ahead: ItemChance | None = None


class BayOut(Schema):
    """What sits in one bay for cells: hours used, and hours left (5, 50 and 95 of 100); `fault` where they cannot be told."""

    bay: int
    type: str
    lot: int | None
    fitted_at: datetime | None
    hours_used: float
    median_h: float | None
    low_h: float | None
    high_h: float | None
    words: str
    fault: str


class ItemAnswer(ItemRow):
    """One item. `reasons` says in sentences why it stands as it does; of a case, `suspect_inside` holds the codes of what
    lies in it and is suspect."""

    codes: list[str]
    reasons: list[str]
    test_by: date | None
    tested_on: date | None
    suspect_since: datetime | None
    checkout: OpenCheckout | None
    faults: list[OpenFault]
    suspect_inside: list[str] = []
    last_test: LastTest | None = None
    forecast: ItemForecast | None = None
    cells: list[BayOut] = []


class ItemQuery(Schema):
    search: CleanText = ""
    limit: Limit = 50
    offset: Offset = 0


@router.get("/items", response={200: ItemList, **PROBLEMS}, summary="Find items")
def items(request: HttpRequest, query: Query[ItemQuery]) -> dict[str, Any]:
    """List items that answer a word or a code, in the order of the gear list. `count` is exact up to 1,000; beyond that
    it is 1,000 and `more` is true."""
    found = matching(Item.objects.all(), query.search) if query.search.strip() else Item.objects.all()
    counted = count_matching(query.search)
    page = list(found.described(today())[query.offset : query.offset + query.limit])
    return {
        "count": min(counted, EXACT_UP_TO),
        "more": counted > EXACT_UP_TO,
        "items": [_row(item) for item in page],
    }


@router.get("/items/{code}", response={200: ItemAnswer, **PROBLEMS}, summary="One item")
def item(request: HttpRequest, code: str) -> dict[str, Any]:
    """Return what is known of one item, by its code or by the code of any label it ever had."""
    parsed = codes.parse(code)
    if parsed.read != codes.Read.CODE:
        raise Http404(parsed.why or "That is a card, not an item.")
    found = Item.objects.described(today()).filter(labels__code=parsed.code).first()
    if found is None:
        raise Http404("That label is not bound to anything yet." if _is_minted(parsed.code) else "No item has that code.")
    at = now()
    fields: dict[str, Any] = {"reasons": [], "checkout": None, "faults": []}
    for answer in ITEM_API_FIELDS:
        fields.update(answer([found], at).get(found.pk, {}))
    return {
        **_row(found),
        "codes": list(found.labels.values_list("code", flat=True)),
        "test_by": found.test_by,
        "tested_on": found.tested_on,
        "suspect_since": found.suspect_since,
        **fields,
    }


def _is_minted(code: str) -> bool:
    return Label.objects.filter(code=code).exists()


def _row(item: Item) -> dict[str, Any]:
    return {
        "code": item.code,
        "name": item.label,
        "type": item.type.name,
        "kind": item.type.kind,
        "length_mm": item.length_mm,
        "standing": STANDING_WORDS[Standing(item.standing)],
        "where": item.where,
        "show": item.custody_show,
    }
