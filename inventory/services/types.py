"""Gear types: add and edit one with the facts of its kind, and say what goes with what."""

from typing import Any

from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.db.models import ProtectedError

from inventory.calc.kinds import KINDS_WITHOUT_STANDING, Kind
from inventory.models import FACTS_OF_KIND, GearType, GoesWith
from inventory.services.items import GearRefused


def type_add(*, kind: Kind, fields: dict[str, Any], facts: dict[str, Any]) -> GearType:
    """Add a gear type with the facts of its kind."""
    type_ = GearType(kind=kind, has_standing=kind not in KINDS_WITHOUT_STANDING, **fields)
    try:
        type_.full_clean(exclude=["key"])
        with transaction.atomic():
            type_.save(force_insert=True)
            _facts_set(type_, facts)
    except ValidationError as wrong:
        raise GearRefused(" ".join(wrong.messages)) from wrong
    except IntegrityError as error:
        raise GearRefused("There is a gear type of that name already.") from error
    return type_


def type_edit(*, type: GearType, fields: dict[str, Any], facts: dict[str, Any]) -> GearType:
    """Change a gear type and its facts; its kind stays, since its facts hang on it."""
    try:
        with transaction.atomic():
            locked = GearType.objects.select_for_update().get(pk=type.pk)
            changed = [name for name, value in fields.items() if getattr(locked, name) != value]
            for name in changed:
                setattr(locked, name, fields[name])
            if changed:
                locked.full_clean(exclude=["key"])
                locked.save(update_fields=changed)
            _facts_set(locked, facts)
    except GearType.DoesNotExist as error:
        raise GearRefused("That gear type is gone: somebody has just deleted it.") from error
    except ValidationError as wrong:
        raise GearRefused(" ".join(wrong.messages)) from wrong
    except IntegrityError as error:
        raise GearRefused("There is a gear type of that name already.") from error
    return locked


def type_delete(*, type: GearType) -> None:
    """Delete a gear type nothing is of; one that is used stays."""
    try:
        with transaction.atomic():
            type.delete()
    except ProtectedError as used:
        raise GearRefused(f"There are things of this type on record: {type} stays.") from used


def goes_with_add(*, type: GearType, needs: GearType, count: int = 1, length_mm: int = 0) -> GoesWith:
    """Say that so many of another type always go with this one; said again, the count changes."""
    if type.pk == needs.pk:
        raise GearRefused("A thing cannot go with itself.")
    if not 1 <= count <= 100:
        raise GearRefused("Between 1 and 100 go with it.")
    row, _made = GoesWith.objects.update_or_create(type=type, needs=needs, length_mm=length_mm, defaults={"count": count})
    return row


def goes_with_remove(*, row: GoesWith) -> None:
    """Take back that something goes with a type."""
    row.delete()


def _facts_set(type_: GearType, facts: dict[str, Any]) -> None:
    model = FACTS_OF_KIND[Kind(type_.kind)]
    found = model.objects.filter(type=type_).first()
    row = found or model(type=type_)
    changed = [name for name, value in facts.items() if getattr(row, name) != value]
    for name in changed:
        setattr(row, name, facts[name])
    row.clean_fields(exclude=["type"])
    if found is None:
        row.save(force_insert=True)
    elif changed:
        row.save(update_fields=changed)
