"""What a choice of mic/DI is made between and of: the pickups by their facts, where a line stands, and one of them weighed."""

from dataclasses import dataclass
from enum import StrEnum

from shows.calc.lines import Way
from shows.calc.signal_path import Answer, Lead, Level

NOT_WORKING = 1_000.0  # points from which a pickup does not work here at all


class By(StrEnum):
    """How a source is picked up."""

    PASSIVE = "passive box"
    ACTIVE = "active box"
    ISOLATOR = "isolator"
    LEAD = "plain lead"
    MICROPHONE = "microphone"


@dataclass(frozen=True, kw_only=True)
class Pickup:
    """One type that could be taken, by its facts; what is None is not on record."""

    key: str
    name: str
    by: By
    input_ohm: float | None = None
    output_ohm: float | None = None
    turns: float | None = None
    pads_db: tuple[float, ...] = ()
    isolates: bool = False
    lift: bool = False
    takes_loudspeaker: bool = False
    voicing_filter: bool = False
    stereo: bool = False
    on_phantom: bool = False
    on_cells: bool = False
    harmed_by_phantom: bool = False
    sensitivity_mv: float | None = None
    most_spl_db: float | None = None
    usual: int | None = 0  # its place among what is usually taken for this source, from 0; None: it usually is not


@dataclass(frozen=True, kw_only=True)
class Stage:
    """Where it stands: the lead from the source to the box, the mixer's input, phantom there, whether supplies differ.

    `feed_known`: both supplies are known. `live`: phantom is on at that input whatever this line wants, and `harm` says what of
    the source it would hurt. `amplifier`: the source is an amplifier's line output.
    """

    lead: Lead
    mixer_ohm: float
    most_dbu: float | None = None
    phantom: bool = True
    to_mixer_m: float = 0.0
    other_feed: bool = False
    way: Way = Way.ELECTRIC
    balanced: bool = False
    stereo_jack: bool = False
    stereo: bool = False
    is_mains: bool = False
    spl_db: float | None = None
    run_pf_per_m: float = 100.0
    unbalanced_most_m: float = 6.0
    feed_known: bool = True
    amplifier: bool = False
    live: bool = False
    harm: str = ""
    bare_cartridge: bool = False


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """A pickup weighed: its figures, what speaks against it with its points, and the sentence that tells the figures.

    `ends`: the answers at both ends of the source's impedance, where it has a range. `over_db`: how far its peaks go over
    what the mixer's or its own input takes, with the pad in. `in_short`: its figures in a few words. `best`: a
    magnetic pickup's answer into what it is made for.
    """

    pickup: Pickup
    points: float
    answer: Answer | None
    level: Level | None
    pad_db: float
    against: tuple[str, ...]
    says: str
    ends: tuple[Answer, Answer] | None = None
    best: Answer | None = None
    over_db: float = 0.0
    in_short: str = ""

    @property
    def works(self) -> bool:
        return self.points < NOT_WORKING
