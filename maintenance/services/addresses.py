"""Where people are told: their own e-mail address, kept in step with their page, and what they add."""

from datetime import datetime

from company.models import Person
from maintenance.calc.alert_words import AddressKind, DeliveryState
from maintenance.models import Address, Delivery
from maintenance.sending.seal import SealBrokenError, fingerprint, seal, unseal

OWN = "own"  # the service of the e-mail address on a person's own page


def own_addresses_keep(*, at: datetime, only: Person | None = None) -> None:
    """Bring the address rows of people's own e-mail in step with what their pages say. Two queries where nothing changed."""
    people = [only] if only else list(Person.objects.filter(is_active=True))
    rows: dict[int, list[Address]] = {}
    for row in Address.objects.filter(person__in=people, removed_at=None, kind=AddressKind.EMAIL):
        rows.setdefault(row.person_id, []).append(row)
    new, gone = [], []
    for person in people:
        email = person.email.strip()
        mark = email_fingerprint(email) if email else ""
        kept = rows.get(person.pk, [])
        for row in kept:
            if row.service == OWN and row.fingerprint != mark:
                if email and _unreadable(row):
                    # the program's key is another: what the page says is sealed anew, and nothing that waits is lost
                    row.shown, row.sealed, row.fingerprint = email_masked(email), seal(email), mark
                    row.save(update_fields=["shown", "sealed", "fingerprint"])
                else:
                    gone.append(row.pk)
        if email and not any(row.fingerprint == mark for row in kept):
            new.append(
                Address(
                    person=person,
                    kind=AddressKind.EMAIL,
                    service=OWN,
                    shown=email_masked(email),
                    sealed=seal(email),
                    fingerprint=mark,
                    made_at=at,
                )
            )
    if gone:
        Address.objects.filter(pk__in=gone).update(removed_at=at)
        Delivery.objects.filter(address__in=gone, state=DeliveryState.WAITING).update(
            state=DeliveryState.DROPPED, said="The address was changed."
        )
    if new:
        Address.objects.bulk_create(new, ignore_conflicts=True)


def _unreadable(row: Address) -> bool:
    try:
        unseal(row.sealed)
    except SealBrokenError:
        return True
    return False


def email_fingerprint(email: str) -> str:
    # the part before the @ may tell capitals apart, in theory; in life it is the same letter box
    return fingerprint(f"email:{email.strip().lower()}")


def email_masked(email: str) -> str:
    """Show enough of an e-mail address for its owner to know it: `i…s@example.org`."""
    name, _, host = email.rpartition("@")
    hidden = f"{name[0]}…{name[-1]}" if len(name) > 2 else f"{name[:1]}…"
    return f"{hidden}@{host}"[:120]
