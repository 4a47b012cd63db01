"""The bench: wirings, settings, sittings, tests with their figures, repairs. Tests and repairs are append-only: a mistake is
corrected by a new row that names the old one."""

import re
from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from company.models import Person
from inventory.models import Item
from maintenance.calc.bench import Capability, Depth, Procedure, Verdict
from maintenance.calc.bench_limits import BenchLimits
from maintenance.models.faults import Fault


def _number(default: float | None, least: float, most: float, **kw: Any) -> Any:
    bounds = [MinValueValidator(least), MaxValueValidator(most)]
    if default is None:
        return models.FloatField(null=True, blank=True, validators=bounds, **kw)
    return models.FloatField(default=default, validators=bounds, **kw)


_D = BenchLimits()


class Wiring(models.Model):
    """Which pin goes to which, in a notation a technician can read and write; `maintenance.calc.wirings` reads it.

    `ends` has a line an end (`A: three-pin socket: 1 2 3 sh`), `nets` joins pins (`A1=B1 screen | A2=B2 hot | A3=B3 cold`);
    with `per_channel` both are those of one channel. A gear type names its wiring by `key`.
    """

    key = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=80, unique=True)
    ends = models.TextField(max_length=2000)
    nets = models.TextField(max_length=4000)
    per_channel = models.BooleanField(default=False, help_text="Ends and nets are those of one channel of a multicore.")
    notes = models.TextField(blank=True, default="", max_length=2000)
    source = models.CharField(max_length=200, blank=True, default="")
    shipped = models.BooleanField(default=False, editable=False)

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("wiring", args=[self.key])


class BenchSettings(models.Model):
    """The one row of what the bench can measure and what readings are held against; read it with `current()`."""

    measures = models.JSONField(default=list, blank=True, help_text="Capabilities of the shop's instruments.")
    asked_at = models.DateTimeField(null=True, blank=True, help_text="When somebody said what the shop can measure.")
    core_factor = _number(_D.core_factor, 1, 3)
    contact_ohm = _number(_D.contact_ohm, 0, 5)
    guard_ohm = _number(_D.guard_ohm, 0, 5)
    watch_extra_ohm = _number(_D.watch_extra_ohm, 0, 100)
    open_ohm = _number(_D.open_ohm, 10, 1e9)
    short_ohm = _number(_D.short_ohm, 1, 1e6)
    leak_ohm = _number(_D.leak_ohm, 1e3, 1e9)
    legs_factor = _number(_D.legs_factor, 0, 1)
    legs_ohm = _number(_D.legs_ohm, 0, 5)
    loudspeaker_leg_ohm = _number(_D.loudspeaker_leg_ohm, 0, 5)
    loudspeaker_loss_db = _number(_D.loudspeaker_loss_db, 0.01, 20)
    golden_share = _number(_D.golden_share, 0.001, 1)
    level_db = _number(_D.level_db, 0.1, 40)
    gain_db = _number(_D.gain_db, 0.1, 40)
    pad_db = _number(_D.pad_db, 0.1, 40)
    phantom_match_share = _number(_D.phantom_match_share, 0.0001, 1)
    insulation_ohm = _number(_D.insulation_ohm, 1e3, 1e12)
    insulation_good_ohm = _number(_D.insulation_good_ohm, 1e3, 1e12)
    earth_ohm = _number(None, 0, 100)
    mains_insulation_mohm = _number(None, 0, 1e6)
    leakage_ma = _number(None, 0, 1000)
    residual_trip_ms = _number(None, 1, 10_000)
    # the share of what is bad that each depth of test finds, and that an uneventful show finds
    sees_lamps = _number(0.6, 0.01, 1)
    sees_lamps_flexed = _number(0.9, 0.01, 1)
    sees_ohms = _number(0.75, 0.01, 1)
    sees_ohms_flexed = _number(0.97, 0.01, 1)
    sees_show = _number(0.5, 0, 1, help_text="How much of what is bad an uneventful show on a line would have shown.")

    class Meta:
        verbose_name = "bench settings"
        constraints = [
            models.CheckConstraint(
                condition=Q(pk=1), name="bench_settings_only_one", violation_error_message="There is only one bench."
            ),
        ]

    def __str__(self) -> str:
        return "Bench settings"

    @classmethod
    def current(cls) -> "BenchSettings":
        """Return the settings, making them with defaults the first time."""
        return cls.objects.filter(pk=1).first() or cls.objects.get_or_create(pk=1)[0]

    def limits(self) -> BenchLimits:
        """Return what readings are held against, as the computing takes it."""
        return BenchLimits(**{name: getattr(self, name) for name in BenchLimits.__dataclass_fields__})

    def sensitivity(self) -> dict[Depth, float]:
        """Return the share of what is bad that a test of each depth finds."""
        return {
            Depth.LAMPS: self.sees_lamps,
            Depth.LAMPS_FLEXED: self.sees_lamps_flexed,
            Depth.OHMS: self.sees_ohms,
            Depth.OHMS_FLEXED: self.sees_ohms_flexed,
        }

    def capabilities(self) -> frozenset[Capability]:
        """Return what the shop can measure; all of it while nobody has said."""
        return (
            frozenset(Capability(m) for m in self.measures if m in set(Capability)) if self.asked_at else frozenset(Capability)
        )


