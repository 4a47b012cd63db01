"""Rigs: named sets that always go together."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse

from inventory.models import GearType
from inventory.models.gear import LENGTH_MM
from shows.calc.words import Critical, Feed


class Rig(models.Model):
    """A named set: mains loudspeakers, monitors, desk, power."""

    name = models.CharField(max_length=60, unique=True)
    notes = models.CharField(max_length=300, blank=True, default="")

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="rig_named", violation_error_message="A rig needs a name."),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("rig", args=[self.pk])


class RigRow(models.Model):
    """So many of a type, and of a length if it has one, in a rig."""

    rig = models.ForeignKey(Rig, on_delete=models.CASCADE, related_name="rows")
    type = models.ForeignKey(GearType, on_delete=models.PROTECT, related_name="rig_rows")
    length_mm = models.PositiveIntegerField(default=0, validators=LENGTH_MM)
    count = models.PositiveIntegerField(default=1, validators=[MinValueValidator(1), MaxValueValidator(10_000)])
    feed = models.CharField(max_length=8, blank=True, default="", choices=[(f.value, f.value or "nothing") for f in Feed])
    critical = models.CharField(max_length=8, choices=[(c.value, c.value) for c in Critical], default=Critical.NORMAL)
    line = models.CharField(max_length=40, blank=True, default="")

    class Meta:
        ordering = ["type__name", "length_mm"]
        constraints = [
            models.UniqueConstraint(
                fields=["rig", "type", "length_mm", "line"],
                name="rig_row_once",
                violation_error_message="The rig already has that.",
            ),
            models.CheckConstraint(
                condition=Q(count__gte=1, count__lte=10_000),
                name="rig_row_count",
                violation_error_message="A rig takes between 1 and 10 000.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count} {self.type}"
