"""What the invented company owns: people, places, items, counted lines, cases with their plans."""

import random
import uuid
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from company.clock import today
from company.models import Company, Person
from inventory.calc import codes
from inventory.calc.names import NameStyle, names_after
from inventory.models import CountedLine, GearType, Item, Label, Place
from inventory.services.cases import case_count_set, placement_record, plan_line_set
from inventory.services.counted import counted_line_add
from inventory.services.items import item_add

PASSWORD = "saltmarsh"  # noqa: S105 (the demo's, known to everybody; the program then listens on this machine alone)
OWNED_SINCE_DAYS = 200


@dataclass(kw_only=True)
class Cast:
    """Everything the history needs by name."""

    at: datetime
    dice: random.Random
    company: Company
    people: dict[str, Person]
    places: dict[str, Place]
    types: dict[str, GearType]
    cases: dict[str, Item]
    proved: list[Item] = field(default_factory=list)  # what the first evenings at the bench test

    def uid(self) -> uuid.UUID:
        """Return the next uid: the same in every demo, so that a picture taken twice is the same picture."""
        return uuid.UUID(int=self.dice.getrandbits(128), version=4)

    def ago(self, days: float, hour: int = 10) -> datetime:
        """Return an instant so many days before the demo's day, at an hour of the company's clock."""
        local = (self.at - timedelta(days=days)).astimezone(self.company.zone)
        return local.replace(hour=hour, minute=0, second=0, microsecond=0)


def people_make(*, told: dict[str, Any], at: datetime) -> tuple[Company, dict[str, Person]]:
    """Make the company and its people."""
    company = Company.current()
    for name, value in told["company"].items():
        setattr(company, name, value)
    company.set_up_at, company.is_demo, company.demo_dated = at, True, at.date()
    company.save()
    people = {}
    for entry in told["people"]:
        person = Person(username=entry["username"], first_name=entry["first_name"], role=entry["role"])
        if entry.get("signs_in", True):
            person.set_password(PASSWORD)
        else:
            person.set_unusable_password()
        person.save()
        people[person.username] = person
    return company, people


def places_make(*, told: dict[str, Any]) -> dict[str, Place]:
    """Make the shelves, the bench and the repairer, in place of those the catalogue brings."""
    Place.objects.all().delete()
    made = [Place(name=name, sort=sort, rank=rank) for name, sort, rank in told["places"]]
    Place.objects.bulk_create(made)
    return {place.name: place for place in Place.objects.all()}


def stock_make(*, cast: Cast, told: dict[str, Any]) -> None:
    """Make the items, the counted lines, and the cases packed as their plans ask."""
    for entry in told["items"]:
        _items(cast, entry)
    for key, length_mm, count, place in told["counted"]:
        counted_line_add(
            uid=cast.uid(),
            type=cast.types[key],
            length_mm=length_mm,
            count=count,
            home=cast.places[place],
            at=cast.ago(OWNED_SINCE_DAYS),
            person=cast.people["owner"],
        )
    for entry in told["cases"]:
        _case(cast, entry)
    # all but the labels of one shelf are printed and stuck on
    Label.objects.exclude(item__home=cast.places["Rack wall"]).update(printed_at=cast.ago(OWNED_SINCE_DAYS - 2))


def _items(cast: Cast, entry: dict[str, Any]) -> None:
    count, length_mm = entry["count"], entry["length_mm"]
    style = {"letters": NameStyle.LETTERS, "numbers": NameStyle.NUMBERS}.get(entry["names"])
    names = names_after([], count, style) if style else [""] * count
    tested = 0
    for name in names:
        bought = today(cast.at) - timedelta(days=cast.dice.randint(-entry["bought_days"][1], -entry["bought_days"][0]))
        item = item_add(
            uid=cast.uid(),
            type=cast.types[entry["type"]],
            code=codes.mint(cast.dice.randrange),
            name=name,
            length_mm=length_mm,
            home=cast.places[entry["place"]],
            bought_on=bought,
            price_cents=entry["price_cents"],
            at=cast.ago(OWNED_SINCE_DAYS),
            person=cast.people["technician"],
        )
        if tested < entry["tested"]:
            tested += 1
            cast.proved.append(item)


def _case(cast: Cast, entry: dict[str, Any]) -> None:
    case = item_add(
        uid=cast.uid(),
        type=cast.types[entry["type"]],
        code=codes.mint(cast.dice.randrange),
        name=entry["name"],
        home=cast.places[entry["place"]],
        at=cast.ago(OWNED_SINCE_DAYS),
        person=cast.people["technician"],
    )
    cast.cases[entry["name"]] = case
    for key, length_mm, count in entry["plan"]:
        plan_line_set(case=case, type=cast.types[key], length_mm=length_mm, count=count)
        free = Item.objects.filter(type=cast.types[key], length_mm=length_mm, in_case=None).order_by("name", "pk")
        line = CountedLine.objects.filter(type=cast.types[key], length_mm=length_mm).first()
        if line and not free.exists():
            case_count_set(
                uid=cast.uid(),
                case=case,
                line=line,
                count=count - 1,
                at=cast.ago(OWNED_SINCE_DAYS - 5),
                person=cast.people["technician"],
            )
        for item in free[:count]:
            placement_record(
                uid=cast.uid(),
                item=item,
                case=case,
                effective_at=cast.ago(OWNED_SINCE_DAYS - 5),
                device="Ines's laptop",
                person=cast.people["technician"],
            )
