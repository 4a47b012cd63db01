"""Where people are told: their own e-mail address, kept in step with their page, and what they add."""

from datetime import datetime

from django.db import transaction

from company.models import Person
from maintenance.calc.alert_words import AddressKind, DeliveryState
from maintenance.models import Address, Delivery
from maintenance.sending.seal import fingerprint, seal

OWN = "own"  # the service of the e-mail address on a person's own page
BY_HAND = "Switched off by hand."


def own_addresses_keep(*, at: datetime, only: Person | None = None) -> None:
    """Bring the address rows of people's own e-mail in step with what their pages say. Two queries where nothing changed.

    A changed e-mail, or a changed key of the program, changes the row in place: what waits for it goes to the new one.
    """
    people = [only] if only else list(Person.objects.filter(is_active=True))
    rows: dict[int, list[Address]] = {}
    for row in Address.objects.filter(person__in=people, removed_at=None, kind=AddressKind.EMAIL):
        rows.setdefault(row.person_id, []).append(row)
    for person in people:
        email = person.email.strip()
        mark = email_fingerprint(email) if email else ""
        kept = rows.get(person.pk, [])
        own = next((row for row in kept if row.service == OWN), None)
        if own is not None and own.fingerprint == mark:
            continue
        elsewhere = any(row.fingerprint == mark for row in kept)
        if own is not None and (not email or elsewhere):
            address_drop(address=own, at=at, why="The e-mail address was taken off that person's page.")
        elif own is not None:
            _own_change(own, email, mark)
        elif email and not elsewhere:
            _own_make(person, email, mark, at)


def _own_change(own: Address, email: str, mark: str) -> None:
    """Put another e-mail address in a row's place; one that was switched off for its old address is tried anew."""
    known = Address.objects.filter(pk=own.pk, fingerprint=own.fingerprint)
    with transaction.atomic():
        known.exclude(off_why=BY_HAND).update(off_at=None, off_why="")
        known.update(sealed=seal(email), shown=email_masked(email), fingerprint=mark, tried_at=None, tried_well=False)


def _own_make(person: Person, email: str, mark: str, at: datetime) -> None:
    row = Address(person=person, kind=AddressKind.EMAIL, service=OWN, shown=email_masked(email), sealed=seal(email))
    row.fingerprint, row.made_at = mark, at
    Address.objects.bulk_create([row], ignore_conflicts=True)  # two at once make one


def address_drop(*, address: Address, at: datetime, why: str = "The address was taken away.") -> bool:
    """Take an address off its person's list and drop what waits for it; False if it was off the list before.

    What it was is forgotten: only the mask stays, beside what was sent there.
    """
    with transaction.atomic():
        gone = Address.objects.filter(pk=address.pk, removed_at=None).update(removed_at=at, sealed="")
        waiting = Delivery.objects.filter(address=address.pk, state=DeliveryState.WAITING)
        waiting.update(state=DeliveryState.DROPPED, said=why)
    return bool(gone)


def email_fingerprint(email: str) -> str:
    # the part before the @ may tell capitals apart, in theory; in life it is the same letter box
    return fingerprint(f"email:{email.strip().lower()}")


def email_masked(email: str) -> str:
    """Show enough of an e-mail address for its owner to know it: `i…s@example.org`."""
    name, _, host = email.rpartition("@")
    hidden = f"{name[0]}…{name[-1]}" if len(name) > 2 else f"{name[:1]}…"
    return f"{hidden}@{host}"[:120]
