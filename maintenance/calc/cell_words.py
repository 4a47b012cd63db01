"""The words of cells: systems, loads, why they are swapped and where they go, what a forecast takes and answers."""

from dataclasses import dataclass
from enum import StrEnum


class System(StrEnum):
    """Chemistry, by its IEC letter."""

    ALKALINE = "alkaline"  # L
    ZINC_CARBON = "zinc-carbon"  # none
    LITHIUM_IRON = "lithium-iron"  # F, Li-FeS2
    LITHIUM_MANGANESE = "lithium-manganese"  # C, Li-MnO2
    NIMH = "nickel-metal"  # H
    LITHIUM_ION = "lithium-ion"  # I; regulated 1.5 V and 9 V cells, packs


class Load(StrEnum):
    """How a device draws; `draw` is in mA, ohm or mW accordingly."""

    CURRENT = "current"
    RESISTOR = "resistor"
    POWER = "power"  # a switching regulator: most AA transmitters


LOAD_UNITS = {Load.CURRENT: "mA", Load.RESISTOR: "ohm", Load.POWER: "mW"}


class Pool(StrEnum):
    """Where cells are: bought and new, part-used and tested for rehearsals, on charge, or on their way out."""

    NEW = "new"
    REHEARSAL = "rehearsal"
    CHARGE = "charge"
    RECYCLE = "recycle"
    QUARANTINE = "quarantine"  # leaking or swollen: gloves


class SwapReason(StrEnum):
    FIRST = "first"
    DIED = "died"
    PRECAUTION = "precaution"
    POLICY = "policy"
    LEAKED = "leaked"
    STORED = "stored"  # taken out of gear that is put away


SWAP_REASON_WORDS = {
    SwapReason.FIRST: "first set",
    SwapReason.DIED: "died",
    SwapReason.PRECAUTION: "precaution",
    SwapReason.POLICY: "policy: fresh every show",
    SwapReason.LEAKED: "leaked",
    SwapReason.STORED: "put away without cells",
}


class Advice(StrEnum):
    """What the swap list says of one device at one show."""

    KEEP = "keep"
    SWAP = "swap"
    SPARE = "spare"  # keep, and carry a set
    CHARGE = "charge"
    NOTHING = "nothing"  # phantom or mains feeds it
    ASK = "ask"  # what is in it is not known


class Stakes(StrEnum):
    """How much a line matters: its share of the show's chance of losing a channel to a cell."""

    CRITICAL = "critical"
    NORMAL = "normal"
    REHEARSAL = "rehearsal"


@dataclass(frozen=True, kw_only=True)
class CellKind:
    """What the forecast needs of a cell type. `curve`: (depth 0 to 1, volts near zero load) of one block; `capacity`:
    (mA, mAh) nodes; `cold_light`, `cold_heavy`: (degrees C, factor); resistances of one block, ohm; `loss_per_year`: share.
    """

    key: str
    name: str
    system: System
    units: int
    nominal_v: float
    fresh_most_v: float
    curve: tuple[tuple[float, float], ...]
    capacity: tuple[tuple[float, float], ...]
    r_fresh_ohm: float
    r_empty_ohm: float
    end_v: float
    loss_per_year: float
    sigma_v: float
    cold_light: tuple[tuple[float, float], ...] = ()
    cold_heavy: tuple[tuple[float, float], ...] = ()
    floor_v: float | None = None
    valid_to_ma: float | None = None
    rechargeable: bool = False
    flat: bool = False
    regulated: bool = False


@dataclass(frozen=True, kw_only=True)
class Draw:
    """What is believed of a device's draw: ln of it ~ N(mean_ln, var_ln), in mA, mW or ohm by `load`."""

    load: Load
    mean_ln: float
    var_ln: float
    standby_ma: float = 0.0
    stops_below_v: float = 0.0  # of the whole set in series
    in_series: int = 1  # blocks in series: 1 for a 9 V block, 2 for two AA


@dataclass(frozen=True, kw_only=True)
class Seen:
    """One reading of a set: volts of the whole set, on what load, how long off, at how many on-hours (with their spread)."""

    volts: float
    hours: float
    hours_share: float = 0.25
    load_ohm: float | None = None
    own_load: bool = False
    minutes_off: float | None = None


@dataclass(frozen=True, kw_only=True)
class Life:
    """What is believed of a set's whole life: ln hours ~ N(mean_ln_h, var_ln_h), `hours` of it gone.

    `low_h`, `median_h`, `high_h` are hours LEFT (5, 50, 95 of 100); `hours_sigma`, h, is how far off the hours gone since new
    or since the reading may be; `reasons` are sentences.
    """

    mean_ln_h: float
    var_ln_h: float
    hours: float
    low_h: float
    median_h: float
    high_h: float
    reasons: tuple[str, ...] = ()
    hours_sigma: float = 0.0


class CellError(ValueError):
    """Something that cannot be: 12 V from a 9 V cell, millivolts typed as volts, a type without a curve. Words for a person."""
