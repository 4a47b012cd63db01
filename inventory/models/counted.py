"""Counted lines: things counted by type and length, and their append-only ledger."""

from django.db import models
from django.db.models import Q, Sum
from django.db.models.functions import Coalesce
from django.urls import reverse

from company.models import Person
from inventory.calc.kinds import CountCondition
from inventory.models.gear import LENGTH_MM, GearType, Place


class CountedLineQuerySet(models.QuerySet):
    def described(self) -> "CountedLineQuerySet":
        """Add `owned`, `on_shelf`, `bad` and `out` without a query a row: sums over the ledger."""
        good, bad = Q(moves__condition=CountCondition.GOOD), Q(moves__condition=CountCondition.BAD)
        return self.select_related("type", "home").annotate(
            owned=Coalesce(Sum("moves__delta", filter=Q(moves__show=None)), 0),
            on_shelf=Coalesce(Sum("moves__delta", filter=good), 0),
            bad=Coalesce(Sum("moves__delta", filter=bad), 0),
            out=-Coalesce(Sum("moves__delta", filter=Q(moves__show__isnull=False)), 0),
        )


class CountedLine(models.Model):
    """Things of one type and length that are counted, not labelled: twenty-four leads of 10 m, six rolls of tape."""

    type = models.ForeignKey(GearType, on_delete=models.PROTECT, related_name="counted_lines")
    length_mm = models.PositiveIntegerField(default=0, validators=LENGTH_MM)
    home = models.ForeignKey(Place, null=True, blank=True, on_delete=models.SET_NULL, related_name="counted_lines")
    notes = models.CharField(max_length=200, blank=True, default="")
    added_at = models.DateTimeField()

    objects = CountedLineQuerySet.as_manager()

    class Meta:
        ordering = ["type__name", "length_mm"]
        constraints = [
            models.UniqueConstraint(
                fields=["type", "length_mm"],
                name="counted_line_once",
                violation_error_message="That type and length is already counted; add to its count instead.",
            ),
        ]

    def __str__(self) -> str:
        return self.label

    def get_absolute_url(self) -> str:
        return reverse("counted-line", args=[self.pk])

    @property
    def label(self) -> str:
        from company.templatetags.tape import metres

        return " ".join(part for part in (self.type.name, metres(self.length_mm)) if part)


class CountMove(models.Model):
    """So many came or went. Never edited: a mistake is put right by a new row.

    Without a show the row changes what is owned (bought +24, thrown away -1, found bad: -1 good and +1 bad). With a show,
    -24 good went out, and what came back is +22 good and +1 bad; what is left over is still out there.
    on the shelf = sum of good; bad at the bench = sum of bad; owned = sum without a show; out to a show = minus its sum.
    """

    class Why(models.TextChoices):
        BOUGHT = "bought"
        RECOUNTED = "recounted"
        USED_UP = "used up"
        THROWN_AWAY = "thrown away"
        LABELLED = "labelled"
        FOUND_BAD = "found bad"
        MENDED = "mended"
        OUT = "out"
        BACK = "back"
        STRAIGHT_ON = "straight on"
        LOST = "lost"
        UNDONE = "undone"

    uid = models.UUIDField()
    part = models.PositiveSmallIntegerField(default=0, help_text="Rows of one move share a uid and differ here.")
    line = models.ForeignKey(CountedLine, on_delete=models.PROTECT, related_name="moves")
    show = models.BigIntegerField(null=True, blank=True, help_text="A show's key; shows is a floor above.")
    delta = models.IntegerField()
    condition = models.CharField(
        max_length=4, choices=[(c.value, c.value) for c in CountCondition], default=CountCondition.GOOD
    )
    why = models.CharField(max_length=12, choices=Why.choices)
    happened_at = models.DateTimeField()
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    note = models.CharField(max_length=200, blank=True, default="")

    class Meta:
        ordering = ["happened_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["uid", "part"], name="count_move_once", violation_error_message="That count was already entered."
            ),
            models.CheckConstraint(
                condition=~Q(delta=0) & Q(delta__gte=-1_000_000, delta__lte=1_000_000),
                name="count_move_range",
                violation_error_message="A count changes by at least 1 and at most a million.",
            ),
            models.CheckConstraint(
                condition=Q(condition__in=["good", "bad"]),
                name="count_move_condition",
                violation_error_message="Counted things are good or bad.",
            ),
        ]
        indexes = [
            models.Index(fields=["show", "line"], name="count_move_of_show"),  # what of each line is out to a show?
            models.Index(fields=["line", "condition"], name="count_move_of_line"),  # sums a line
        ]

    def __str__(self) -> str:
        return f"{self.delta:+d} {self.condition} {self.line}"
