"""What the search box finds among people."""

from collections.abc import Iterable
from typing import cast

from django.db.models import Q
from django.http import HttpRequest
from django.urls import reverse

from company.models import Person
from company.registries import Found


def people_found(request: HttpRequest, text: str, limit: int) -> Iterable[Found]:
    """Answer people by what others call them or what they sign in as, for technicians; an owner gets to their page."""
    word, asks = text.replace("\x00", "").strip(), cast(Person, request.user)
    if len(word) < 2 or not asks.is_technician:
        return
    named = Person.objects.with_accounts().filter(Q(first_name__icontains=word) | Q(username__icontains=word))
    for person in named.order_by("first_name", "username")[:limit]:
        page = reverse("person", args=[person.pk]) if asks.is_owner else ""
        left = "" if person.is_active else ", switched off"
        yield Found(name=str(person), url=page, note=f"{person.role}{left}", kind="People")
