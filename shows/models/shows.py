"""Venues, shows and their pull lists."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from company.models import Person
from inventory.calc.kinds import Kind
from inventory.models import GearType, Item
from inventory.models.gear import LENGTH_MM
from shows.calc.words import Critical, Feed, ShowState
from shows.querysets import ShowQuerySet


class Venue(models.Model):
    """A place where shows happen, kept for the next visit."""

    name = models.CharField(max_length=80, unique=True)
    town = models.CharField(max_length=80, blank=True, default="")
    address = models.CharField(max_length=300, blank=True, default="")
    contact = models.CharField(max_length=200, blank=True, default="")
    access = models.TextField(
        blank=True, default="", max_length=2000, help_text="Doors, stairs, where the truck stands, who locks up."
    )
    stage_width_mm = models.PositiveIntegerField(null=True, blank=True, validators=[MaxValueValidator(200_000)])
    stage_depth_mm = models.PositiveIntegerField(null=True, blank=True, validators=[MaxValueValidator(200_000)])
    stage_to_mix_mm = models.PositiveIntegerField(null=True, blank=True, validators=[MaxValueValidator(500_000)])
    house_desk = models.CharField(max_length=80, blank=True, default="")
    house_desk_type = models.ForeignKey(
        GearType,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="+",
        limit_choices_to={"kind": Kind.DESK},
        help_text="A desk of that kind in our catalogue, so that its inputs and phantom are known.",
    )
    remarks = models.TextField(
        blank=True, default="", max_length=4000, help_text="What to know next time: hums with the lights on."
    )

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="venue_named", violation_error_message="A venue needs a name."),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("venue", args=[self.pk])


class Show(models.Model):
    """One job, from the day its gear is held to the day it is free again."""

    name = models.CharField(max_length=80)
    client = models.CharField(max_length=80, blank=True, default="")
    venue = models.ForeignKey(Venue, null=True, blank=True, on_delete=models.PROTECT, related_name="shows")
    hold_from = models.DateField()
    load_in = models.DateTimeField()
    line_check = models.DateTimeField()
    start = models.DateTimeField()
    end = models.DateTimeField()
    strike = models.DateTimeField()
    home_by = models.DateTimeField()
    hold_until = models.DateField()
    state = models.CharField(max_length=9, choices=[(s.value, s.value) for s in ShowState], default=ShowState.PLANNED)
    closed_at = models.DateTimeField(null=True, blank=True)
    rehearsal = models.BooleanField(default=False, help_text="Nothing is lost when a channel dies.")
    notes = models.TextField(blank=True, default="", max_length=4000)
    added_at = models.DateTimeField()

    objects = ShowQuerySet.as_manager()

    class Meta:
        ordering = ["load_in", "pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="show_named", violation_error_message="A show needs a name."),
            models.CheckConstraint(
                condition=Q(state__in=[s.value for s in ShowState]),
                name="show_state_known",
                violation_error_message="A show is planned, closed or cancelled.",
            ),
            models.CheckConstraint(
                condition=Q(load_in__lte=F("line_check"))
                & Q(line_check__lte=F("start"))
                & Q(start__lt=F("end"))
                & Q(end__lte=F("strike"))
                & Q(strike__lte=F("home_by")),
                name="show_times_in_order",
                violation_error_message="Times run: load-in, line check, start, end, strike, home by; it ends after it starts.",
            ),
            models.CheckConstraint(
                condition=Q(hold_from__lte=F("hold_until")),
                name="show_hold_in_order",
                violation_error_message="Gear is held from a day until the same day or a later one.",
            ),
        ]
        indexes = [
            models.Index(fields=["hold_from", "hold_until"], name="show_overlap"),  # which shows hold gear in these days?
            models.Index(fields=["load_in"], name="show_by_load_in"),  # the list of shows, in its order
            models.Index(fields=["home_by"], name="show_by_home_by"),  # what had to be home by now?
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("show", args=[self.pk])


class PullRow(models.Model):
    """So many of a type, or one particular item, wanted at a show: why, fed from what, how critical, for which line.

    `made` is what the planner knows a row by that it wrote, so that making the list again finds it; `by_hand`: a person has
    changed it since, and it stays as it is.
    """

    class Origin(models.TextChoices):
        HAND = "hand"
        RIG = "rig"
        GOES_WITH = "goes with"
        SWAPPED = "swapped"
        IMPORT = "import"
        PLAN = "plan"

    show = models.ForeignKey(Show, on_delete=models.CASCADE, related_name="pull_rows")
    type = models.ForeignKey(GearType, on_delete=models.PROTECT, related_name="pull_rows")
    length_mm = models.PositiveIntegerField(default=0, validators=LENGTH_MM)
    count = models.PositiveIntegerField(default=1, validators=[MinValueValidator(1), MaxValueValidator(10_000)])
    item = models.ForeignKey(Item, null=True, blank=True, on_delete=models.PROTECT, related_name="pull_rows")
    reason = models.CharField(max_length=200, blank=True, default="")
    feed = models.CharField(max_length=8, blank=True, default="", choices=[(f.value, f.value or "nothing") for f in Feed])
    critical = models.CharField(max_length=8, choices=[(c.value, c.value) for c in Critical], default=Critical.NORMAL)
    line = models.CharField(max_length=40, blank=True, default="", help_text="Input or output line, as 5 or Mix 2.")
    origin = models.CharField(max_length=9, choices=Origin.choices, default=Origin.HAND)
    rank = models.PositiveIntegerField(default=0)
    made = models.CharField(max_length=60, blank=True, default="")
    by_hand = models.BooleanField(default=False)

    class Meta:
        ordering = ["rank", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["show", "made"],
                name="pull_row_made_once",
                condition=~Q(made=""),
                violation_error_message="The planner wrote that row already.",
            ),
            models.CheckConstraint(
                condition=Q(count__gte=1, count__lte=10_000),
                name="pull_row_count",
                violation_error_message="A row pulls between 1 and 10 000.",
            ),
            models.CheckConstraint(
                condition=Q(item=None) | Q(count=1),
                name="pull_row_one_item",
                violation_error_message="A row for one particular item has the count 1.",
            ),
            models.UniqueConstraint(
                fields=["show", "item"],
                name="pull_row_item_once",
                condition=Q(item__isnull=False),
                violation_error_message="That item is already on this pull list.",
            ),
        ]
        indexes = [
            models.Index(fields=["show", "rank"], name="pull_row_of_show"),  # a pull list in its order
        ]

    def __str__(self) -> str:
        return f"{self.count} {self.type}"


class PhantomSeen(models.Model):
    """At line check somebody saw that phantom reaches a box at a show."""

    show = models.ForeignKey(Show, on_delete=models.CASCADE, related_name="phantom_seen")
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="+")
    seen_at = models.DateTimeField()
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ["seen_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["show", "item"],
                name="phantom_seen_once",
                violation_error_message="Phantom was seen at that box already.",
            ),
        ]

    def __str__(self) -> str:
        return f"phantom seen at {self.item_id}"
