"""What a person adds to be told at: added, tried, taken away, switched on again."""

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotInTimeError
from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import IntegrityError, transaction

from company.models import Person
from maintenance.calc.alert_words import AddressKind
from maintenance.models import Address
from maintenance.sending.mail import Mailer
from maintenance.sending.message import Message
from maintenance.sending.outcome import Fate, Outcome
from maintenance.sending.push import push_send
from maintenance.sending.render import house_now, trial_message
from maintenance.sending.seal import SealBrokenError, fingerprint, seal, unseal
from maintenance.sending.services import SERVICES, NoSuchAddressError, address_of
from maintenance.services.addresses import BY_HAND, OWN, address_drop, email_fingerprint, email_masked

EMAIL = "email"
MOST = 10  # addresses a person
BETWEEN = timedelta(seconds=60)  # two trials of one address
TRIAL_S = 4.0  # each question to a mail server
LONGEST_S = 8.0  # and all of it: a page waits for it
TWICE = "That address is on your list already."


class AddressRefusedError(ValueError):
    """It cannot be done, in words for a person."""


def address_add(*, person: Person, service: str, filled: Mapping[str, str], at: datetime) -> tuple[Address, str]:
    """Add an address; return it with its full text, which is shown this once."""
    if Address.objects.filter(person=person, removed_at=None).count() >= MOST:
        raise AddressRefusedError(f"You have {MOST} addresses: take one away first.")
    if service == EMAIL:
        kind, text, shown, mark = _email(filled.get("email", ""))
    else:
        kind, text, shown, mark = _through(service, filled)
    row = Address(person=person, kind=kind, service=service, shown=shown, sealed=seal(text), fingerprint=mark, made_at=at)
    if Address.objects.filter(person=person, fingerprint=mark, removed_at=None).exists():
        raise AddressRefusedError(TWICE)
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError:
        raise AddressRefusedError(TWICE) from None
    return row, text


def address_remove(*, address: Address, at: datetime) -> bool:
    """Take an address away; what still waited for it is dropped. One's own e-mail goes with the field on one's page."""
    if address.service == OWN:
        raise AddressRefusedError("This is the e-mail address of your own page: change it there.")
    return address_drop(address=address, at=at)


def address_switch(*, address: Address, on: bool, at: datetime) -> bool:
    """Switch an address off by hand, or on again after it failed."""
    if on:
        return bool(Address.objects.filter(pk=address.pk, off_at__isnull=False).update(off_at=None, off_why=""))
    return bool(Address.objects.filter(pk=address.pk, off_at=None).update(off_at=at, off_why=BY_HAND))


def address_try(*, address: Address, at: datetime) -> Outcome:
    """Send a trial there now, with short time-outs, at most once a minute; what came of it is kept with the address.

    The minute is claimed by one conditional update before anything is sent: pressing twice sends once.
    """
    free = Address.objects.filter(pk=address.pk, removed_at=None).exclude(tried_at__gt=at - BETWEEN)
    if not free.update(tried_at=at, tried_well=False):
        raise AddressRefusedError("It was tried a moment ago: wait a minute.")
    outcome = _trial(address, at)
    changes = {"tried_well": outcome.fate is Fate.WENT}
    if outcome.fate is Fate.GONE:
        changes |= {"off_at": at, "off_why": outcome.said[:300]}  # type: ignore[dict-item]
    elif outcome.fate is Fate.WENT:
        changes |= {"off_at": None, "off_why": ""}  # type: ignore[dict-item]
    Address.objects.filter(pk=address.pk).update(**changes)
    return outcome


def _trial(address: Address, at: datetime) -> Outcome:
    try:
        to = unseal(address.sealed)
    except SealBrokenError as error:
        return Outcome(fate=Fate.GONE, said=str(error))
    message = trial_message(house=house_now(), key=f"trial.{address.pk}.{at:%Y%m%d%H%M%S%f}")
    # a thread of its own: names that are looked up, and servers that dribble, keep to no time-out
    pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="trial")
    try:
        return pool.submit(_send, AddressKind(address.kind), address.service, to, message).result(LONGEST_S)
    except NotInTimeError:
        return Outcome(fate=Fate.LATER, said=f"There was no answer within {LONGEST_S:.0f} seconds.", down=True)
    finally:
        pool.shutdown(wait=False)


def _send(kind: AddressKind, service: str, to: str, message: Message) -> Outcome:
    """Send from the thread; touches no database."""
    if kind != AddressKind.EMAIL:
        return push_send(service, to, message)
    mailer = Mailer(timeout_s=TRIAL_S)
    try:
        return mailer.open() or mailer.send(to, message)
    finally:
        mailer.close()


def _email(text: str) -> tuple[AddressKind, str, str, str]:
    email = text.strip()
    try:
        validate_email(email)
    except ValidationError:
        raise AddressRefusedError("That is no e-mail address.") from None
    if len(email) > 254:
        raise AddressRefusedError("That is no e-mail address.")
    return AddressKind.EMAIL, email, email_masked(email), email_fingerprint(email)


def _through(key: str, filled: Mapping[str, str]) -> tuple[AddressKind, str, str, str]:
    service = SERVICES.get(key)
    if service is None:
        raise AddressRefusedError("That service is not on the list.")
    try:
        text = address_of(service, filled)
    except NoSuchAddressError as error:
        raise AddressRefusedError(str(error)) from None
    open_parts = [filled[gap.name].strip() for gap in service.gaps if not gap.secret]
    end = f"…{filled[service.gaps[-1].name].strip()[-3:]}" if not open_parts else ", ".join(open_parts)
    return AddressKind.APPRISE, text, f"{service.name} {end}"[:120], fingerprint(text)
