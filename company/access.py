"""Who may open a page: one decorator, so that the walk over every address has one thing to check."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from company.calc.roles import Role
from company.models import Person

View = Callable[..., HttpResponse]


def role_required(role: str) -> Callable[[View], View]:
    """Let only people of at least `role` in; others get a sentence and 403. Signing in is asked for by the middleware."""

    def wrap(view: View) -> View:
        @wraps(view)
        def checked(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not request.user.is_authenticated or not request.user.is_at_least(role):
                return render(request, "403.html", {"wanted": role}, status=403)
            return view(request, *args, **kwargs)

        return checked

    return wrap


def signed_in(request: HttpRequest) -> Person:
    """Return who asks; the middleware lets nobody else through to a view."""
    assert isinstance(request.user, Person)  # noqa: S101 (tells the type checker what the middleware made sure of)
    return request.user


technician_required = role_required(Role.TECHNICIAN)
owner_required = role_required(Role.OWNER)
