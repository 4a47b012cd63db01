"""Facts of a gear type, one table a kind, every column with its unit in its name. All may be empty: nobody must know them."""

from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from inventory.calc.kinds import Kind, PhantomKind
from inventory.models.gear import GearType


def ohms(**kw: Any) -> Any:
    return models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1e9)], **kw)


def milliamps(**kw: Any) -> Any:
    return models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(100_000)], **kw)


def decibels(**kw: Any) -> Any:
    return models.FloatField(null=True, blank=True, validators=[MinValueValidator(-200), MaxValueValidator(200)], **kw)


def millimetres(**kw: Any) -> Any:
    return models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1_000_000)], **kw)


def channels(**kw: Any) -> Any:
    return models.PositiveSmallIntegerField(null=True, blank=True, validators=[MaxValueValidator(512)], **kw)


def phantom(**kw: Any) -> Any:
    return models.CharField(max_length=12, blank=True, default="", choices=[(k.value, k.value) for k in PhantomKind], **kw)


def of_type(name: str) -> Any:
    return models.OneToOneField(GearType, on_delete=models.CASCADE, related_name=name)


class Facts(models.Model):
    source = models.CharField(max_length=120, blank=True, default="", help_text="Where the figures are from.")

    class Meta:
        abstract = True

    def __str__(self) -> str:
        return f"facts of {self.type}"  # type: ignore[attr-defined]


class InterfaceBoxFacts(Facts):
    """What is known of a type of direct box, isolator or adapter."""

    type = of_type("box_facts")
    active = models.BooleanField(default=False)
    channels = channels(default=1)
    input_ohm = ohms()
    output_ohm = ohms()
    turns_ratio = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0.01), MaxValueValidator(1000)])
    transformer_isolated = models.BooleanField(null=True, blank=True)
    pad_db = decibels()
    second_pad_db = decibels()
    ground_lift = models.BooleanField(null=True, blank=True)
    voicing_filter = models.BooleanField(default=False)
    loudspeaker_tap = models.BooleanField(default=False)
    runs_on_phantom = models.BooleanField(default=False)
    runs_on_cells = models.BooleanField(default=False)
    draw_ma = milliamps()
    least_supply_v = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(100)])
    switched_by_input_jack = models.BooleanField(default=False)


class LeadFacts(Facts):
    """What is known of a type of lead."""

    type = of_type("lead_facts")
    wiring = models.SlugField(max_length=40, blank=True, default="", help_text="Which pin goes to which: the wiring's key.")
    end_a = models.CharField(max_length=40, blank=True, default="")
    end_b = models.CharField(max_length=40, blank=True, default="")
    balanced = models.BooleanField(null=True, blank=True)
    core_mm2 = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0.01), MaxValueValidator(400)])
    core_awg = models.SmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(-3), MaxValueValidator(40)],
        help_text="Gauge, where mm2 is not said.",
    )
    tinned = models.BooleanField(default=False)
    screen_mohm_per_m = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(10_000)])
    capacitance_pf_per_m = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(5000)])
    outer_diameter_mm = millimetres()
    stock_lengths_mm = models.JSONField(default=list, blank=True)


class MicrophoneFacts(Facts):
    """What is known of a type of microphone."""

    class Transducer(models.TextChoices):
        DYNAMIC = "dynamic"
        CONDENSER = "condenser"
        RIBBON = "ribbon"
        BOUNDARY = "boundary"

    type = of_type("microphone_facts")
    transducer = models.CharField(max_length=10, choices=Transducer.choices, blank=True, default="")
    source_ohm = ohms()
    sensitivity_mv_per_pa = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1000)])
    needs_phantom = models.BooleanField(default=False)
    draw_ma = milliamps()
    most_spl_db = decibels()
    harmed_by_phantom = models.BooleanField(default=False)


class WirelessFacts(Facts):
    """Transmitters and receivers, microphones' and in-ear."""

    type = of_type("wireless_facts")
    band = models.CharField(max_length=40, blank=True, default="")
    lowest_mhz = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(100_000)])
    highest_mhz = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(100_000)])
    worn = models.BooleanField(default=False)
    draw_ma = milliamps()
    output_ohm = ohms()
    output_dbu = decibels()


class MulticoreFacts(Facts):
    """What is known of a type of multicore."""

    type = of_type("multicore_facts")
    wiring = models.SlugField(
        max_length=40, blank=True, default="multicore", help_text="Which pin goes to which: the wiring's key."
    )
    sends = channels()
    returns = channels()
    core_mm2 = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0.01), MaxValueValidator(400)])
    core_awg = models.SmallIntegerField(
        null=True,
        blank=True,
        validators=[MinValueValidator(-3), MaxValueValidator(40)],
        help_text="Gauge, where mm2 is not said.",
    )
    tinned = models.BooleanField(default=False)
    screen_mohm_per_m = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(10_000)])
    capacitance_pf_per_m = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(5000)])
    outer_diameter_mm = millimetres()


