"""What readings are held against, as the shop has set it. Every figure is a proposal (engineering judgement) and editable."""

from dataclasses import asdict, dataclass


@dataclass(frozen=True, kw_only=True)
class BenchLimits:
    """Allowances and thresholds of the bench; the model BenchSettings has a column of the same name for each.

    A core passes up to `core_factor` x its copper + `contact_ohm` x contacts + `guard_ohm`, is watched up to
    `watch_extra_ohm` + its copper, and fails above. `core_factor` is left out where the resistance is already a maximum.
    """

    core_factor: float = 1.15
    contact_ohm: float = 0.05
    guard_ohm: float = 0.10
    watch_extra_ohm: float = 1.0
    open_ohm: float = 1_000.0  # above: open
    short_ohm: float = 1_000.0  # a wrong pair below: short
    leak_ohm: float = 1_000_000.0  # a wrong pair below: leak or damp
    legs_factor: float = 0.10  # two legs may differ by this share ...
    legs_ohm: float = 0.05  # ... and this much
    loudspeaker_leg_ohm: float = 0.05
    loudspeaker_loss_db: float = 0.5
    golden_share: float = 0.10  # a winding against the unit's own first reading
    level_db: float = 3.0  # a microphone against the reference one; an input against its neighbours
    gain_db: float = 1.0  # a box's gain against what its ratio predicts
    pad_db: float = 1.0  # a pad against its label
    phantom_match_share: float = 0.004  # the two legs of a phantom output (IEC 61938)
    insulation_ohm: float = 1e7  # passive cable only: below, reject
    insulation_good_ohm: float = 1e8
    # mains: the company's own limits for its country; empty: figures are recorded and not compared
    earth_ohm: float | None = None
    mains_insulation_mohm: float | None = None
    leakage_ma: float | None = None
    residual_trip_ms: float | None = None

    def told(self) -> dict[str, float]:
        """Return the figures that are set, to be stored with a test."""
        return {name: value for name, value in asdict(self).items() if value is not None}