class Sitting(models.Model):
    """One stretch of work at the bench: who, with which instrument, null and temperature, so that they are typed once."""

    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    instrument = models.ForeignKey(Item, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    depth = models.CharField(max_length=12, choices=[(d.value, d.value) for d in Depth], default=Depth.OHMS)
    null_ohms = _number(0.0, 0, 100)
    temperature_c = _number(20.0, -40, 60)
    minutes = models.PositiveSmallIntegerField(default=90, validators=[MaxValueValidator(1440)])

    class Meta:
        ordering = ["-began_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(depth__in=[d.value for d in Depth]),
                name="sitting_depth_known",
                violation_error_message="That depth of test is not one the program knows.",
            ),
        ]
        indexes = [models.Index(fields=["person", "-began_at"], name="sitting_of_person")]  # the sitting I am in

    def __str__(self) -> str:
        return f"sitting {self.pk}"

    def get_absolute_url(self) -> str:
        return reverse("sitting", args=[self.pk])


class BenchTest(models.Model):
    """One test of an item: what was measured, with what, how deep, held against what, and what it came to. Append-only.

    `corrects` names the test this one stands in for; a row with procedure `undo` takes it back and puts nothing in its
    place. A test counts while no row corrects it (`maintenance.querysets.standing_tests`).
    """

    uid = models.UUIDField(unique=True)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="bench_tests")
    procedure = models.CharField(max_length=12, choices=[(p.value, p.value) for p in Procedure])
    depth = models.CharField(max_length=12, choices=[(d.value, d.value) for d in Depth])
    done_at = models.DateTimeField()
    received_at = models.DateTimeField()
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    sitting = models.ForeignKey(Sitting, null=True, blank=True, on_delete=models.SET_NULL, related_name="tests")
    instrument = models.ForeignKey(Item, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    instrument_name = models.CharField(max_length=140, blank=True, default="")
    calibrated_on = models.DateField(null=True, blank=True, help_text="The instrument's calibration date on that day.")
    null_ohms = _number(0.0, 0, 100)
    temperature_c = _number(20.0, -40, 60)
    wiring = models.CharField(max_length=40, blank=True, default="")
    # {"pairs": [{"from", "to", "ohms" | "beep" | "above_ohms", "flexed"}], "steps": [{"step", "value" | "yes"}]}, as read
    readings = models.JSONField(default=dict, blank=True)
    verdict = models.CharField(max_length=12, choices=[(v.value, v.value) for v in Verdict], blank=True, default="")
    # [{"name", "title", "text", "effect", "repair", "pins", "channel", "weight"}]
    findings = models.JSONField(default=list, blank=True)
    reasons = models.JSONField(default=list, blank=True)
    not_measured = models.JSONField(default=list, blank=True)
    dead_channels = models.JSONField(default=list, blank=True)
    limits = models.JSONField(default=dict, blank=True)
    note = models.CharField(max_length=500, blank=True, default="")
    minutes = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1440)])
    corrects = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="corrected_by")
    # what it did to the record, so that taking it back can put it back: {"closed": [fault keys], "excepts_was": ""}
    effects = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ["-done_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(procedure__in=[p.value for p in Procedure]),
                name="bench_test_procedure_known",
                violation_error_message="That kind of test is not one the program knows.",
            ),
            models.CheckConstraint(
                condition=Q(depth__in=[d.value for d in Depth]),
                name="bench_test_depth_known",
                violation_error_message="That depth of test is not one the program knows.",
            ),
            models.CheckConstraint(
                condition=Q(procedure=Procedure.UNDO.value, verdict="", corrects__isnull=False)
                | (~Q(procedure=Procedure.UNDO.value) & Q(verdict__in=[v.value for v in Verdict])),
                name="bench_test_has_verdict",
                violation_error_message="A test has a verdict; taking one back names it.",
            ),
            models.CheckConstraint(
                condition=Q(corrects=None) | ~Q(corrects=F("id")),
                name="bench_test_not_of_itself",
                violation_error_message="A test cannot correct itself.",
            ),
        ]
        indexes = [
            models.Index(F("item"), F("done_at").desc(), name="bench_test_of_item"),  # an item's last test, its life, its chart
            models.Index(F("done_at").desc(), name="bench_test_by_time"),  # what was tested this evening
        ]

    def __str__(self) -> str:
        return f"{self.item}: {self.verdict or self.procedure}"

    def get_absolute_url(self) -> str:
        return reverse("bench-test", args=[self.uid])


