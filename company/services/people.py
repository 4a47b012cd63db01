"""Changes to people: adding, roles, switching off, passwords, tokens."""

import secrets
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet

from company.calc.roles import Role
from company.models import ApiToken, Person

# No 0 O 1 l I: a one-time password is read from paper and typed on a phone.
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"


class LastOwnerError(ValidationError):
    """Refused: nobody would be left who may manage the company."""

    def __init__(self, person: Person) -> None:
        super().__init__(f"{person} is the last owner who can sign in. Make somebody else an owner first.")


def one_time_password() -> str:
    """Return a password of three groups of four, about 59 bits."""
    return "-".join("".join(secrets.choice(_LETTERS) for _ in range(4)) for _ in range(3))


def active_owners() -> QuerySet[Person]:
    return Person.objects.filter(role=Role.OWNER, is_active=True)


@transaction.atomic
def person_add(*, username: str, first_name: str, email: str, role: str) -> tuple[Person, str]:
    """Add a person; return them and the one-time password, which is stored nowhere in the clear."""
    password = one_time_password()
    person = Person(username=username, first_name=first_name, email=email, role=role, must_change_password=True)
    person.set_password(password)
    person.full_clean()
    person.save(force_insert=True)
    return person, password


@transaction.atomic
def person_edit(*, person: Person, first_name: str, email: str, role: str, is_active: bool) -> None:
    """Change who somebody is and what they may do; the last owner who can sign in stays one."""
    # both rows in key order: two owners demoting each other in the same second must not both succeed
    owners = list(active_owners().select_for_update().order_by("pk"))
    if (role != Role.OWNER or not is_active) and [o.pk for o in owners] == [person.pk]:
        raise LastOwnerError(person)
    person.first_name, person.email, person.role, person.is_active = first_name, email, role, is_active
    person.full_clean(exclude=["password"])
    person.save(update_fields=["first_name", "email", "role", "is_active"])


@transaction.atomic
def password_reset(*, person: Person) -> str:
    """Give somebody a new one-time password; every session and device of theirs is signed out by it."""
    password = one_time_password()
    person.set_password(password)
    person.must_change_password = True
    person.save(update_fields=["password", "must_change_password"])
    return password


def password_change(*, person: Person, password: str) -> None:
    """Set the password somebody chose for themselves."""
    person.set_password(password)
    person.must_change_password = False
    person.save(update_fields=["password", "must_change_password"])


def token_withdraw(*, person: Person, token_id: int, at: datetime) -> bool:
    """Withdraw one of this person's tokens; False if it was gone already."""
    return bool(ApiToken.objects.filter(pk=token_id, person=person, withdrawn_at=None).update(withdrawn_at=at))
