"""One box finds anything: an exact code jumps to its item; words are looked up in the index of words."""

import re
from collections.abc import Iterable
from dataclasses import dataclass

from django.db import connections
from django.db.models import Case, F, Q, QuerySet, Value, When
from django.db.models.expressions import RawSQL
from django.http import HttpRequest

from company.clock import today
from company.registries import SEARCH, Found
from company.templatetags.tape import code as spelled
from inventory.calc import codes
from inventory.calc.kinds import WHERE_LIFTED, WHERE_WORDS, Where
from inventory.models import GearType, Item, Label
from inventory.querysets import ItemQuerySet

LONGEST = 200
MOST_WORDS = 8
EXACT_UP_TO = 1000
_SPLIT = re.compile(r"[\s\x00]+")


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What was typed: its words, and a sentence where it cannot be looked up."""

    words: tuple[str, ...] = ()
    why: str = ""


@dataclass(frozen=True, kw_only=True)
class FoundItem(Found):
    """An item found: `lifted_mark` says how it is away."""

    lifted_mark: str = ""


def asked(text: str) -> Asked:
    """Split what was typed into words to look up; what is far too long is answered with a sentence."""
    if len(text) > LONGEST:
        return Asked(why="That is longer than anything we own is called. Type a word or two.")
    clean = text.encode("utf-8", "ignore").decode()
    words = tuple(dict.fromkeys(word.lower() for word in _SPLIT.split(clean) if word))
    return Asked(words=words[:MOST_WORDS])


def code_of(text: str) -> str:
    """Return the code a text is, or an empty string: bare, with hyphens, or as an address of any host."""
    read = codes.parse(text)
    return read.code if read.read is codes.Read.CODE else ""


def item_of_code(code: str) -> Item | None:
    """Return the item a code leads to: its own, or the one it is an alias of."""
    label = Label.objects.select_related("item").filter(code=code).first()
    return (label.item if label else None) or Item.objects.filter(code=code).first()


def matching(items: ItemQuerySet, text: str) -> ItemQuerySet:
    """Keep items that carry every word somewhere: type, name, length, code, serial, maker, place, notes.

    A word of one or two letters must begin a word; a longer one may stand anywhere.
    """
    found = asked(text)
    if found.why:
        return items.none()
    if not found.words:
        return items
    ids = matching_ids(items.db, found.words, most=EXACT_UP_TO)
    if len(ids) <= EXACT_UP_TO:
        return items.filter(pk__in=ids)
    # a sum is no column: the database walks the list in its order and asks whether each row is among the many
    return items.alias(one_of_many=F("pk") + 0).filter(one_of_many__in=_subquery(items.db, found.words))


def matching_ids(using: str, words: Iterable[str], *, most: int) -> list[int]:
    """Return at most `most` + 1 keys of items that carry every word; the one too many says that there are more."""
    sql, given = _sql(using, words)
    with connections[using].cursor() as cursor:
        cursor.execute(f"{sql} LIMIT {int(most) + 1}", given)
        return [row[0] for row in cursor.fetchall()]


def count_up_to(rows: QuerySet, most: int = EXACT_UP_TO) -> int:
    """Count rows exactly up to `most`; `most` + 1 means more."""
    return rows.order_by()[: most + 1].count()


def count_matching(text: str) -> int:
    """Count the items `matching` finds among all, by the index of words alone; `EXACT_UP_TO` + 1 means more."""
    found = asked(text)
    if found.why:
        return 0
    if not found.words:
        return count_up_to(Item.objects.all())
    return len(matching_ids("default", found.words, most=EXACT_UP_TO))


def _subquery(using: str, words: Iterable[str]) -> RawSQL:
    return RawSQL(*_sql(using, words))  # noqa: S611 (our own constants; what was typed is a parameter)


def _sql(using: str, words: Iterable[str]) -> tuple[str, list[str]]:
    wanted = [word if len(word) > 2 else f"  {word}" for word in words]
    if connections[using].vendor == "postgresql":
        given = ["%" + word.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_") + "%" for word in wanted]
        tests = " AND ".join(["text LIKE %s"] * len(given))
        return f"SELECT rowid FROM inventory_itemsearch WHERE {tests}", given  # noqa: S608
    phrases = ['"' + word.replace('"', '""') + '"' for word in wanted]
    return "SELECT rowid FROM inventory_itemsearch WHERE inventory_itemsearch MATCH %s", [" AND ".join(phrases)]


def found_items(request: HttpRequest, text: str, most: int) -> Iterable[Found]:
    """Answer with items, those whose name begins with what was typed first."""
    words = asked(text).words
    if not words:
        return
    ids = matching_ids("default", words, most=EXACT_UP_TO)
    items = Item.objects.described(today()).filter(pk__in=ids[:EXACT_UP_TO])
    named_so = Case(When(type__name__istartswith=" ".join(words), then=Value(0)), default=Value(1))
    gone = Case(When(retired_on=None, then=Value(0)), default=Value(1))
    for item in items.order_by(gone, named_so, "type__name", "length_mm", "name", "code")[:most]:
        where = Where(item.where)
        yield FoundItem(
            name=item.label,
            url=item.get_absolute_url(),
            code=spelled(item.code),
            note=where_words(item),
            kind="Items",
            standing=item.standing,
            lifted=where in WHERE_LIFTED,
            lifted_mark=WHERE_LIFTED.get(where, ""),
            rank=len(ids),
        )


def where_words(item: Item) -> str:
    """Say in a few words where an item is, naming its shelf, case or borrower."""
    where = Where(item.where)
    if where is Where.LENT:
        return f"lent to {item.lent_to}"
    if where is Where.CASE and item.in_case:
        return f"in {item.in_case.label}"
    if where in {Where.BENCH, Where.REPAIRER} and item.at:
        return f"at {item.at.name}" if where is Where.REPAIRER else "at the bench"
    if where is Where.SHOP and item.home:
        return item.home.name
    return WHERE_WORDS[where]


def found_types(request: HttpRequest, text: str, most: int) -> Iterable[Found]:
    """Answer with gear types."""
    for type_ in named(GearType.objects.all(), text, "name")[:most]:
        yield Found(name=type_.name, url=type_.get_absolute_url(), note=type_.get_kind_display(), kind="Gear types")


def named(rows: QuerySet, text: str, *columns: str) -> QuerySet:
    words = asked(text).words
    for word in words:
        hit = Q()
        for column in columns:
            hit |= Q(**{f"{column}__icontains": word}) if len(word) > 2 else _begins(column, word)
        rows = rows.filter(hit)
    return rows if words else rows.none()


def _begins(column: str, word: str) -> Q:
    return Q(**{f"{column}__istartswith": word}) | Q(**{f"{column}__icontains": f" {word}"})


def register() -> None:
    """Let the search box answer with what we own."""
    SEARCH.add("items", found_items, rank=10)
    SEARCH.add("gear types", found_types, rank=20)
