"""Let the database itself check lengths and ranges, so that a shop can move from SQLite to PostgreSQL without surprises."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Length
from django.db.models.lookups import LessThanOrEqual


def guard(*guarded: type[models.Model]) -> None:
    """Add a named check for every text column's length and every column with a least and a most; call it once, where the
    models are gathered."""
    for model in guarded:
        checks = [check for field in model._meta.local_fields if (check := _check_of(model, field))]
        model._meta.constraints = [*model._meta.constraints, *checks]
        # migrations read the constraints from here
        model._meta.original_attrs["constraints"] = model._meta.constraints


def _check_of(model: type[models.Model], field: models.Field) -> models.CheckConstraint | None:
    name = f"{model._meta.model_name}_{field.name}_fits"
    words = field.verbose_name.capitalize()
    if isinstance(field, models.CharField) and field.max_length:
        return models.CheckConstraint(
            condition=LessThanOrEqual(Length(F(field.name)), field.max_length),
            name=name,
            violation_error_message=f"{words} has at most {field.max_length} characters.",
        )
    low = next((v.limit_value for v in field._validators if isinstance(v, MinValueValidator)), None)
    high = next((v.limit_value for v in field._validators if isinstance(v, MaxValueValidator)), None)
    if low is None and high is None:
        return None
    fits = Q()
    if low is not None:
        fits &= Q(**{f"{field.name}__gte": low})
    if high is not None:
        fits &= Q(**{f"{field.name}__lte": high})
    if field.null:
        fits |= Q(**{field.name: None})
    bounds = " and ".join(
        p for p in (f"at least {low}" if low is not None else "", f"at most {high}" if high is not None else "") if p
    )
    return models.CheckConstraint(condition=fits, name=name, violation_error_message=f"{words} is {bounds}.")
