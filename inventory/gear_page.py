"""What the gear part itself says on an item's page: what it is, its labels, its money, its life in the office."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import models
from django.http import HttpRequest
from django.urls import reverse

from company.calc.roles import Role
from company.clock import today
from company.models import Company
from company.registries import NAV, NavEntry
from company.templatetags.tape import day as day_words
from company.templatetags.tape import metres
from inventory.calc.fact_words import value_in_words, words_of
from inventory.calc.kinds import STANDING_WORDS, Standing
from inventory.models import GearType, Item, ItemEvent
from inventory.registries import ITEM_ACTIONS, ITEM_LIFE, ITEM_PANELS, ItemAction, LifeEntry, Panel

What = ItemEvent.What


@dataclass(frozen=True, kw_only=True)
class FactLine:
    """One fact in words; `yes` for what is simply so."""

    name: str
    value: str
    yes: bool = False


def fact_lines(type_: GearType) -> list[FactLine]:
    """Return what is known of a type, in words with units; what nobody entered is left out."""
    lines: list[FactLine] = []
    facts = type_.facts
    for field in facts._meta.local_fields if facts else []:
        if field.primary_key or field.is_relation or field.name == "source":
            continue
        value = getattr(facts, field.name)
        if isinstance(field, models.BooleanField):
            if value or (value is False and field.null):
                lines.append(FactLine(name=words_of(field.name)[0], value="yes" if value else "no", yes=bool(value)))
            continue
        text = value_in_words(field.name, value)
        if text:
            lines.append(FactLine(name=words_of(field.name)[0], value=text))
    if type_.mass_g:
        lines.append(FactLine(name="mass", value=value_in_words("mass_g", type_.mass_g)))
    if type_.bays:
        places = "1 place" if type_.bays == 1 else f"{type_.bays} places"
        cell = f", {type_.cell_size}" if type_.cell_size else ""
        lines.append(FactLine(name="takes cells", value=f"{places}{cell}"))
    return lines


def standing_words(item: Item, standing: str) -> str:
    """Say a standing with its date: known good until Sat 14 Nov; suspect since Thu 3 Sep; good except 7."""
    match Standing(standing):
        case Standing.KNOWN_GOOD:
            if item.test_by:
                return f"known good until {day_words(item.test_by)}"
            return f"known good, proved {day_words(item.tested_on)}"
        case Standing.TEST_DUE:
            return f"test by {day_words(item.test_by)}"
        case Standing.SUSPECT:
            return f"suspect since {day_words(item.suspect_since)}"
        case Standing.GOOD_EXCEPT:
            return f"good except {item.excepts}"
        case Standing.RETIRED:
            return f"retired {day_words(item.retired_on)}"
        case Standing.UNPROVED if item.taken_as_good_on:
            return f"unproved, taken as good {day_words(item.taken_as_good_on)}"
        case other:
            return STANDING_WORDS[other]


def what_it_is(request: HttpRequest, item: Item, at: datetime) -> Panel:
    """Say what the item is: its type, length, facts, maker, serial, notes and photo."""
    facts = item.type.facts
    return Panel(
        title="What it is",
        template="inventory/item_what.html",
        context={
            "lines": [line for line in fact_lines(item.type) if not line.yes],
            "also": [line.name for line in fact_lines(item.type) if line.yes],
            "source": getattr(facts, "source", ""),
            "length": metres(item.length_mm, request.company.units),
        },
    )


def its_labels(request: HttpRequest, item: Item, at: datetime) -> Panel:
    """List the codes that lead to the item."""
    labels = sorted(item.labels.all(), key=lambda label: (label.code != item.code, label.minted_at))
    return Panel(title="Its labels", template="inventory/item_labels.html", context={"labels": labels})


def whose_it_is(request: HttpRequest, item: Item, at: datetime) -> Panel | None:
    """Say whose it is, who has it, and to owners what it cost."""
    owner = request.user.is_authenticated and request.user.is_at_least(Role.OWNER)
    money = owner and (item.price_cents is not None or item.type.replacement_cents is not None)
    if not (item.borrowed_from or item.lent_to or item.bought_on or money):
        return None
    day = today(at)
    return Panel(
        title="Whose it is",
        template="inventory/item_whose.html",
        context={
            "money": money,
            "overdue": bool(item.give_back_by and item.give_back_by < day and not item.gone_home_on),
            "lent_overdue": bool(item.lent_home_by and item.lent_home_by < day),
        },
    )


def office_life(item: Item, at: datetime) -> Iterable[LifeEntry]:
    """Tell what the office did with the item, and the days it is to be given back or home."""
    events = list(item.events.select_related("person"))
    zone = Company.current().zone
    if item.bought_on:
        yield LifeEntry(at=item.bought_on, did="bought", small=item.maker)
    if not any(e.what == What.ADDED for e in events):
        yield LifeEntry(at=item.added_at, did="labelled", small=_taken(item))
    for event in events:
        by = f"by {event.person}" if event.person else ""
        if event.what == What.ADDED:
            yield LifeEntry(at=event.at, did="labelled", small="; ".join(p for p in (by, _taken(item)) if p))
            continue
        small = "; ".join(part for part in (event.note, by) if part)
        mark = {What.RETIRED: "cross", What.LENT: "out", What.GONE_HOME: "home", What.LENT_HOME: "home"}.get(
            What(event.what), ""
        )
        yield LifeEntry(
            at=event.on if event.on != event.at.astimezone(zone).date() else event.at, did=event.what, small=small, mark=mark
        )
    if item.retired_on and not any(e.what == What.RETIRED for e in events):
        yield LifeEntry(at=item.retired_on, did="retired", small=item.retired_because, mark="cross")
    if item.give_back_by and not item.gone_home_on:
        yield _due(item.give_back_by, f"give back to {item.borrowed_from or 'its owner'}", at)
    if item.lent_to and item.lent_home_by:
        yield _due(item.lent_home_by, f"home from {item.lent_to}", at)
    if item.calibration_due_on and not item.retired_on:
        yield _due(item.calibration_due_on, "calibrate by", at)


def _taken(item: Item) -> str:
    return f"taken as good {day_words(item.taken_as_good_on)}" if item.taken_as_good_on else ""


def _due(day: datetime | object, did: str, at: datetime) -> LifeEntry:
    return LifeEntry(at=day, did=did, ahead=day >= today(at))  # type: ignore[arg-type, operator]


def office_actions(request: HttpRequest, item: Item) -> Iterable[ItemAction]:
    """Offer what may be done with the item from the office."""

    def do(name: str, url_name: str, role: str = Role.TECHNICIAN, note: str = "") -> ItemAction:
        return ItemAction(name=name, url=reverse(url_name, args=[item.code]), role=role, note=note)

    yield do("Change it", "item-edit")
    yield ItemAction(name="Print its label", url=f"{reverse('labels-print')}?codes={item.code}", role=Role.TECHNICIAN)
    yield do("Add one like it", "item-copy")
    yield do("Lend, borrow, give back", "item-lend")
    yield do("Back in use" if item.retired_on else "Retire it", "item-retire")


def register() -> None:
    """Let the item page, the navigation and the life of an item know what the gear part knows."""
    NAV.add("gear", lambda: NavEntry(name="Gear", url_name="gear", section="Gear"), rank=40)
    ITEM_PANELS.add("what it is", what_it_is, rank=300)
    ITEM_PANELS.add("whose it is", whose_it_is, rank=400)
    ITEM_PANELS.add("labels", its_labels, rank=500)
    ITEM_LIFE.add("inventory", office_life, rank=50)
    ITEM_ACTIONS.add("office", office_actions, rank=200)
