"""Cells: types with their curves, lots bought, what is fitted in which bay, swaps, readings, hours told, the draw of a device,
forecasts and what came of them. Swaps, moves, readings and tests are append-only: a mistake is a new row naming the old."""

from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.urls import reverse

from company.models import Person
from inventory.models import GearType, Item, Place
from maintenance.calc.cell_words import Advice, Load, Pool, SwapReason, System


def _number(least: float, most: float, **kw: Any) -> Any:
    return models.FloatField(validators=[MinValueValidator(least), MaxValueValidator(most)], **kw)


def _maybe(least: float, most: float, **kw: Any) -> Any:
    return _number(least, most, null=True, blank=True, **kw)


class CellType(models.Model):
    """A size and system of cell by its IEC letters, with what the forecast needs. `calc.cell_words.CellKind` mirrors it."""

    key = models.SlugField(max_length=24, unique=True, help_text="IEC letters: 6LR61, LR6, HR6.")
    name = models.CharField(max_length=80, unique=True)
    size = models.CharField(max_length=16, help_text="What it fits: 9 V, AA, AAA, coin 2032, pack.")
    system = models.CharField(max_length=20, choices=[(s.value, s.value) for s in System])
    rechargeable = models.BooleanField(default=False)
    units = models.PositiveSmallIntegerField(default=1, help_text="Cells in one block: 6 in 6LR61.")
    nominal_v = _number(0.5, 60)
    fresh_most_v = _number(0.5, 60, help_text="No good reading is above this.")
    curve = models.JSONField(default=list, blank=True, help_text="[[depth, volts], ...] near zero load.")
    capacity = models.JSONField(default=list, blank=True, help_text="[[mA, mAh], ...]")
    r_fresh_ohm = _number(0, 1000, default=0)
    r_empty_ohm = _number(0, 1000, default=0)
    end_v = _number(0, 60, default=0)
    loss_per_year = _number(0, 12, default=0.03, help_text="Self-discharge, share a year.")
    sigma_v = _number(0, 5, default=0.03, help_text="Spread of the curve, volts a cell.")
    cold = models.JSONField(default=dict, blank=True, help_text='{"light": {"0": .75, "-20": .25}, "heavy": {...}}')
    floor_v = _maybe(0, 60, help_text="Loaded, below this: not for a show.")
    valid_to_ma = _maybe(0, 100_000)
    flat = models.BooleanField(default=False, help_text="Its voltage says little until it is nearly empty.")
    regulated = models.BooleanField(default=False, help_text="Its voltage says nothing: ignore it.")
    needs_taped = models.BooleanField(default=False, help_text="Tape the terminals before it is thrown away.")
    notes = models.TextField(blank=True, default="", max_length=2000)
    source = models.CharField(max_length=300, blank=True, default="")
    keep_at_least = models.PositiveIntegerField(default=0, validators=[MaxValueValidator(100_000)])
    price_cents = models.PositiveIntegerField(null=True, blank=True, validators=[MaxValueValidator(1_000_000)])
    shipped = models.BooleanField(default=False, editable=False)

    class Meta:
        ordering = ["size", "name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(system__in=[k.value for k in System]),
                name="cell_type_system_known",
                violation_error_message="That system of cell is not one the program knows.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("cell-type", args=[self.key])


class CellLot(models.Model):
    """So many cells of a type bought at once, or a tub of part-used ones kept for rehearsals."""

    type = models.ForeignKey(CellType, on_delete=models.PROTECT, related_name="lots")
    pool = models.CharField(max_length=10, choices=[(p.value, p.value) for p in Pool], default=Pool.NEW)
    bought_on = models.DateField(null=True, blank=True)
    price_cents = models.PositiveIntegerField(
        null=True, blank=True, help_text="For one.", validators=[MaxValueValidator(1_000_000)]
    )
    expires_on = models.DateField(null=True, blank=True)
    make = models.CharField(
        max_length=40, blank=True, default="", help_text="A word that tells makes apart: makes are not mixed."
    )
    place = models.ForeignKey(Place, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    note = models.CharField(max_length=200, blank=True, default="")
    added_at = models.DateTimeField()

    class Meta:
        ordering = ["type", "expires_on", "bought_on", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(pool__in=[k.value for k in Pool]),
                name="cell_lot_pool_known",
                violation_error_message="A lot is new, part-used, on charge or on its way out.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.type}, bought {self.bought_on}" if self.bought_on else str(self.type)


class CellMove(models.Model):
    """Cells in or out of a lot: bought, fitted, put back, counted, thrown away. Sums of it are the stock."""

    class Why(models.TextChoices):
        BOUGHT = "bought"
        FITTED = "fitted"
        RETURNED = "returned"
        COUNTED = "counted"
        RECYCLED = "recycled"
        UNDONE = "undone"

    uid = models.UUIDField(unique=True)
    lot = models.ForeignKey(CellLot, on_delete=models.PROTECT, related_name="moves")
    delta = models.IntegerField(validators=[MinValueValidator(-100_000), MaxValueValidator(100_000)])
    why = models.CharField(max_length=8, choices=Why.choices)
    at = models.DateTimeField()
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ["-at", "-pk"]
        indexes = [models.Index(fields=["lot"], name="cell_move_of_lot")]

    def __str__(self) -> str:
        return f"{self.lot}: {self.delta:+d} {self.why}"


class Swap(models.Model):
    """One change at a bay: what went in (or nothing), why, and where what came out went. Append-only; the fold of an item's
    swaps by (done_at, uid) says what is fitted (`FittedSet`)."""

    uid = models.UUIDField(unique=True)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="swaps")
    bay = models.PositiveSmallIntegerField(default=1, validators=[MinValueValidator(1), MaxValueValidator(24)])
    type = models.ForeignKey(
        CellType, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )  # none: only taken out
    lot = models.ForeignKey(CellLot, null=True, blank=True, on_delete=models.PROTECT, related_name="swaps")
    cell_set = models.ForeignKey(Item, null=True, blank=True, on_delete=models.PROTECT, related_name="set_swaps")
    cells = models.PositiveSmallIntegerField(default=1, validators=[MaxValueValidator(48)])
    was_new = models.BooleanField(null=True, help_text="Fresh or fully charged; none: nobody knows.")
    reason = models.CharField(max_length=12, choices=[(r.value, r.value) for r in SwapReason], default=SwapReason.PRECAUTION)
    out_to = models.CharField(max_length=10, choices=[(p.value, p.value) for p in Pool], blank=True, default="")
    out_volts = _maybe(0, 60)
    done_at = models.DateTimeField()
    received_at = models.DateTimeField()
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    show = models.BigIntegerField(null=True, blank=True, help_text="A show's key; shows is a floor above.")
    note = models.CharField(max_length=300, blank=True, default="")
    takes_back = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="taken_back_by")

    class Meta:
        ordering = ["-done_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(reason__in=[k.value for k in SwapReason]),
                name="swap_reason_known",
                violation_error_message="That reason for a swap is not one the program knows.",
            ),
            models.CheckConstraint(
                condition=Q(type=None, lot=None, cell_set=None) | Q(type__isnull=False),
                name="swap_of_a_type",
                violation_error_message="What went in has a type.",
            ),
            models.CheckConstraint(
                condition=Q(lot=None) | Q(cell_set=None),
                name="swap_of_lot_or_set",
                violation_error_message="What went in came from a lot or is a labelled set, not both.",
            ),
        ]
        indexes = [models.Index(F("item"), F("bay"), F("done_at").desc(), name="swap_of_bay")]

    def __str__(self) -> str:
        return f"{self.item} bay {self.bay}: {self.type or 'taken out'}"


