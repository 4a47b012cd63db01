"""SCHEMA.md of an export: every table and column in a person's words, made from the models, so that it cannot go stale."""

import re
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from company.backup_rows import columns, tables
from company.calc.field_words import MONEY, SHARE, field_words
from company.registries import GOES_OUT

_SAID_IN = {MONEY: "cents of the shop's currency", SHARE: "share of 1"}


@dataclass(frozen=True, kw_only=True)
class Outgoing:
    """One table that goes out: its model, what a row is, and the columns that go."""

    model: type[models.Model]
    row: str
    fields: list[models.Field]

    @property
    def table(self) -> str:
        return self.model._meta.db_table


def outgoing() -> list[Outgoing]:
    """Return every table that goes out, in order of name. A table nobody has decided on stays."""
    rows, without = {}, without_named()
    for say in GOES_OUT:
        rows.update(say().out)
    return [
        Outgoing(
            model=model,
            row=rows[model._meta.label] or _first_paragraph(model),
            fields=[f for f in columns(model) if f"{model._meta.label}.{f.name}" not in without],
        )
        for model in tables().values()
        if model._meta.label in rows
    ]


def stays_named() -> dict[str, str]:
    """Return the label of every table that never goes out, with why."""
    return {label: why for say in GOES_OUT for label, why in say().stays.items()}


def without_named() -> dict[str, str]:
    """Return every column that never goes out, as app.Model.column, with why."""
    return {name: why for say in GOES_OUT for name, why in say().without.items()}


def left_out() -> list[str]:
    """Say in a line each what an export leaves out, and why."""
    lines = [f"`{apps.get_model(label)._meta.db_table}`: {why}" for label, why in _tables_with_why()]
    for name, why in without_named().items():
        model, _, column = name.rpartition(".")
        lines.append(f"the column `{column}` of `{apps.get_model(model)._meta.db_table}`: {why}")
    return [*lines, "the files of jobs (lists that were brought in, workbooks that were made): kept for 30 days only"]


def _tables_with_why() -> list[tuple[str, str]]:
    known = {m._meta.label for m in apps.get_models()}
    return [(label, why) for label, why in stays_named().items() if label in known]


def schema_text(found: list[Outgoing]) -> str:
    """Return SCHEMA.md."""
    lines = ["# What is in each table", ""]
    for one in found:
        lines += [f"## {one.table}", "", one.row, ""]
        lines += ["| column | what it is | type | unit | may hold | points at |", "|---|---|---|---|---|---|"]
        lines += ["| " + " | ".join(_cell(word) for word in _column(field)) + " |" for field in one.fields]
        if always := _always(one.model):
            lines += ["", "What always holds:", "", *(f"- {said}" for said in always)]
        lines.append("")
    return "\n".join([*lines, "# What was left out", "", *(f"- {said}" for said in left_out()), ""])


def _column(field: models.Field) -> tuple[str, str, str, str, str, str]:
    called, unit = field_words(field.name)
    about = called if not field.help_text else f"{called}. {field.help_text}"
    kind, target, points = _kind(field), field, ""
    if isinstance(field, models.ForeignKey):
        target = field.target_field
        kind = _kind(target)
        points = f"`{field.related_model._meta.db_table}.{target.column}`"
    unit = _SAID_IN.get(unit, unit) if kind in {"whole number", "number", "decimal"} and not points else ""
    return f"`{field.column}`", about, kind, unit, _holds(field), points


def _kind(field: models.Field) -> str:
    if isinstance(field, models.FileField):
        return "text: a file under media/"
    for kind, said in (
        (models.BooleanField, "yes or no (true, false)"),
        (models.IntegerField, "whole number"),
        (models.FloatField, "number"),
        (models.DecimalField, "decimal"),
        (models.DateTimeField, "instant"),
        (models.DateField, "day"),
        (models.TimeField, "time of day"),
        (models.DurationField, "duration"),
        (models.UUIDField, "UUID"),
        (models.JSONField, "JSON"),
        (models.BinaryField, "bytes, in base64"),
    ):
        if isinstance(field, kind):
            return said
    return "text"


def _holds(field: models.Field) -> str:
    parts = []
    if field.choices:
        parts.append(
            "one of " + ", ".join(_choice(value, label) for value, label in field.flatchoices if value not in {"", None})
        )
    low = next((v.limit_value for v in field._validators if isinstance(v, MinValueValidator)), None)
    high = next((v.limit_value for v in field._validators if isinstance(v, MaxValueValidator)), None)
    if low is not None or high is not None:
        said = (f"at least {low}" if low is not None else "", f"at most {high}" if high is not None else "")
        parts.append(", ".join(filter(None, said)))
    if isinstance(field, models.CharField) and field.max_length and not field.choices:
        parts.append(f"at most {field.max_length} characters")
    if field.primary_key:
        parts.append("the row's key")
    elif field.unique:
        parts.append("no two rows the same")
    if field.null:
        parts.append("may be missing")
    elif field.blank and isinstance(field, models.CharField | models.TextField):
        parts.append("may be empty")
    return "; ".join(parts)


def _choice(value: Any, label: Any) -> str:
    return f"`{value}`" if str(value) == str(label) else f"`{value}` ({label})"


def _always(model: type[models.Model]) -> list[str]:
    # a column's own limits stand in its line already (company/guards.py names them so)
    return [
        str(rule.violation_error_message)
        for rule in model._meta.constraints
        if not rule.name.endswith("_fits") and rule.violation_error_message != rule.default_violation_error_message
    ]


def _first_paragraph(model: type[models.Model]) -> str:
    said = (model.__doc__ or "").strip().split("\n\n")[0]
    return re.sub(r"\s+", " ", said)


def _cell(text: str) -> str:
    return re.sub(r"\s+", " ", text).replace("|", "\\|")
