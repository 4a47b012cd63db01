"""What a core of a lead may resist: copper by gauge, length and temperature, with the bench's allowances.

A core passes up to its copper (x core_factor, where the figure is not a maximum already) + contacts + guard, is watched up to
its copper + watch_extra_ohm, and fails above. A screen has a limit of its own. A loudspeaker lead is held to milliohms.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from math import isfinite, log10

from inventory.calc.conductors import PLAIN_PER_KELVIN, TINNED_PER_KELVIN, ConductorError, Core, core_of
from maintenance.calc.bench import ReadingError
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.wiring_nets import Wiring
from maintenance.calc.wiring_words import ohms_words

CONTACTS = 2  # one at each end
ROOM_C = 20.0
# A two-wire meter's own leads: 0.1 to 0.3 ohm, from memory. Without a null, so much of a reading may be theirs.
TEST_LEADS_OHM = 0.3
LOADS_OHM = (8.0, 4.0)


@dataclass(frozen=True, kw_only=True)
class Lead:
    """A lead as the bench sees it. Without a length or a gauge its resistance is not judged, and that is said."""

    wiring: Wiring
    length_m: float | None = None
    core_mm2: float | None = None
    core_awg: int | None = None
    tinned: bool = False
    screen_mohm_per_m: float | None = None
    loudspeaker: bool = False
    has_electronics: bool = False


@dataclass(frozen=True, kw_only=True)
class Limit:
    """Ohms: the copper alone, the most that passes, and above what it fails."""

    copper_ohm: float
    pass_ohm: float
    fail_ohm: float


@dataclass(frozen=True, kw_only=True)
class NetLimit:
    """One net of a lead with its limit, end to end; None where nothing can be held against it."""

    name: str
    pins: tuple[str, ...]
    is_screen: bool
    limit: Limit | None


@dataclass(frozen=True, kw_only=True)
class LeadLimits:
    """What a lead is held against. `why_not` says why its resistance is not judged; `reasons` say what figures were used.

    `core` and `screen` are for one length, `twice` keeps the same for a way out and back (between two tails of a Y).
    """

    core: Limit | None
    screen: Limit | None
    core_twice: Limit | None
    screen_twice: Limit | None
    why_not: str = ""
    reasons: tuple[str, ...] = ()
    nets: tuple[NetLimit, ...] = ()
    told: Mapping[str, float | str] = field(default_factory=dict)

    def of(self, *, is_screen: bool, twice: bool = False) -> Limit | None:
        if twice:
            return self.screen_twice if is_screen else self.core_twice
        return self.screen if is_screen else self.core


@lru_cache(maxsize=1024)
def core_limits(*, lead: Lead, limits: BenchLimits, temperature_c: float | None = None) -> LeadLimits:
    """Return the limits of a lead's nets at a temperature in C (20 when not said); ReadingError for one no bench has."""
    at_c = ROOM_C if temperature_c is None else temperature_c
    core = screen = core_twice = screen_twice = None
    reasons: list[str] = []
    why_not = _why_not(lead)
    copper: Core | None = None
    if not why_not:
        try:
            copper = core_of(mm2=lead.core_mm2, awg=lead.core_awg, tinned=lead.tinned)
        except ConductorError as wrong:
            why_not = f"{wrong} Resistance is not judged."
    length = lead.length_m or 0.0
    try:
        if copper is not None:
            core = _core_limit(copper, length, at_c, lead, limits)
            core_twice = _core_limit(copper, 2 * length, at_c, lead, limits)
            reasons.append(_core_words(copper, core, length, at_c))
        if not why_not and lead.screen_mohm_per_m:
            braid = Core(
                mohm_per_m=lead.screen_mohm_per_m, is_maximum=False, tinned=lead.tinned, words="screen", source="its type"
            )
            screen = _core_limit(braid, length, at_c, lead, limits)
            screen_twice = _core_limit(braid, 2 * length, at_c, lead, limits)
            reasons.append(
                f"Screen: {lead.screen_mohm_per_m:g} mΩ a metre is {ohms_words(screen.copper_ohm)}; "
                f"it passes up to {ohms_words(screen.pass_ohm)}."
            )
    except ConductorError as wrong:
        raise ReadingError(str(wrong)) from wrong
    has_screen = any(net.is_screen for net in lead.wiring.nets)
    if screen is None and core is not None and has_screen:
        screen, screen_twice = core, core_twice
        reasons.append("The type does not say what its screen resists: the screen is held to the limit of a core.")
    nets = tuple(
        NetLimit(name=net.name, pins=net.pins, is_screen=net.is_screen, limit=screen if net.is_screen else core)
        for net in lead.wiring.nets[: lead.wiring.joined_nets]
    )
    return LeadLimits(
        core=core,
        screen=screen,
        core_twice=core_twice,
        screen_twice=screen_twice,
        why_not=why_not,
        reasons=tuple(reasons),
        nets=nets,
        told=_told(core, screen, lead, limits, at_c),
    )


