"""When to test again: rules and the failure model of a gear type, forecasts and what came of them, an item's current risk."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from inventory.models import GearType, Item
from maintenance.models.bench import BenchTest


class RetestRule(models.Model):
    """When things of a type are tested again, as the owner set it; a type without a row takes the defaults of its kind
    (`maintenance.calc.retest_defaults`). Empty limits: no such limit."""

    type = models.OneToOneField(GearType, on_delete=models.CASCADE, related_name="retest_rule")
    target = models.FloatField(
        default=0.05,
        validators=[MinValueValidator(0.0001), MaxValueValidator(0.9)],
        help_text="The chance of being bad that may not be passed before the next test.",
    )
    least_days = models.PositiveSmallIntegerField(default=7, validators=[MaxValueValidator(3650)])
    most_days = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(3650)]
    )
    least_shows = models.PositiveSmallIntegerField(default=3, validators=[MaxValueValidator(1000)])
    most_shows = models.PositiveSmallIntegerField(
        null=True, blank=True, validators=[MinValueValidator(1), MaxValueValidator(1000)]
    )
    after_repair = models.BooleanField(default=True)
    after_wet = models.BooleanField(default=True)
    after_symptom = models.BooleanField(default=True)
    median_shows = models.FloatField(
        default=150, validators=[MinValueValidator(0.1), MaxValueValidator(1e6)], help_text="Shows until failure: a guess."
    )
    pessimistic_shows = models.FloatField(
        default=40, validators=[MinValueValidator(0.05), MaxValueValidator(1e6)], help_text="The same, for the worst 1 in 20."
    )
    storage_shows_a_month = models.FloatField(
        default=0, validators=[MinValueValidator(0), MaxValueValidator(30)], help_text="What a month on the shelf counts as."
    )
    minutes_a_test = models.FloatField(default=3, validators=[MinValueValidator(0.1), MaxValueValidator(480)])
    line_check_cents = models.PositiveIntegerField(default=1000, help_text="What one found bad at line check costs.")
    show_cents = models.PositiveIntegerField(default=20_000, help_text="What one failing in the show costs.")

    class Meta:
        ordering = ["type"]
        constraints = [
            models.CheckConstraint(
                condition=Q(pessimistic_shows__lt=models.F("median_shows")),
                name="retest_rule_guesses_in_order",
                violation_error_message="The pessimistic guess is below the median one.",
            ),
        ]

    def __str__(self) -> str:
        return f"when to test {self.type}"


class TypeModel(models.Model):
    """What is known of how a type fails, worked out from its items' records; rebuilt at will."""

    type = models.OneToOneField(GearType, on_delete=models.CASCADE, related_name="failure_model")
    made_at = models.DateTimeField()
    version = models.PositiveSmallIntegerField(default=1)
    failures = models.FloatField(default=0)
    shows = models.FloatField(default=0)
    tests = models.PositiveIntegerField(default=0)
    # the weights of the grid over (mean rate, shape), and what is said of the type: guard, wear-out, median rate
    posterior = models.JSONField(default=dict)
    said = models.JSONField(default=dict)
    guard_factor = models.FloatField(default=1.0)

    class Meta:
        ordering = ["type"]

    def __str__(self) -> str:
        return f"how {self.type} fails"


class Risk(models.Model):
    """Where one item stands now: the one row that nightly work updates. Retired and gone things keep theirs, without a date:
    they are evidence of their type. Ask for `item__in` what is owned where that matters."""

    item = models.OneToOneField(Item, on_delete=models.CASCADE, related_name="risk", primary_key=True)
    made_at = models.DateTimeField()
    failures = models.FloatField(default=0)
    shows = models.FloatField(default=0)  # exposure its record covers
    # how often it was put in use afresh, and was bad from then: with the two above what its type's model has learnt from it
    starts = models.PositiveSmallIntegerField(default=0)
    starts_bad = models.PositiveSmallIntegerField(default=0)
    since = models.FloatField(default=0)  # shows since its last test, weighed by what an uneventful show sees
    chance_now = models.FloatField(default=0)
    shows_left = models.FloatField(null=True, blank=True)
    test_by = models.DateField(null=True, blank=True)
    why = models.CharField(max_length=400, blank=True, default="")
    prior_share = models.FloatField(default=1)
    retire = models.BooleanField(default=False)
    retire_why = models.CharField(max_length=300, blank=True, default="")

    class Meta:
        indexes = [
            models.Index(fields=["-chance_now"], name="risk_worst_first"),  # the bench queue
            models.Index(fields=["retire"], name="risk_retire", condition=Q(retire=True)),
        ]

    def __str__(self) -> str:
        return f"risk of {self.item}"


class Forecast(models.Model):
    """What was forecast when a test put an item back in use; never changed. Its outcome is a row of its own."""

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="forecasts")
    test = models.OneToOneField(BenchTest, null=True, blank=True, on_delete=models.SET_NULL, related_name="forecast")
    made_at = models.DateTimeField()
    version = models.PositiveSmallIntegerField(default=1)
    shows = models.FloatField(help_text="The horizon: shows until the next test by.")
    test_by = models.DateField(null=True, blank=True)
    chance = models.FloatField(validators=[MinValueValidator(0), MaxValueValidator(1)])
    # enough to work the chance out again at the true exposure: {"grid": [[weight, a, b] ...], "r", "T"}
    given = models.JSONField(default=dict)
    prior_share = models.FloatField(default=1)

    class Meta:
        ordering = ["-made_at", "-pk"]
        indexes = [models.Index(fields=["item", "-made_at"], name="forecast_of_item")]  # the one to resolve

    def __str__(self) -> str:
        return f"{self.chance:.1%} by {self.shows:g} shows"


class ForecastOutcome(models.Model):
    """What came of a forecast, once a test said."""

    forecast = models.OneToOneField(Forecast, on_delete=models.CASCADE, related_name="outcome")
    test = models.ForeignKey(BenchTest, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    resolved_at = models.DateTimeField()
    shows = models.FloatField(help_text="The true exposure.")
    chance = models.FloatField(help_text="The chance at the true exposure, from the stored parameters.")
    failed = models.BooleanField()
    how = models.CharField(max_length=12, blank=True, default="", help_text="bench, line check, show")
    withdrawn_at = models.DateTimeField(null=True, blank=True, help_text="The test was taken back: open again.")

    class Meta:
        ordering = ["resolved_at", "pk"]

    def __str__(self) -> str:
        return "failed" if self.failed else "good"
