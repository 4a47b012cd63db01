"""Writes to crew passes: made, started on by a phone, withdrawn."""

import secrets
from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.db import transaction

from company.models import CREW, Person
from shows.calc.crew import Limits
from shows.calc.words import ShowState
from shows.models import CrewPass, PassHolder, Show

TOKEN_BYTES = 24  # 192 bits: not to be guessed, and still a small QR code
MOST_PHONES = 40  # on one pass: more is a link that went round
SEEN_EVERY = timedelta(minutes=10)  # a read must not cost a write


def pass_make(*, show: Show, person: Person, at: datetime) -> tuple[CrewPass, str]:
    """Make a pass and answer it with its token, which is stored nowhere in the clear."""
    if show.state != ShowState.PLANNED:
        raise ValidationError("A show that is closed or cancelled takes no crew.")
    if show.home_by <= at:
        raise ValidationError("That show is home already: a pass would let nobody start.")
    token = secrets.token_urlsafe(TOKEN_BYTES)
    return CrewPass.objects.create(show=show, digest=CrewPass.hash_of(token), made_at=at, made_by=person), token


def pass_of(token: str) -> CrewPass | None:
    """Return the pass a link opens."""
    return CrewPass.objects.select_related("show").filter(digest=CrewPass.hash_of(token)).first()


@transaction.atomic
def pass_start(*, crew_pass: CrewPass, name: str, at: datetime) -> tuple[PassHolder, str]:
    """Let a phone start on a pass; answers it with what its cookie carries, stored nowhere in the clear."""
    held = CrewPass.objects.select_for_update().select_related("show").get(pk=crew_pass.pk)
    if held.withdrawn_at is not None:
        raise ValidationError("This pass was withdrawn. Ask for another one.")
    if held.show.state != ShowState.PLANNED or held.show.home_by <= at:
        raise ValidationError(f"{held.show.name} is over: nobody new starts on its pass.")
    number = held.holders.count() + 1
    if number > MOST_PHONES:
        raise ValidationError(f"{MOST_PHONES} phones are on this pass already. Ask for another one.")
    cookie = secrets.token_urlsafe(TOKEN_BYTES)
    said = " ".join(name.replace("\x00", "").split())[:40]
    person = Person(
        username=f"crew-{held.pk}-{number}",
        first_name=f"{said or f'phone {number}'}, crew",
        role=CREW,
        is_active=False,  # it cannot sign in, and no list of people offers it
    )
    person.set_unusable_password()
    person.save(force_insert=True)
    holder = PassHolder.objects.create(
        crew_pass=held, person=person, digest=CrewPass.hash_of(cookie), name=said, started_at=at, seen_at=at
    )
    return holder, cookie


def holder_of(cookie: str) -> PassHolder | None:
    """Return the phone a cookie belongs to, withdrawn or not; one query."""
    found = PassHolder.objects.select_related("person", "crew_pass__show__venue")
    return found.filter(digest=CrewPass.hash_of(cookie)).first() if cookie else None


def limits_of(actor: Person | None) -> Limits | None:
    """Return what somebody may scan; None: all that a person with an account may. No query for these."""
    if actor is None or actor.role != CREW:
        return None
    return PassHolder.objects.select_related("crew_pass__show").get(person=actor).limits


def holder_seen(*, holder: PassHolder, at: datetime) -> None:
    """Note that a phone was heard of, at most every ten minutes."""
    if at - holder.seen_at > SEEN_EVERY:
        PassHolder.objects.filter(pk=holder.pk).update(seen_at=at)


def pass_withdraw(*, crew_pass: CrewPass, person: Person, at: datetime) -> bool:
    """Withdraw a pass with all its phones; what they scanned before counts. False: it was withdrawn already."""
    open_ones = CrewPass.objects.filter(pk=crew_pass.pk, withdrawn_at=None)
    return open_ones.update(withdrawn_at=at, withdrawn_by=person) == 1


def holder_withdraw(*, holder: PassHolder, at: datetime) -> bool:
    """Withdraw one phone; what it scanned before counts. False: it was withdrawn already."""
    return PassHolder.objects.filter(pk=holder.pk, withdrawn_at=None).update(withdrawn_at=at) == 1
