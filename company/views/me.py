"""One's own page: name, look, tokens."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from company.access import signed_in
from company.clock import now
from company.forms import MeForm, TokenForm
from company.models import ApiToken, Person
from company.services.people import token_withdraw
from company.views.sign import safe_next

THEME_KEPT_S = 60 * 60 * 24 * 400


@require_http_methods(["GET", "POST"])
def me(request: HttpRequest) -> HttpResponse:
    person = Person.objects.get(pk=signed_in(request).pk)
    form = MeForm(request.POST or None, instance=person)
    if request.method == "POST" and form.is_valid():
        person.save(update_fields=["first_name", "email", "theme"])
        messages.success(request, "Saved.")
        return _with_theme(redirect("me"), person.theme, request)
    return _draw(request, form=form)


@require_POST
def token_make(request: HttpRequest) -> HttpResponse:
    """Make a token and show it on this answer alone."""
    form = TokenForm(request.POST)
    if not form.is_valid():
        return _draw(request, token_form=form)
    _token, text = ApiToken.make(person=signed_in(request), name=form.cleaned_data["name"], made_at=now())
    response = _draw(request, shown_once=text)
    response["Cache-Control"] = "no-store"
    return response


@require_POST
def token_drop(request: HttpRequest, token_id: int) -> HttpResponse:
    if token_withdraw(person=signed_in(request), token_id=token_id, at=now()):
        messages.success(request, "The token is withdrawn. Whatever used it can no longer sign in.")
    else:
        messages.warning(request, "That token was withdrawn already.")
    return redirect("me")


@require_POST
def theme(request: HttpRequest) -> HttpResponse:
    """Change the look, for this browser and for this person."""
    wanted = request.POST.get("theme", "")
    if wanted not in {"dark", "paper"}:
        messages.error(request, "The look is dark desk or paper.")
        return redirect(safe_next(request))
    Person.objects.filter(pk=signed_in(request).pk).update(theme=wanted)
    return _with_theme(redirect(safe_next(request)), wanted, request)


def _with_theme(response: HttpResponse, wanted: str, request: HttpRequest) -> HttpResponse:
    response.set_cookie("theme", wanted, max_age=THEME_KEPT_S, samesite="Lax", secure=request.is_secure(), httponly=True)
    return response


def _draw(
    request: HttpRequest, form: MeForm | None = None, token_form: TokenForm | None = None, shown_once: str = ""
) -> HttpResponse:
    return render(
        request,
        "company/me.html",
        {
            "form": form or MeForm(instance=Person.objects.get(pk=signed_in(request).pk)),
            "token_form": token_form or TokenForm(),
            "tokens": ApiToken.objects.filter(person_id=signed_in(request).pk, withdrawn_at=None),
            "shown_once": shown_once,
        },
    )
