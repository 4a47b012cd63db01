"""Cases: what one should hold, and the append-only record of what was put where."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from company.models import Person
from inventory.calc.kinds import Evidence
from inventory.models.counted import CountedLine
from inventory.models.gear import LENGTH_MM, GearType, Item


class CasePlanLine(models.Model):
    """So many of a type and length belong in this case."""

    case = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="plan")
    type = models.ForeignKey(GearType, on_delete=models.PROTECT, related_name="+")
    length_mm = models.PositiveIntegerField(default=0, validators=LENGTH_MM)
    count = models.PositiveIntegerField(default=1, validators=[MinValueValidator(1), MaxValueValidator(10_000)])

    class Meta:
        ordering = ["type__name", "length_mm"]
        constraints = [
            models.UniqueConstraint(
                fields=["case", "type", "length_mm"],
                name="case_plan_line_once",
                violation_error_message="The plan already names that; change its count.",
            ),
            models.CheckConstraint(
                condition=Q(count__gte=1, count__lte=10_000),
                name="case_plan_line_count",
                violation_error_message="A plan asks for between 1 and 10 000.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count} {self.type}"


class Placement(models.Model):
    """An item was put in a case, or (case empty) taken out of any; read as of `effective_at`, never edited.

    `uid` is the scan's that caused it, or a fresh one; `withdrawn` by undoing that scan is a new row, not an edit.
    """

    uid = models.UUIDField(unique=True)
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="placements")
    case = models.ForeignKey(Item, null=True, blank=True, on_delete=models.CASCADE, related_name="placements_in")
    effective_at = models.DateTimeField()
    device = models.CharField(max_length=64, blank=True, default="")
    seq = models.BigIntegerField(default=0)
    evidence = models.CharField(max_length=8, choices=[(e.value, e.value) for e in Evidence], default=Evidence.SEEN)
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ["effective_at", "device", "seq", "uid"]
        indexes = [
            models.Index(fields=["item", "effective_at"], name="placement_of_item"),  # the fold: which case was it in, when?
            models.Index(fields=["case", "effective_at"], name="placement_in_case"),  # a case's contents as of an instant
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(case=None) | ~Q(case=F("item")),
                name="placement_not_in_itself",
                violation_error_message="A case cannot be packed in itself.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item} in {self.case}" if self.case_id else f"{self.item} taken out"


class CaseCount(models.Model):
    """How many of a counted line lie in a case, as counted at an instant; the newest row holds."""

    uid = models.UUIDField(unique=True)
    case = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="counts")
    line = models.ForeignKey(CountedLine, on_delete=models.CASCADE, related_name="case_counts")
    count = models.PositiveIntegerField(validators=[MaxValueValidator(100_000)])
    effective_at = models.DateTimeField()
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ["effective_at", "uid"]
        indexes = [
            models.Index(fields=["case", "line", "effective_at"], name="case_count_newest")
        ]  # the newest a case and line

    def __str__(self) -> str:
        return f"{self.count} of {self.line} in {self.case}"
