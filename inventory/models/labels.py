"""Labels: every code ever minted, what it is bound to, and the printer's own faults."""

from decimal import Decimal

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Length
from django.db.models.lookups import Exact

from company.models import Person
from inventory.models.gear import Item


class LabelRun(models.Model):
    """One printing: which sheet, from which place, how many. The reprint log."""

    printed_at = models.DateTimeField()
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    sheet = models.CharField(max_length=40)
    start_at = models.PositiveIntegerField(default=1)
    count = models.PositiveIntegerField()
    codes = models.JSONField(default=list)
    given = models.JSONField(default=dict, help_text="What was asked for, so that it can be printed again just so.")
    token = models.UUIDField(null=True, blank=True, unique=True, editable=False)  # the form's own: sent twice, printed once

    class Meta:
        ordering = ["-printed_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.count} labels on {self.sheet}"


class Label(models.Model):
    """A code, and the item it is bound to, if any yet. An item may have several: a lost label's code stays an alias."""

    code = models.CharField(max_length=8, unique=True)
    item = models.ForeignKey(Item, null=True, blank=True, on_delete=models.PROTECT, related_name="labels")
    minted_at = models.DateTimeField()
    printed_at = models.DateTimeField(null=True, blank=True)
    bound_at = models.DateTimeField(null=True, blank=True)
    run = models.ForeignKey(LabelRun, null=True, blank=True, on_delete=models.SET_NULL, related_name="labels")

    class Meta:
        ordering = ["minted_at", "code"]
        constraints = [
            models.CheckConstraint(
                condition=Exact(Length(F("code")), 8),
                name="label_code_shape",
                violation_error_message="A code is eight letters and figures, without I, L, O and U.",
            ),
            models.CheckConstraint(
                condition=Q(item=None, bound_at=None) | Q(item__isnull=False, bound_at__isnull=False),
                name="label_bound_when_bound",
                violation_error_message="A bound label knows when it was bound.",
            ),
        ]
        indexes = [
            models.Index(fields=["printed_at"], name="label_unbound", condition=Q(item=None)),  # printed, not yet stuck on
            models.Index(
                fields=["item"], name="label_to_print", condition=Q(item__isnull=False, printed_at=None)
            ),  # what has no label yet?
        ]

    def __str__(self) -> str:
        return self.code


class PrinterTrim(models.Model):
    """How far a printer is off, kept by the printer's name."""

    name = models.CharField(max_length=40, unique=True)
    sheet = models.CharField(max_length=40, blank=True, default="")
    dpi = models.PositiveSmallIntegerField(default=300, validators=[MinValueValidator(100), MaxValueValidator(2400)])
    right_mm = models.DecimalField(
        max_digits=4, decimal_places=1, default=Decimal(0), validators=[MinValueValidator(-20), MaxValueValidator(20)]
    )
    down_mm = models.DecimalField(
        max_digits=4, decimal_places=1, default=Decimal(0), validators=[MinValueValidator(-20), MaxValueValidator(20)]
    )
    scale_percent = models.DecimalField(
        max_digits=5, decimal_places=2, default=Decimal(100), validators=[MinValueValidator(90), MaxValueValidator(110)]
    )

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(right_mm__gte=-20, right_mm__lte=20, down_mm__gte=-20, down_mm__lte=20),
                name="printer_trim_nudge",
                violation_error_message="A nudge is at most 20 mm.",
            ),
            models.CheckConstraint(
                condition=Q(scale_percent__gte=90, scale_percent__lte=110),
                name="printer_trim_scale",
                violation_error_message="A scale trim lies between 90 and 110 %.",
            ),
        ]

    def __str__(self) -> str:
        return self.name