class BenchFigure(models.Model):
    """One number a verdict was made from, with its limits: the points of a chart."""

    test = models.ForeignKey(BenchTest, on_delete=models.CASCADE, related_name="figures")
    name = models.CharField(max_length=60)
    value = models.FloatField()
    unit = models.CharField(max_length=12, blank=True, default="")
    low = models.FloatField(null=True, blank=True)
    high = models.FloatField(null=True, blank=True)
    within = models.BooleanField(null=True, blank=True)

    class Meta:
        ordering = ["test", "pk"]

    def __str__(self) -> str:
        return f"{self.name} {self.value:g} {self.unit}".strip()


class Repair(models.Model):
    """What was done to mend an item. Append-only; one that was a mistake is taken back by a row that names it."""

    uid = models.UUIDField(unique=True)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="repairs")
    fault = models.ForeignKey(Fault, null=True, blank=True, on_delete=models.SET_NULL, related_name="repairs")
    done_at = models.DateTimeField()
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    did = models.CharField(max_length=500, blank=True, default="")
    end = models.CharField(max_length=4, blank=True, default="", help_text="Which end was opened: A, B ...")
    parts = models.CharField(max_length=300, blank=True, default="")
    minutes = models.PositiveIntegerField(null=True, blank=True, validators=[MaxValueValidator(100_000)])
    cost_cents = models.PositiveIntegerField(null=True, blank=True, validators=[MaxValueValidator(1_000_000_000)])
    as_new = models.BooleanField(default=False, help_text="Rebuilt or replaced: its failure record starts over.")
    takes_back = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="taken_back_by")

    class Meta:
        ordering = ["-done_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(did="") | Q(takes_back__isnull=False),
                name="repair_says_what",
                violation_error_message="Say what was done.",
            ),
        ]
        indexes = [models.Index(F("item"), F("done_at").desc(), name="repair_of_item")]  # an item's life

    def __str__(self) -> str:
        return f"{self.item}: {self.did}"

    @property
    def told(self) -> str:
        """Say what was done and at which end, without a stop: the end only where the words do not name it themselves."""
        did = self.did.strip().rstrip(".")
        named = not self.end or re.search(rf"\b(end|plug)\s+{re.escape(self.end)}\b", did, re.IGNORECASE)
        return did if named else f"{did}, end {self.end}"


class TestCall(models.Model):
    """A call to test an item soon though nobody said it is bad: it got wet, was dropped, or a technician wants it looked at.

    It makes the item's test fall due; the next test that counts answers it.
    """

    __test__ = False  # the name begins as pytest's tests do

    class Why(models.TextChoices):
        WET = "wet", "got wet"
        DROPPED = "dropped", "was dropped"
        ASKED = "asked", "asked for"

    uid = models.UUIDField(unique=True)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="test_calls")
    why = models.CharField(max_length=8, choices=Why.choices, default=Why.WET)
    show = models.BigIntegerField(null=True, blank=True, help_text="A show's key; shows is a floor above.")
    at = models.DateTimeField()
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    answered_by = models.ForeignKey(BenchTest, null=True, blank=True, on_delete=models.SET_NULL, related_name="answers")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(why__in=["wet", "dropped", "asked"]),
                name="test_call_why_known",
                violation_error_message="It got wet, was dropped, or somebody asked.",
            ),
        ]
        indexes = [
            models.Index(
                fields=["item"], name="test_call_open", condition=Q(answered_by=None, withdrawn_at=None)
            ),  # what must be tested because it got wet
        ]

    def __str__(self) -> str:
        return f"{self.item}: {self.why}"
