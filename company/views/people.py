"""People: who signs in, and what they may do."""

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from company.access import owner_required
from company.forms import PersonAddForm, PersonForm
from company.models import Person
from company.services.people import LastOwnerError, password_reset, person_add, person_edit
from company.tables import ListConfig, PeopleTable


@owner_required
@require_safe
def people(request: HttpRequest) -> HttpResponse:
    table = PeopleTable(Person.objects.with_accounts())
    ListConfig(request, paginate={"per_page": 50}).configure(table)
    return render(request, "company/people.html", {"table": table})


@owner_required
@never_cache
@require_http_methods(["GET", "POST"])
def person_new(request: HttpRequest) -> HttpResponse:
    form = PersonAddForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            person, password = person_add(**form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, ValidationError(error.messages))
        else:
            return _once(request, person, password)
    return render(request, "company/person_add.html", {"form": form})


@owner_required
@require_http_methods(["GET", "POST"])
def person(request: HttpRequest, person_id: int) -> HttpResponse:
    who = get_object_or_404(Person.objects.with_accounts(), pk=person_id)
    names = ["first_name", "email", "role", "is_active"]
    form = PersonForm(request.POST or None, initial={name: getattr(who, name) for name in names})
    if request.method == "POST" and form.is_valid():
        try:
            person_edit(person=who, **form.cleaned_data)
        except LastOwnerError as error:
            form.add_error("role" if form.cleaned_data["role"] != who.role else "is_active", error)
        except ValidationError as error:
            form.add_error(None, ValidationError(error.messages))
        else:
            messages.success(request, f"{who} is saved." if who.is_active else f"{who} can no longer sign in.")
            return redirect("people")
        who.refresh_from_db()
    return render(request, "company/person.html", {"form": form, "who": who})


@owner_required
@never_cache
@require_POST
def person_password(request: HttpRequest, person_id: int) -> HttpResponse:
    """Give somebody a new one-time password and show it on this answer alone."""
    who = get_object_or_404(Person.objects.with_accounts(), pk=person_id)
    if who == request.user:
        messages.warning(request, "Change your own password here.")
        return redirect("password")
    return _once(request, who, password_reset(person=who))


def _once(request: HttpRequest, who: Person, password: str) -> HttpResponse:
    return render(request, "company/person_once.html", {"who": who, "password": password})
