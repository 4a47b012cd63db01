"""Who is told of an alert, at which addresses, and when: loaded once for many alerts."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from company.calc.roles import at_least
from company.models import Company, Person
from maintenance.calc.telling import quiet_end
from maintenance.models import Address, Alert, RuleSetting, Telling


@dataclass(frozen=True, kw_only=True)
class Recipients:
    """The active people with how they are told, the people each rule names, and everybody's addresses that work."""

    people: dict[int, Person]
    tellings: dict[int, Telling]
    named: dict[str, set[int]]
    addresses: dict[int, list[Address]]
    zone: ZoneInfo

    def of(self, alert: Alert) -> list[Person]:
        """Return who is told: the one it was handed to alone; else whom its rule names; else everybody of its role."""
        if alert.handed_to_id is not None:
            handed = self.people.get(alert.handed_to_id)
            return [handed] if handed else []
        named = self.named.get(alert.rule)
        if named:
            return [person for person in self.people.values() if person.pk in named]
        return [person for person in self.people.values() if at_least(person.role, alert.role)]

    def telling_of(self, person_id: int) -> Telling:
        return self.tellings.get(person_id) or Telling(person_id=person_id)

    def zone_of(self, person_id: int) -> ZoneInfo:
        return zone_of(self.telling_of(person_id), self.zone)

    def not_before(self, person_id: int, *, urgent: bool, at: datetime) -> datetime:
        """Return when a person may be told: now, or when their quiet hours are over."""
        if urgent:
            return at
        telling = self.telling_of(person_id)
        return quiet_end(at, self.zone_of(person_id), telling.quiet_from, telling.quiet_until) or at


def recipients_now() -> Recipients:
    """Load everybody who may be told, in a constant number of queries."""
    people = {person.pk: person for person in Person.objects.filter(is_active=True)}
    named: dict[str, set[int]] = {}
    for rule, person_id in RuleSetting.people.through.objects.values_list("rulesetting_id", "person_id"):
        named.setdefault(rule, set()).add(person_id)
    # people who have left are named no longer; a rule all of whose people left goes back to its role
    named = {rule: kept for rule, ids in named.items() if (kept := ids & people.keys())}
    found: dict[int, list[Address]] = {}
    for address in Address.objects.filter(removed_at=None, off_at=None):
        found.setdefault(address.person_id, []).append(address)
    return Recipients(
        people=people,
        tellings={telling.person_id: telling for telling in Telling.objects.filter(person_id__in=people)},
        named=named,
        addresses=found,
        zone=Company.current().zone,
    )


def zone_of(telling: Telling, otherwise: ZoneInfo) -> ZoneInfo:
    """Return a person's zone; the company's if they chose none, or one this machine knows no more."""
    if not telling.time_zone:
        return otherwise
    try:
        return ZoneInfo(telling.time_zone)
    except (ZoneInfoNotFoundError, ValueError):
        return otherwise
