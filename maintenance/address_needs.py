"""Addresses that were switched off because nothing arrives there: said to their person and to the owner until it is mended."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.http import HttpRequest
from django.urls import reverse

from company.calc.roles import Role
from company.models import Person
from company.registries import Need
from maintenance.models import Address
from maintenance.services.addresses import BY_HAND, OWN

MOST = 20


@dataclass(frozen=True, kw_only=True)
class Dead:
    """One address that is off: what to say of it, and the page where it is mended."""

    address: Address
    name: str
    says: str
    url: str


def addresses_dead(person: Person) -> list[Dead]:
    """Return the addresses a person must see to: their own, and for an owner everybody's. One query.

    One that was switched off by hand is no failure. It is gone from here once it is switched on, changed or taken away.
    """
    rows = Address.objects.filter(removed_at=None, off_at__isnull=False, person__is_active=True).exclude(off_why=BY_HAND)
    if not person.is_at_least(Role.OWNER):
        rows = rows.filter(person=person)
    return [_dead(row, person) for row in rows.select_related("person").order_by("off_at", "pk")[:MOST]]


def _dead(row: Address, person: Person) -> Dead:
    if row.person_id == person.pk:
        how = "Change it on your own page" if row.service == OWN else "Switch it on again or take it away"
        url = reverse("me") if row.service == OWN else reverse("telling")
        return Dead(address=row, name="Your address is switched off", says=f"{row.off_why} {how}, then try it.", url=url)
    whose = f"{row.person}: an address is switched off"
    url = reverse("person", args=[row.person_id]) if row.service == OWN else reverse("deliveries")
    return Dead(
        address=row, name=whose, says=f"{row.off_why} They are told nothing at {row.shown} until it is mended.", url=url
    )


def addresses_needs(request: HttpRequest, at: datetime) -> Iterable[Need]:
    """Name the addresses that are switched off as things to see to."""
    person = request.user
    for dead in addresses_dead(person) if isinstance(person, Person) else ():
        yield Need(
            key=f"address:{dead.address.pk}",
            name=dead.name,
            code=dead.address.shown,
            url=dead.url,
            fact="Nothing arrives there.",
            why=dead.says,
            mark="person",
            group="address:dead",
        )