class StageBoxFacts(Facts):
    """What is known of a type of stage box."""

    type = of_type("stage_box_facts")
    digital = models.BooleanField(default=False)
    inputs = channels()
    outputs = channels()
    input_ohm = ohms()
    most_input_dbu = decibels()
    phantom = phantom()
    phantom_budget_ma = milliamps()


class DeskFacts(Facts):
    """What is known of a type of desk."""

    type = of_type("desk_facts")
    digital = models.BooleanField(default=False)
    inputs = channels()
    outputs = channels()
    input_ohm = ohms()
    most_input_dbu = decibels()
    phantom = phantom()
    phantom_budget_ma = milliamps()


class LoudspeakerFacts(Facts):
    """What is known of a type of loudspeaker."""

    type = of_type("loudspeaker_facts")
    powered = models.BooleanField(default=False)
    impedance_ohm = ohms()
    mains_a = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1000)])
    most_spl_db = decibels()


class AmplifierFacts(Facts):
    """What is known of a type of amplifier."""

    type = of_type("amplifier_facts")
    outputs = channels()
    least_load_ohm = ohms()
    power_w = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(100_000)])
    mains_a = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1000)])


class PowerFacts(Facts):
    """Mains leads and distribution: records only; nothing here is ever declared safe."""

    type = of_type("power_facts")
    rating_a = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1000)])
    outlets = channels()
    core_mm2 = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0.01), MaxValueValidator(400)])
    outer_diameter_mm = millimetres()
    residual_current_ma = milliamps()


class CellSetFacts(Facts):
    """What is known of a type of rechargeable set."""

    type = of_type("cell_set_facts")
    cells = channels()
    capacity_mah = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1_000_000)])
    chemistry = models.CharField(max_length=20, blank=True, default="")


class StandFacts(Facts):
    """What is known of a type of stand."""

    type = of_type("stand_facts")
    lowest_mm = millimetres()
    highest_mm = millimetres()
    most_load_g = models.PositiveIntegerField(null=True, blank=True)


class CaseFacts(Facts):
    """What is known of a type of case."""

    type = of_type("case_facts")
    bench_bag = models.BooleanField(default=False, help_text="Whatever goes in is suspect and gets sorted at the shop.")
    inner_length_mm = millimetres()
    inner_width_mm = millimetres()
    inner_height_mm = millimetres()
    most_load_g = models.PositiveIntegerField(null=True, blank=True)


class ConsumableFacts(Facts):
    """What is known of a type of consumable."""

    type = of_type("consumable_facts")
    unit = models.CharField(max_length=20, default="piece", help_text="What one is: roll, bag of 100.")
    keep_at_least = models.PositiveIntegerField(default=0, help_text="Buy when fewer are left.")
    buy_by = models.PositiveIntegerField(default=1, validators=[MinValueValidator(1)], help_text="Bought in multiples of.")


class InstrumentFacts(Facts):
    """What is known of a type of instrument."""

    type = of_type("instrument_facts")
    measures = models.CharField(
        max_length=80, blank=True, default="", help_text="continuity, ohms, insulation, volts, phantom ..."
    )
    lowest_ohm = ohms()
    highest_ohm = ohms()
    accuracy_percent = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(100)])
    calibrate_every_days = models.PositiveIntegerField(null=True, blank=True, validators=[MaxValueValidator(20_000)])


FACTS_OF_KIND: dict[Kind, type[Facts]] = {
    Kind.INTERFACE_BOX: InterfaceBoxFacts,
    Kind.LEAD: LeadFacts,
    Kind.MICROPHONE: MicrophoneFacts,
    Kind.TRANSMITTER: WirelessFacts,
    Kind.RECEIVER: WirelessFacts,
    Kind.MULTICORE: MulticoreFacts,
    Kind.STAGE_BOX: StageBoxFacts,
    Kind.DESK: DeskFacts,
    Kind.LOUDSPEAKER: LoudspeakerFacts,
    Kind.AMPLIFIER: AmplifierFacts,
    Kind.POWER: PowerFacts,
    Kind.CELL_SET: CellSetFacts,
    Kind.STAND: StandFacts,
    Kind.CASE: CaseFacts,
    Kind.CONSUMABLE: ConsumableFacts,
    Kind.INSTRUMENT: InstrumentFacts,
}
