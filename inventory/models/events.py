"""What the office did with an item: an append-only record beside the scans and the bench tests."""

import uuid

from django.db import models

from company.models import Person
from inventory.models.gear import Item


class ItemEvent(models.Model):
    """An item was added, lent, brought home, retired ...; never edited, so that its life stays whole when its state moves on.

    `uid` makes the same form sent twice one event: the adding of several things takes one uid each, worked out of the form's.
    """

    class What(models.TextChoices):
        ADDED = "added"
        RETIRED = "retired"
        UNRETIRED = "back in use"
        LENT = "lent"
        LENT_HOME = "home again"
        BORROWED = "borrowed"
        GONE_HOME = "gone home"

    uid = models.UUIDField(unique=True, default=uuid.uuid4)
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="events")
    what = models.CharField(max_length=12, choices=What.choices)
    on = models.DateField()
    at = models.DateTimeField()
    note = models.CharField(max_length=200, blank=True, default="")
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ["on", "at", "pk"]

    def __str__(self) -> str:
        return f"{self.item}: {self.what} on {self.on}"
