"""The stage: a show's plan of it in millimetres, what stands where, and the supplies a venue feeds it from."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from company.models import Person
from inventory.models import GearType
from shows.calc.lines import PlaceSort
from shows.models.shows import Show, Venue

FAR_MM = [MinValueValidator(-500_000), MaxValueValidator(500_000)]


class VenueFeed(models.Model):
    """A supply at a venue. `residual_ma`: at what its residual-current device trips; None: nobody wrote it down."""

    venue = models.ForeignKey(Venue, on_delete=models.CASCADE, related_name="feeds")
    name = models.CharField(max_length=40)
    where = models.CharField(max_length=80, blank=True, default="")
    phase = models.CharField(max_length=10, blank=True, default="", help_text="L1, L2, L3, or as the venue calls it.")
    amps = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1000)])
    residual = models.BooleanField(null=True, blank=True, help_text="It has a residual-current device.")
    residual_ma = models.FloatField(null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(1000)])
    remarks = models.CharField(max_length=200, blank=True, default="")

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                fields=["venue", "name"], name="venue_feed_once", violation_error_message="The venue has a feed of that name."
            ),
            models.CheckConstraint(
                condition=~Q(name=""), name="venue_feed_named", violation_error_message="A feed needs a name."
            ),
        ]

    def __str__(self) -> str:
        return self.name


class FeedPressed(models.Model):
    """At a show somebody pressed the test button of a feed's residual-current device, and it tripped."""

    show = models.ForeignKey(Show, on_delete=models.CASCADE, related_name="feeds_pressed")
    feed = models.ForeignKey(VenueFeed, on_delete=models.CASCADE, related_name="+")
    pressed_at = models.DateTimeField()
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ["pressed_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["show", "feed"],
                name="feed_pressed_once",
                violation_error_message="That button was pressed at this show already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.feed_id} pressed"


class StagePlan(models.Model):
    """What is planned of a show's stage beside its lines. Sizes left empty are the venue's.

    `left_out` holds the `made` keys of pull rows a person removed, so that making the list again does not bring them back.
    """

    show = models.OneToOneField(Show, on_delete=models.CASCADE, primary_key=True, related_name="stage_plan")
    width_mm = models.PositiveIntegerField(
        null=True, blank=True, validators=[MinValueValidator(500), MaxValueValidator(200_000)]
    )
    depth_mm = models.PositiveIntegerField(
        null=True, blank=True, validators=[MinValueValidator(500), MaxValueValidator(200_000)]
    )
    desk = models.ForeignKey(GearType, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    route_factor = models.FloatField(default=1.3, validators=[MinValueValidator(1), MaxValueValidator(5)])
    slack_mm = models.PositiveIntegerField(default=2_000, validators=[MaxValueValidator(100_000)])
    finish_chance = models.FloatField(default=0.99, validators=[MinValueValidator(0.5), MaxValueValidator(0.9999)])
    left_out = models.JSONField(default=list, blank=True)
    last_made = models.JSONField(
        default=dict, blank=True, help_text="What making the pull list did last, so that it can be undone."
    )
    pulled_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"plan of {self.show_id}"


class StagePlace(models.Model):
    """A cross of tape on the floor. `x_mm` from the stage's left edge as the audience sees it, `y_mm` from its front edge
    upstage: the mix stands below nothing. Both None: nobody has said where yet."""

    show = models.ForeignKey(Show, on_delete=models.CASCADE, related_name="places")
    name = models.CharField(max_length=40)
    sort = models.CharField(max_length=9, choices=[(s.value, s.value) for s in PlaceSort], default=PlaceSort.SOURCE)
    x_mm = models.IntegerField(null=True, blank=True, validators=FAR_MM)
    y_mm = models.IntegerField(null=True, blank=True, validators=FAR_MM)
    feed = models.ForeignKey(VenueFeed, null=True, blank=True, on_delete=models.SET_NULL, related_name="places")
    type = models.ForeignKey(GearType, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["sort", "name"]
        constraints = [
            models.UniqueConstraint(
                fields=["show", "name"],
                name="stage_place_once",
                violation_error_message="A place of that name is there already.",
            ),
            models.CheckConstraint(
                condition=~Q(name=""), name="stage_place_named", violation_error_message="A place needs a name."
            ),
            models.CheckConstraint(
                condition=Q(x_mm=None, y_mm=None) | Q(x_mm__isnull=False, y_mm__isnull=False),
                name="stage_place_both",
                violation_error_message="A place has both its coordinates, or neither.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class StageLoad(models.Model):
    """Powered gear that is plugged in at a place: so many of a type, so that amps a feed can be summed."""

    place = models.ForeignKey(StagePlace, on_delete=models.CASCADE, related_name="loads")
    type = models.ForeignKey(GearType, on_delete=models.PROTECT, related_name="+")
    count = models.PositiveSmallIntegerField(default=1, validators=[MinValueValidator(1), MaxValueValidator(500)])

    class Meta:
        ordering = ["type__name"]
        constraints = [
            models.UniqueConstraint(
                fields=["place", "type"], name="stage_load_once", violation_error_message="That is named at this place already."
            ),
        ]

    def __str__(self) -> str:
        return f"{self.count} {self.type_id}"


class NotProposed(models.Model):
    """Something that went along unplanned often, and that nobody wants proposed any more."""

    type = models.ForeignKey(GearType, on_delete=models.CASCADE, related_name="+")
    length_mm = models.PositiveIntegerField(default=0)
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ["type__name", "length_mm"]
        constraints = [
            models.UniqueConstraint(
                fields=["type", "length_mm"], name="not_proposed_once", violation_error_message="That is not proposed already."
            ),
        ]

    def __str__(self) -> str:
        return f"{self.type_id} is not proposed"
