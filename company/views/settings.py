"""The company's settings, and the questions of its first day."""

from zoneinfo import available_timezones

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from company.access import owner_required
from company.clock import now
from company.forms import CountryForm, SettingsForm, WelcomeForm
from company.models import Company
from company.services.settings import company_set_up, country_choose, settings_change


@owner_required
@require_http_methods(["GET", "POST"])
def settings(request: HttpRequest) -> HttpResponse:
    company = Company.current()
    form = SettingsForm(request.POST or None, instance=company)
    if request.method == "POST" and form.is_valid():
        before = Company.current()
        fields = {name: value for name, value in form.cleaned_data.items() if name != "unbalanced_limit_m"}
        limit_mm = int(form.cleaned_data["unbalanced_limit_m"] * 1000)
        settings_change(company=before, unbalanced_limit_mm=limit_mm, **fields)
        messages.success(request, "The settings are saved.")
        return redirect("settings")
    context = {
        "form": form,
        "country_form": CountryForm(company=Company.current()),
        "zones": sorted(available_timezones()),
        "shown_address": Company.current().site_address,
    }
    return render(request, "company/settings.html", context)


@owner_required
@require_POST
def country(request: HttpRequest) -> HttpResponse:
    """Choose the country and take its first guesses."""
    company = Company.current()
    form = CountryForm(request.POST, company=company)
    to = "welcome" if company.set_up_at is None else "settings"
    if not form.is_valid():
        messages.error(request, "Choose a country from the list.")
        return redirect(to)
    country_choose(company=company, country=form.cleaned_data["country"])
    if to == "settings":
        messages.success(request, "Time zone, currency, units, paper and mains follow the country. Change what does not fit.")
    return redirect(to)


@owner_required
@require_http_methods(["GET", "POST"])
def welcome(request: HttpRequest) -> HttpResponse:
    """Ask five things, once; skipping keeps the guesses."""
    company = Company.current()
    if company.set_up_at is not None:
        return redirect("settings")
    if request.method == "POST" and "skip" in request.POST:
        company_set_up(company=company, at=now())
        messages.success(request, "Fine: the guesses stand. They are under Shop, Settings.")
        return redirect("/")
    form = WelcomeForm(request.POST or None, instance=company)
    if request.method == "POST" and form.is_valid():
        try:
            company_set_up(company=Company.current(), at=now(), **form.cleaned_data)
        except ValidationError as error:
            form.add_error(None, error)
        else:
            messages.success(request, "That is all. Next: say what you own.")
            return redirect("/")
    context = {"form": form, "country_form": CountryForm(company=Company.current()), "zones": sorted(available_timezones())}
    return render(request, "company/welcome.html", context)
