"""Resistance of copper cores from their gauge or square millimetres, their length and their temperature."""

import math
from dataclasses import dataclass

# Standard annealed copper at 20 C, 1/58 ohm mm2/m: International Electrotechnical Commission publication 28 (1925); 100 % IACS.
COPPER_OHM_MM2_PER_M = 1 / 58
# Change a kelvin from 20 C: IEC publication 28; tinned fine strand: the manual of a resistance meter's maker.
PLAIN_PER_KELVIN, TINNED_PER_KELVIN = 0.00393, 0.00365
# Gauge to diameter, d = 0.127 mm x 92^((36 - n) / 39): ASTM B258.
AWG_FIRST_MM, AWG_RATIO, AWG_STEPS, AWG_FIRST = 0.127, 92.0, 39, 36
AWG_THICKEST, AWG_THINNEST = -3, 40  # 4/0 is -3

# Greatest resistance at 20 C of class 5 (flexible) cores, milliohms a metre, by mm2: plain, tinned. Up to 6 mm2 IEC 60228 as
# quoted by published tables; 10 and 16 mm2 from memory.
CLASS_5_MOHM_PER_M = {
    0.5: (39.0, 40.1),
    0.75: (26.0, 26.7),
    1.0: (19.5, 20.0),
    1.5: (13.3, 13.7),
    2.5: (7.98, 8.21),
    4.0: (4.95, 5.09),
    6.0: (3.30, 3.39),
    10.0: (1.91, 1.95),
    16.0: (1.21, 1.24),
}
CLASS_5_FROM_MM2 = min(CLASS_5_MOHM_PER_M)
# IEC 60228 starts at 0.5 mm2. Thinner cores: ideal copper times the ratio the table itself shows at its thin end (39.0 / 34.5),
# which gives the figures of VDE 0812 as remembered: a guide, not a standard.
THIN_GUIDE = 1.131
# Sizes between those of the table: the worst ratio the table shows. Our proposal.
BETWEEN_GUIDE = 1.157
TINNED_GUIDE = 40.1 / 39.0  # the table's own ratio at 0.5 mm2

LEAST_MM2, GREATEST_MM2 = 0.01, 400.0
COLDEST_C, HOTTEST_C = -40.0, 90.0


class ConductorError(ValueError):
    """A core or a temperature that cannot be, in words for a person."""


@dataclass(frozen=True, kw_only=True)
class Core:
    """One core at 20 C. `is_maximum`: the figure is already the greatest a good core may have, no allowance is due on it."""

    mohm_per_m: float
    is_maximum: bool
    tinned: bool
    words: str
    source: str

    def ohm(self, length_m: float, temperature_c: float = 20.0) -> float:
        """Return ohms of a length in metres at a temperature in C; ConductorError when either cannot be."""
        if not (math.isfinite(length_m) and length_m > 0):
            raise ConductorError("A length must be more than nothing.")
        return self.mohm_per_m / 1000 * length_m * warmth(temperature_c, tinned=self.tinned)


def warmth(temperature_c: float, *, tinned: bool = False) -> float:
    """Return resistance at a temperature in C over that at 20 C; ConductorError outside -40 to 90 C."""
    if not (math.isfinite(temperature_c) and COLDEST_C <= temperature_c <= HOTTEST_C):
        raise ConductorError(f"A temperature of {temperature_c:g} °C is not one a bench has: give one from -40 to 90 °C.")
    return 1 + (TINNED_PER_KELVIN if tinned else PLAIN_PER_KELVIN) * (temperature_c - 20)


def ideal_mohm_per_m(mm2: float) -> float:
    """Return milliohms a metre of solid annealed copper of a cross-section at 20 C."""
    return 1000 * COPPER_OHM_MM2_PER_M / _sane_mm2(mm2)


def awg_diameter_mm(awg: int) -> float:
    """Return the diameter of a gauge in mm; 2/0, 3/0 and 4/0 are -1, -2, -3. ConductorError for gauges wire is not made in."""
    if not AWG_THICKEST <= awg <= AWG_THINNEST:
        raise ConductorError(f"Gauge {awg} is not one wire is made in: give one from -3 (4/0) to 40.")
    return AWG_FIRST_MM * AWG_RATIO ** ((AWG_FIRST - awg) / AWG_STEPS)


def awg_mm2(awg: int) -> float:
    """Return the cross-section of a gauge in mm2."""
    return math.pi / 4 * awg_diameter_mm(awg) ** 2


def core_of(*, mm2: float | None = None, awg: int | None = None, tinned: bool = False) -> Core | None:
    """Return what one core of a cross-section, or else of a gauge, resists; None when neither is said.

    Gauges are nominal solid copper. Square millimetres are the greatest resistance a flexible core of that size may have.
    """
    if mm2 is not None:
        return _core_of_mm2(_sane_mm2(mm2), tinned)
    if awg is not None:
        mohm = ideal_mohm_per_m(awg_mm2(awg)) * (TINNED_GUIDE if tinned else 1)
        return Core(mohm_per_m=mohm, is_maximum=False, tinned=tinned, words=f"{_gauge(awg)} AWG", source="ASTM B258")
    return None


def _core_of_mm2(mm2: float, tinned: bool) -> Core:
    for size, (plain, coated) in CLASS_5_MOHM_PER_M.items():
        if math.isclose(mm2, size, rel_tol=1e-3):
            mohm, source = (coated if tinned else plain), "IEC 60228 class 5, greatest"
            break
    else:
        guide = THIN_GUIDE if mm2 < CLASS_5_FROM_MM2 else BETWEEN_GUIDE
        mohm = ideal_mohm_per_m(mm2) * guide * (TINNED_GUIDE if tinned else 1)
        source = f"copper x {guide}, a guide: IEC 60228 has no class 5 core of this size"
    words = f"{mm2:g} mm²" + (" tinned" if tinned else "")
    return Core(mohm_per_m=mohm, is_maximum=True, tinned=tinned, words=words, source=source)


def _gauge(awg: int) -> str:
    return str(awg) if awg >= 0 else f"{1 - awg}/0"


def _sane_mm2(mm2: float) -> float:
    if not (math.isfinite(mm2) and LEAST_MM2 <= mm2 <= GREATEST_MM2):
        raise ConductorError(f"A core of {mm2:g} mm² is not one a lead has: give one from 0.01 to 400 mm².")
    return mm2
