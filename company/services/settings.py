"""Changes to the company's settings."""

from datetime import datetime
from typing import Any

from django.db import transaction

from company.calc.countries import first_guesses
from company.models import Company

GUESSED = ("time_zone", "currency", "mains_hz", "paper", "units")


@transaction.atomic
def settings_change(*, company: Company, **fields: Any) -> Company:
    """Change settings; raise ValidationError for what does not fit."""
    for name, value in fields.items():
        setattr(company, name, value)
    company.full_clean()
    company.save(update_fields=list(fields))
    return company


def country_choose(*, company: Company, country: str) -> Company:
    """Choose a country and take its first guesses, all of which can be changed afterwards."""
    guesses = first_guesses(country)
    fields = {name: getattr(guesses, name) for name in GUESSED} if guesses else {}
    return settings_change(company=company, country=country, **fields)


def company_set_up(*, company: Company, at: datetime, **answers: Any) -> Company:
    """Write the answers to the first questions, and ask them no more."""
    return settings_change(company=company, set_up_at=at, **answers)
