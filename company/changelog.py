"""The change log: who edited what. Apps name their models here in `ready()`; django-auditlog writes the rows.

Only `save()` and `delete()` of a row are logged, in the same transaction. Bulk writes (`QuerySet.update`, `bulk_create`) are
not: that is how scans, refolds and other derived columns stay out of it and cost nothing.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from auditlog.models import LogEntry
from auditlog.registry import auditlog
from django.apps import apps
from django.contrib.contenttypes.models import ContentType
from django.core.exceptions import FieldDoesNotExist
from django.db.models import Field, Model, QuerySet
from django.utils.dateparse import parse_date, parse_datetime

from company.calc.field_words import CHOICES, field_words, figure_in_words
from company.templatetags.tape import day, moment

PAGE = 50
_EMPTY = {"", "None"}
_NEVER = {"password", "digest", "last_login"}
_NUMBERS = {"FloatField", "DecimalField", "IntegerField", "SmallIntegerField", "PositiveIntegerField"}
_NUMBERS |= {"PositiveSmallIntegerField", "PositiveBigIntegerField", "BigIntegerField"}
_UNSAID = {"id", "rank"}  # the program's own


@dataclass(frozen=True, kw_only=True)
class Line:
    """One field that changed: its name in words, what it was, what it is."""

    field: str
    old: str
    new: str


@dataclass(frozen=True, kw_only=True)
class Entry:
    """One row of the change log as a page shows it."""

    at: datetime
    who: str
    did: str
    kind: str
    what: str
    url: str
    lines: list[Line]


def track(model: type[Model], *, exclude: Iterable[str] = ()) -> None:
    """Keep a change log of this model, without the columns in `exclude`; naming it twice does no harm."""
    if not auditlog.contains(model):
        hidden = [name for name in _NEVER if name in {f.name for f in model._meta.fields}]
        auditlog.register(model, exclude_fields=[*exclude, *hidden], m2m_fields=None)


def tracked_kinds() -> list[tuple[int, str]]:
    """Return (content type id, name in words) of every model that is tracked, by name."""
    kinds = [
        (ContentType.objects.get_for_model(model, for_concrete_model=False).pk, str(model._meta.verbose_name).capitalize())
        for model in auditlog.get_models()
    ]
    return sorted(kinds, key=lambda kind: kind[1])


def changes(
    *,
    zone: ZoneInfo,
    person_id: int | None = None,
    kind_id: int | None = None,
    on: date | None = None,
    before: int | None = None,
) -> QuerySet[LogEntry]:
    """Return log rows, the newest first, by keyset: `before` is the last row of the page above, so nothing is ever counted."""
    rows = LogEntry.objects.select_related("actor", "content_type").order_by("-pk")
    if person_id is not None:
        rows = rows.filter(actor_id=person_id)
    if kind_id is not None:
        rows = rows.filter(content_type_id=kind_id)
    if on is not None:
        start = datetime.combine(on, time.min, tzinfo=zone)
        rows = rows.filter(timestamp__gte=start, timestamp__lt=datetime.combine(on + timedelta(days=1), time.min, tzinfo=zone))
    if before is not None:
        rows = rows.filter(pk__lt=before)
    return rows


def in_words(rows: Iterable[LogEntry], *, currency: str = "") -> list[Entry]:
    """Tell each row in words, amounts in the company's currency; costs no query a row."""
    return [_entry(row, currency) for row in rows]


def _entry(row: LogEntry, currency: str) -> Entry:
    model = _model_of(row.content_type)
    did = {LogEntry.Action.CREATE: "added", LogEntry.Action.UPDATE: "changed", LogEntry.Action.DELETE: "removed"}
    lines = [] if row.action == LogEntry.Action.DELETE else list(_lines(model, row.changes or {}, row.action, currency))
    kind = str(model._meta.verbose_name) if model else str(row.content_type.model)
    return Entry(
        at=row.timestamp,
        who=str(row.actor) if row.actor else "the program",
        did=did.get(row.action, "looked at"),
        kind=kind,
        what="" if row.object_repr.casefold() == kind.casefold() else row.object_repr,  # of what there is only one
        url=_address(model, row),
        lines=lines,
    )


def _model_of(kind: ContentType) -> type[Model] | None:
    try:
        return apps.get_model(kind.app_label, kind.model)
    except LookupError:
        return None


def _address(model: type[Model] | None, row: LogEntry) -> str:
    """Return the page of what was changed, where its address needs no more than the key."""
    if model is None or row.action == LogEntry.Action.DELETE or not hasattr(model, "get_absolute_url"):
        return ""
    try:
        return model(pk=row.object_id).get_absolute_url()
    except Exception:
        return ""


def _lines(model: type[Model] | None, changed: dict[str, Any], action: int, currency: str) -> Iterator[Line]:
    for name, pair in changed.items():
        if not isinstance(pair, list) or len(pair) != 2 or name in _UNSAID:
            continue
        field = _field(model, name)
        if field is None and _is_relation(model, name):
            continue
        old, new = (_value(field, str(v), currency) for v in pair)
        if action == LogEntry.Action.CREATE and new in {"", "no"}:
            continue  # of what was added, only what was said
        own = str(field.verbose_name) if field else name
        called = field_words(name)[0] if own in {name, name.replace("_", " ")} else own
        yield Line(field=called, old=old, new=new)


def _field(model: type[Model] | None, name: str) -> Field | None:
    try:
        found = model._meta.get_field(name) if model else None
    except FieldDoesNotExist:
        return None
    return found if isinstance(found, Field) else None


def _is_relation(model: type[Model] | None, name: str) -> bool:
    """Say whether this is what others point at a row with: nobody edited that."""
    try:
        return model is not None and not isinstance(model._meta.get_field(name), Field)
    except FieldDoesNotExist:
        return False


def _value(field: Field | None, stored: str, currency: str) -> str:
    """Write a stored value the way a page would: choices by their words, figures with their unit, days as everywhere else."""
    if stored in _EMPTY:
        return ""
    if stored in {"True", "False"}:
        return "yes" if stored == "True" else "no"
    if field is None:
        return stored
    kind = field.get_internal_type()
    if field.choices:
        words = {str(value): str(word) for value, word in field.flatchoices}
        return CHOICES.get((field.name, stored)) or words.get(stored, stored)
    if kind == "DateTimeField" and (instant := parse_datetime(stored)):  # stored naive, in UTC
        return moment(instant if instant.tzinfo else instant.replace(tzinfo=UTC))
    if kind == "DateField" and (when := parse_date(stored)):
        return day(when)
    if kind in _NUMBERS and (figure := _number(stored)) is not None:
        return figure_in_words(figure, field_words(field.name)[1], currency)
    return stored


def _number(stored: str) -> float | None:
    try:
        return float(stored)
    except ValueError:
        return None
