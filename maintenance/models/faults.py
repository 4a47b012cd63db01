"""Is it good: faults reported and closed, and the ledger of use that bench and cells read."""

from django.db import models
from django.db.models import F, Q

from company.models import Person
from inventory.models import Item
from maintenance.calc.symptoms import Found, Symptom


class Fault(models.Model):
    """Somebody said something is wrong: with an item, or with a line of a show whose item nobody knows yet.

    Opened by a scan (its uid; undoing the scan withdraws it) or by hand; closed by a technician with a sentence.
    An item is suspect while a fault of it is open: maintenance.services keeps Item.suspect_since in step.
    """

    uid = models.UUIDField(unique=True)
    item = models.ForeignKey(Item, null=True, blank=True, on_delete=models.PROTECT, related_name="faults")
    show = models.BigIntegerField(null=True, blank=True, help_text="A show's key; shows is a floor above.")
    line = models.CharField(max_length=40, blank=True, default="", help_text="The channel or line it was heard on.")
    symptom = models.CharField(max_length=16, choices=[(s.value, s.value) for s in Symptom], default=Symptom.OTHER)
    note = models.CharField(max_length=500, blank=True, default="")
    opened_at = models.DateTimeField()
    found = models.CharField(
        max_length=10,
        blank=True,
        default="",
        choices=[(f.value, f.value) for f in Found],
        help_text="When it came out: at line check and in the show cost differently.",
    )
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    # the bench test that found it, and the one that answered it: worked out again whenever the item's record changes
    found_by = models.ForeignKey(
        "maintenance.BenchTest", null=True, blank=True, on_delete=models.SET_NULL, related_name="faults_found"
    )
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    closed_how = models.CharField(max_length=500, blank=True, default="")
    closed_by_test = models.ForeignKey(
        "maintenance.BenchTest", null=True, blank=True, on_delete=models.SET_NULL, related_name="faults_answered"
    )

    class Meta:
        ordering = ["-opened_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(symptom__in=[s.value for s in Symptom]),
                name="fault_symptom_known",
                violation_error_message="That symptom is not one the program knows.",
            ),
            models.CheckConstraint(
                condition=Q(found__in=["", *(f.value for f in Found)]),
                name="fault_found_known",
                violation_error_message="It was found at line check, in the show, afterwards or at the bench.",
            ),
            models.CheckConstraint(
                condition=Q(closed_at=None) | ~Q(closed_how=""),
                name="fault_closed_with_words",
                violation_error_message="Say what was done before closing it.",
            ),
        ]
        indexes = [
            # open faults of an item; what needs a person
            models.Index(fields=["item", "opened_at"], name="fault_open", condition=Q(closed_at=None, withdrawn_at=None)),
            models.Index(fields=["show"], name="fault_of_show", condition=Q(show__isnull=False)),
        ]

    def __str__(self) -> str:
        return f"{self.item or self.line}: {self.symptom}"


class UseLedger(models.Model):
    """One row for an item and an occasion (`show:17`): when, how long, fed by what. Shows writes it at every refold.

    Bench and cells read exposure and hours from here alone.
    """

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="use")
    occasion = models.CharField(max_length=40)
    day = models.DateField()
    state = models.CharField(max_length=7, choices=[("planned", "planned"), ("done", "done")], default="planned")
    shows = models.DecimalField(max_digits=5, decimal_places=2, default=1)
    on_minutes = models.PositiveIntegerField(default=0)
    fed_by = models.CharField(
        max_length=8,
        blank=True,
        default="",
        choices=[("", "nothing"), ("cells", "cells"), ("phantom", "phantom"), ("mains", "mains")],
    )
    basis = models.CharField(
        max_length=7, choices=[("line", "on a line"), ("carried", "only carried along")], default="carried"
    )

    class Meta:
        ordering = ["-day", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["item", "occasion"], name="use_once_an_occasion", violation_error_message="That use is already written."
            ),
            models.CheckConstraint(
                condition=Q(shows__gte=0) & Q(on_minutes__lte=100_000),
                name="use_range",
                violation_error_message="Use is at least nothing and at most 100 000 minutes.",
            ),
        ]
        indexes = [
            models.Index(F("item"), F("day").desc(), name="use_of_item"),  # exposure since a test
        ]

    def __str__(self) -> str:
        return f"{self.item}, {self.occasion}"