def loss_db(loop_ohm: float, load_ohm: float) -> float:
    """Return what a loudspeaker lead's loop loses into a load, in dB: 20 lg((load + loop) / load)."""
    return 20 * log10((load_ohm + loop_ohm) / load_ohm)


def _why_not(lead: Lead) -> str:
    if lead.length_m is None or not isfinite(lead.length_m) or lead.length_m <= 0:
        return "No length is on record, so resistance is not judged: set the length to have it held against its copper."
    if lead.core_mm2 is None and lead.core_awg is None:
        return "Its type says no gauge, so resistance is not judged: set mm² or AWG to have it held against its copper."
    return ""


def _core_limit(core: Core, length_m: float, at_c: float, lead: Lead, limits: BenchLimits) -> Limit:
    copper = core.ohm(length_m, at_c)
    if lead.loudspeaker:
        most = copper + limits.loudspeaker_leg_ohm
        return Limit(copper_ohm=copper, pass_ohm=most, fail_ohm=most + limits.guard_ohm)
    factor = 1.0 if core.is_maximum else limits.core_factor
    most = copper * factor + limits.contact_ohm * CONTACTS + limits.guard_ohm
    return Limit(copper_ohm=copper, pass_ohm=most, fail_ohm=max(most, copper + limits.watch_extra_ohm))


def _core_words(core: Core, limit: Limit, length_m: float, at_c: float) -> str:
    kind = "at most" if core.is_maximum else "about"
    return (
        f"{length_m:g} m of {core.words} is {kind} {ohms_words(limit.copper_ohm)} a core at {at_c:g} °C; "
        f"a core passes up to {ohms_words(limit.pass_ohm)}, and fails above {ohms_words(limit.fail_ohm)}."
    )


def _told(core: Limit | None, screen: Limit | None, lead: Lead, limits: BenchLimits, at_c: float) -> dict[str, float | str]:
    told: dict[str, float | str] = {
        "temperature_c": at_c,
        "per_kelvin": TINNED_PER_KELVIN if lead.tinned else PLAIN_PER_KELVIN,
        "open_ohm": limits.open_ohm,
        "short_ohm": limits.short_ohm,
        "leak_ohm": limits.leak_ohm,
        "legs_factor": limits.legs_factor,
        "legs_ohm": limits.legs_ohm,
    }
    for name, limit in (("core", core), ("screen", screen)):
        if limit is not None:
            told |= {
                f"{name}_copper_ohm": round(limit.copper_ohm, 4),
                f"{name}_pass_ohm": round(limit.pass_ohm, 4),
                f"{name}_fail_ohm": round(limit.fail_ohm, 4),
            }
    if lead.loudspeaker:
        told["loudspeaker_loss_db"] = limits.loudspeaker_loss_db
    return told
