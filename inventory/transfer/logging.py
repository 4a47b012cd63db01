"""Bulk writes leave no trace in the change log by themselves: what a list changed is entered here, many rows at once."""

from typing import Any

from auditlog.models import LogEntry
from django.contrib.contenttypes.models import ContentType
from django.db.models import Model

from inventory.transfer.base import Order, Row


def changes_log(model: type[Model], changes: list[tuple[Row, str, dict[str, Any]]], order: Order) -> None:
    """Enter (row, what the thing is called, its new columns) in the change log, with who brought the list."""
    kind = ContentType.objects.get_for_model(model, for_concrete_model=False)
    LogEntry.objects.bulk_create(
        [
            LogEntry(
                content_type=kind,
                object_pk=str(row.target),
                object_id=row.target,
                object_repr=called,
                action=LogEntry.Action.UPDATE,
                changes={name.removesuffix("_id"): [str(row.before[name]), str(new[name])] for name in row.before},
                actor=order.person,
                timestamp=order.at,
            )
            for row, called, new in changes
        ]
    )