class FittedSet(models.Model):
    """What has sat in a bay from one swap to the next: derived from swaps, known by the uid of the swap that fitted it."""

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="fitted_sets")
    bay = models.PositiveSmallIntegerField(default=1)
    opened_uid = models.UUIDField(unique=True)
    type = models.ForeignKey(CellType, on_delete=models.PROTECT, related_name="+")
    lot = models.ForeignKey(CellLot, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    cell_set = models.ForeignKey(Item, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    cells = models.PositiveSmallIntegerField(default=1)
    was_new = models.BooleanField(null=True)
    fitted_at = models.DateTimeField()
    removed_at = models.DateTimeField(null=True, blank=True)
    removed_because = models.CharField(max_length=12, blank=True, default="")
    # what is known of it now, worked out when something about it changed
    hours_used = models.FloatField(default=0)
    hours_sigma = models.FloatField(default=0)
    mean_ln_h = models.FloatField(null=True)
    var_ln_h = models.FloatField(null=True)
    reckoned_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["item", "bay", "-fitted_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["item", "bay"],
                condition=Q(removed_at=None),
                name="one_set_fitted_a_bay",
                violation_error_message="There is a set in that bay already.",
            ),
        ]
        indexes = [models.Index(fields=["fitted_at"], name="fitted_now", condition=Q(removed_at=None))]

    def __str__(self) -> str:
        return f"{self.type} in {self.item} bay {self.bay}"


class CellReading(models.Model):
    """Volts read at a device's cells."""

    uid = models.UUIDField(unique=True)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="cell_readings")
    bay = models.PositiveSmallIntegerField(default=1, validators=[MinValueValidator(1), MaxValueValidator(24)])
    volts = _number(0, 60)
    load_ohm = _maybe(0.1, 1e6, help_text="Test load; none: the device's own, or open.")
    minutes_off = _maybe(0, 1e6)
    read_at = models.DateTimeField()
    received_at = models.DateTimeField()
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    takes_back = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="taken_back_by")

    class Meta:
        ordering = ["-read_at", "-pk"]
        indexes = [models.Index(F("item"), F("bay"), F("read_at").desc(), name="cell_reading_of_bay")]

    def __str__(self) -> str:
        return f"{self.item} bay {self.bay}: {self.volts:g} V"


class HoursNote(models.Model):
    """On-hours somebody told, beside what the use ledger says: a logged figure, left plugged in, or not used after all."""

    class Why(models.TextChoices):
        LOGGED = "logged"
        LEFT_IN = "left in", "left plugged in"
        UNUSED = "unused", "not used"

    uid = models.UUIDField(unique=True)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="hours_notes")
    why = models.CharField(max_length=8, choices=Why.choices)
    minutes = models.PositiveIntegerField(default=0, validators=[MaxValueValidator(100_000)])
    occasion = models.CharField(
        max_length=40, blank=True, default="", help_text="As in the use ledger: stands in for that row."
    )
    at = models.DateTimeField()
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(why__in=["logged", "left in", "unused"]),
                name="hours_note_why_known",
                violation_error_message="Hours were logged, left plugged in, or not used.",
            ),
            models.CheckConstraint(
                condition=Q(why="unused") | Q(minutes__gt=0),
                name="hours_note_has_minutes",
                violation_error_message="Say how long.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item}: {self.why}"


class CellPlan(models.Model):
    """How things of a type are fed by cells: the prior of their draw, where they stop, and the company's policy."""

    type = models.OneToOneField(GearType, on_delete=models.CASCADE, related_name="cell_plan")
    load = models.CharField(max_length=8, choices=[(w.value, w.value) for w in Load], default=Load.CURRENT)
    draw = _maybe(0.001, 1e6, help_text="Median: mA, mW or ohm by load.")
    sigma = _number(
        0.01, 2, default=0.45, help_text="Spread of ln draw: .45 a guess by class, .15 the maker's figure, .08 metered."
    )
    stops_below_v = _maybe(0, 60)
    sounds_poor_below_v = _maybe(0, 60)
    standby_ma = _number(0, 1000, default=0)
    cells_a_bay = models.PositiveSmallIntegerField(default=1, validators=[MinValueValidator(1), MaxValueValidator(24)])
    transmitter = models.BooleanField(default=False)
    fresh_every_show = models.BooleanField(default=False)
    stored_weeks = models.PositiveSmallIntegerField(default=4, validators=[MaxValueValidator(520)])
    full_charge_h = _maybe(0.1, 1000, help_text="Maker's pack: hours from a full charge.")

    class Meta:
        ordering = ["type"]
        constraints = [
            models.CheckConstraint(
                condition=Q(load__in=[k.value for k in Load]),
                name="cell_plan_load_known",
                violation_error_message="A load is a current, a resistor or a power.",
            ),
        ]

    def __str__(self) -> str:
        return f"how {self.type} is fed"


class DeviceDraw(models.Model):
    """What is known of one device's draw: learnt from its finished sets, or metered; carried to its next set."""

    item = models.OneToOneField(Item, on_delete=models.CASCADE, related_name="draw", primary_key=True)
    mean_ln = models.FloatField()
    var_ln = models.FloatField()
    sets = models.PositiveIntegerField(default=0)
    metered = _maybe(0.001, 1e6)
    metered_at = models.DateTimeField(null=True, blank=True)
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"draw of {self.item}"


class TypeDraw(models.Model):
    """What the devices of a type say together of its draw: the middle of ln draw, how sure, how far devices differ."""

    type = models.OneToOneField(GearType, on_delete=models.CASCADE, related_name="cell_draw", primary_key=True)
    mean_ln = models.FloatField()
    var_ln = models.FloatField(help_text="Of the mean.")
    spread_ln = models.FloatField(help_text="Variance between devices.")
    devices = models.PositiveIntegerField(default=0)
    made_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"draw of {self.type}"


class CapacityTest(models.Model):
    """A rechargeable set discharged and measured."""

    uid = models.UUIDField(unique=True)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="capacity_tests")
    mah = _number(1, 1e6)
    rate_ma = _maybe(0.1, 1e5)
    done_at = models.DateTimeField()
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    takes_back = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="taken_back_by")

    class Meta:
        ordering = ["-done_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.item}: {self.mah:g} mAh"


class Charge(models.Model):
    """A rechargeable set or a device with a pack of its own was put on charge."""

    uid = models.UUIDField(unique=True)
    item = models.ForeignKey(Item, on_delete=models.PROTECT, related_name="charges")
    at = models.DateTimeField()
    show = models.BigIntegerField(null=True, blank=True)
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-at", "-pk"]

    def __str__(self) -> str:
        return f"{self.item} on charge"


class CellForecast(models.Model):
    """What was forecast for a device at a show when its swap list was made; never changed."""

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="cell_forecasts")
    bay = models.PositiveSmallIntegerField(default=1)
    show = models.BigIntegerField()
    set_uid = models.UUIDField(null=True, blank=True)
    made_at = models.DateTimeField()
    need_h = models.FloatField()
    median_h = models.FloatField(null=True)
    low_h = models.FloatField(null=True)
    high_h = models.FloatField(null=True)
    chance = models.FloatField(null=True)
    limit = models.FloatField(default=0.02)
    said = models.CharField(max_length=16)  # keep, swap, spare, nothing
    why = models.CharField(max_length=400, blank=True, default="")
    version = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(said__in=[k.value for k in Advice]),
                name="cell_forecast_said_known",
                violation_error_message="That advice is not one the program knows.",
            ),
            models.UniqueConstraint(fields=["item", "bay", "show", "made_at"], name="cell_forecast_once"),
        ]
        indexes = [models.Index(fields=["show"], name="cell_forecast_of_show")]

    def __str__(self) -> str:
        return f"{self.item} at show {self.show}: {self.said}"


class CellForecastOutcome(models.Model):
    """What came of it: survived with h hours, died at h, or swapped unused."""

    forecast = models.OneToOneField(CellForecast, on_delete=models.CASCADE, related_name="outcome")
    how = models.CharField(max_length=10)  # survived, died, swapped
    hours = models.FloatField(default=0)
    resolved_at = models.DateTimeField()

    class Meta:
        ordering = ["resolved_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(how__in=["survived", "died", "swapped"]),
                name="cell_outcome_known",
                violation_error_message="It survived, died or was swapped.",
            ),
        ]

    def __str__(self) -> str:
        return self.how
