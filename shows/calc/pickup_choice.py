"""Which mic/DI a source wants: every one there is, worked through the numbers, the best first, and what the second loses.

"pickup" here is what picks a source up: a direct box, an isolator, a microphone, a plain lead. Points are ours: about a decibel
of harm each. A person may always overrule; the figures stay.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from maintenance.calc.box_gain import Transformer, gain_db, output_ohm, reflected_ohm
from shows.calc.lines import Sort, Way
from shows.calc.signal_path import Answer, Lead, Level, PathError, Source, answer, level_at

ACTIVE_INPUT_OHM, ACTIVE_OUTPUT_OHM = 1e6, 150.0  # where a type's facts do not say: common practice, no source
PASSIVE_RATIO = 12.0  # published parts run from 10 to 20 to 1
NOT_WORKING, NO_ISOLATION, BASS_GONE, NEEDS_CELLS, NEEDS_PHANTOM, TRAP = 1_000.0, 8.0, 6.0, 1.0, 0.3, 500.0
HEARD_LOSS_DB = 1.0  # less is made up at the mixer and heard by nobody. Common practice, no source.
BASS_WANTED_HZ = 60.0
UNBALANCED_MOST_M = 6.0
NO_LOAD_OHM = 1e7  # what no pickup notices
# in the air numbers say little: what is usually put before a source weighs more than they do
LATER_IN_LINE, UNUSUAL_BOX, UNUSUAL_MICROPHONE, TWICE_TOO_WIDE = 0.1, 0.3, 4.0, 0.4


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
    """Where it stands: the lead from the source to the box, the mixer's input, phantom there, whether supplies differ."""

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


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """A pickup weighed: its figures, what speaks against it with its points, and the sentence that tells the figures."""

    pickup: Pickup
    points: float
    answer: Answer | None
    level: Level | None
    pad_db: float
    against: tuple[str, ...]
    says: str

    @property
    def works(self) -> bool:
        return self.points < NOT_WORKING


@dataclass(frozen=True, kw_only=True)
class Choice:
    """What to take with one sentence why, the second choice and what is lost by taking it, and all that was weighed."""

    first: Weighed | None
    why: str
    second: Weighed | None
    lost: str
    weighed: tuple[Weighed, ...]


def choose(source: Source, stage: Stage, pickups: Sequence[Pickup]) -> Choice:
    """Return the pickups in order of what speaks against them; equals by name."""
    weighed = sorted((weigh(source, stage, one) for one in pickups), key=lambda w: (round(w.points, 2), w.pickup.name))
    works = [one for one in weighed if one.works]
    first, second = (works[0] if works else None), (works[1] if len(works) > 1 else None)
    return Choice(
        first=first,
        why=_why(first, works[1:]) if first else _nothing(weighed),
        second=second,
        lost=_lost(first, second) if first and second else "",
        weighed=tuple(weighed),
    )


def weigh(source: Source, stage: Stage, pickup: Pickup) -> Weighed:
    """Work a pickup through the numbers."""
    if stage.way is Way.ACOUSTIC or pickup.by is By.MICROPHONE:
        return _weigh_microphone(stage, pickup)
    against: list[tuple[float, str]] = []
    if stage.way is Way.LOUDSPEAKER and not pickup.takes_loudspeaker:
        against.append((NOT_WORKING, "it is not made for a loudspeaker output"))
    loss, gain, told = _through(source, stage, pickup)
    level, pad = _padded(source, gain, stage, pickup)
    against += _level_against(level, pad)
    against += _response_against(source, stage.lead, told)
    against += _feed_against(stage, pickup)
    if stage.stereo_jack and stage.balanced is False and pickup.by is By.LEAD:
        against.append((TRAP, "a stereo jack in a balanced input gives left minus right: the voice vanishes"))
    if stage.stereo and not pickup.stereo and pickup.by is not By.LEAD:
        against.append((1.5, "it takes one side of two: a second one is needed"))
    idle = TWICE_TOO_WIDE if pickup.stereo and not stage.stereo else 0.0
    if pickup.by is By.LEAD and not stage.balanced and stage.to_mixer_m > UNBALANCED_MOST_M:
        against.append((6.0, f"{stage.to_mixer_m:.0f} m is far for an unbalanced lead"))
    if pickup.by is By.LEAD and source.ohm > stage.mixer_ohm:
        against.append((3.0, "a mixer's input is far too low for this source"))
    if stage.way is Way.LOUDSPEAKER and pickup.takes_loudspeaker and not pickup.voicing_filter:
        against.append((1.0, "it has no filter in the loudspeaker's place: expect a harsh top"))
    return Weighed(
        pickup=pickup,
        points=sum(points for points, _words in against) + max(0.0, loss - HEARD_LOSS_DB) + idle + _habit(pickup, UNUSUAL_BOX),
        answer=told,
        level=level,
        pad_db=pad,
        against=tuple(words for _points, words in against),
        says=_figures(source, pickup, loss, told, level),
    )


def _through(source: Source, stage: Stage, pickup: Pickup) -> tuple[float, float, Answer]:
    """Return loading loss in dB, gain from the source's open volts to the mixer, and the response at the box."""
    if pickup.by is By.LEAD:
        told = answer(source, lead=stage.lead, input_ohm=stage.mixer_ohm)
        return told.loss_db, -told.loss_db, told
    if pickup.by is By.ACTIVE:
        told = answer(source, lead=stage.lead, input_ohm=pickup.input_ohm or ACTIVE_INPUT_OHM)
        out = pickup.output_ohm or ACTIVE_OUTPUT_OHM
        return told.loss_db, -told.loss_db + 20 * math.log10(stage.mixer_ohm / (stage.mixer_ohm + out)), told
    ratio = pickup.turns or (1.0 if pickup.by is By.ISOLATOR else PASSIVE_RATIO)
    box = Transformer(turns_ratio=ratio)
    told = answer(source, lead=stage.lead, input_ohm=reflected_ohm(box, load_ohm=stage.mixer_ohm))
    return told.loss_db, gain_db(box, source_ohm=0.0, load_ohm=stage.mixer_ohm) - told.loss_db, told


def _padded(source: Source, gain: float, stage: Stage, pickup: Pickup) -> tuple[Level, float]:
    """Return the level at the mixer with the least of the box's pads that keeps its peak below the most (0: none is used)."""
    level = level_at(source, gain_db=gain, most_dbu=stage.most_dbu)
    for pad in (0.0, *sorted(abs(one) for one in pickup.pads_db)):
        padded = level_at(source, gain_db=gain - pad, most_dbu=stage.most_dbu)
        if padded.pad != "needed":
            return padded, pad
    return level, 0.0


def _level_against(level: Level, pad: float) -> list[tuple[float, str]]:
    if level.pad == "needed":
        return [(20.0, f"its peaks clip the mixer's input by {-(level.headroom_db or 0):.0f} dB and it has no pad for that")]
    if pad:
        return [(0.2, f"switch its {pad:.0f} dB pad in")]
    return []


def _response_against(source: Source, lead: Lead, told: Answer) -> list[tuple[float, str]]:
    against = []
    if told.bass_hz is not None and told.bass_hz > BASS_WANTED_HZ:
        against.append((BASS_GONE, f"it takes the bass below {told.bass_hz:.0f} Hz"))
    if source.sort is not Sort.PICKUP and told.corner_hz is not None:
        against.append(
            (max(0.0, 3 * math.log2(20_000 / told.corner_hz)), f"the top falls from {told.corner_hz / 1000:.1f} kHz on")
        )
    if source.sort is Sort.PICKUP:
        best = answer(source, lead=lead, input_ohm=NO_LOAD_OHM)
        lost = (best.peak.db if best.peak else 0.0) - (told.peak.db if told.peak else 0.0)
        if lost > HEARD_LOSS_DB:
            against.append((lost, "it flattens the pickup's own peak"))
    return against


def _habit(pickup: Pickup, unusual: float) -> float:
    return unusual if pickup.usual is None else LATER_IN_LINE * pickup.usual


def _feed_against(stage: Stage, pickup: Pickup) -> list[tuple[float, str]]:
    against = []
    if stage.other_feed and not pickup.isolates:
        against.append((NO_ISOLATION, "source and mixer are fed from different supplies and it does not isolate: expect hum"))
    if pickup.by is By.ACTIVE:
        fed = (stage.phantom and pickup.on_phantom) or pickup.on_cells
        if not fed:
            against.append((NOT_WORKING, "nothing feeds it here: it needs phantom"))
        elif not (stage.phantom and pickup.on_phantom):
            against.append((NEEDS_CELLS, "it lives on its cells here"))
        else:
            against.append((NEEDS_PHANTOM, "it needs phantom"))
    return against


def _weigh_microphone(stage: Stage, pickup: Pickup) -> Weighed:
    against: list[tuple[float, str]] = []
    if pickup.by is not By.MICROPHONE:
        against.append((NOT_WORKING, "this source is picked up from the air"))
    if stage.way is Way.ELECTRIC:
        against.append((NOT_WORKING, "this source has a socket and makes no sound of its own"))
    if pickup.on_phantom and not pickup.on_cells:
        against.append(
            (NEEDS_PHANTOM, "it needs phantom") if stage.phantom else (NOT_WORKING, "it needs phantom, and there is none")
        )
    if stage.spl_db is not None and pickup.most_spl_db is not None and stage.spl_db > pickup.most_spl_db:
        against.append((20.0, f"{stage.spl_db:.0f} dB SPL is more than the {pickup.most_spl_db:.0f} it stands"))
    if pickup.usual is None:
        against.append((UNUSUAL_MICROPHONE, "it is not what is usually put before this"))
    level = None
    if stage.spl_db is not None and pickup.sensitivity_mv is not None:
        # 1 Pa is 94 dB SPL
        dbu = 20 * math.log10(pickup.sensitivity_mv / 1000 / math.sqrt(0.6)) + stage.spl_db - 94
        level = level_at(Source(ohm=150, typical_dbu=dbu - 10, peak_dbu=dbu), gain_db=0, most_dbu=stage.most_dbu)
        against += _level_against(level, 0.0)
    says = f"{pickup.name}: peaks of {level.peak_dbu:.0f} dBu at the mixer." if level else f"{pickup.name}."
    return Weighed(
        pickup=pickup,
        points=sum(points for points, _words in against) + _habit(pickup, 0.0),
        answer=None,
        level=level,
        pad_db=0.0,
        against=tuple(words for _points, words in against),
        says=says,
    )


def _figures(source: Source, pickup: Pickup, loss: float, told: Answer, level: Level) -> str:
    said = [f"into {pickup.name} it loses {loss:.2g} dB" if loss < 10 else f"into {pickup.name} it loses {loss:.0f} dB"]
    if source.sort is Sort.PICKUP:
        said.append(f"its peak is {told.peak.db:.0f} dB at {told.peak.hz / 1000:.1f} kHz" if told.peak else "no peak is left")
    elif told.corner_hz is not None:
        said.append(f"its top falls from {told.corner_hz / 1000:.1f} kHz on")
    said.append(f"{level.typical_dbu:.0f} dBu at the mixer, peaks {level.peak_dbu:.0f}")
    return "; ".join(said) + "."


def _why(first: Weighed, rest: Sequence[Weighed]) -> str:
    near = [one for one in rest if one.points - first.points < 0.5]
    told = _upper(first.says)
    if near:
        return f"{told} {near[0].pickup.name} does as well: either will do."
    return told + (f" Mind: {'; '.join(first.against)}." if first.against else "")


def _lost(first: Weighed, second: Weighed) -> str:
    extra = [words for words in second.against if words not in first.against]
    told = f"With {second.pickup.name}: {second.says}"
    return told + (f" {_upper('; '.join(extra))}." if extra else "")


def _upper(words: str) -> str:
    return words[0].upper() + words[1:]


def _nothing(weighed: Sequence[Weighed]) -> str:
    if not weighed:
        return "There is nothing on record that could pick it up."
    return f"Nothing on record will do. {weighed[0].pickup.name}: {'; '.join(weighed[0].against)}."


def mixer_sees_ohm(source: Source, pickup: Pickup) -> float:
    """Return the output impedance at the mixer's end of a pickup, in ohms: what drives the long lead."""
    if pickup.by is By.LEAD:
        return source.ohm
    if pickup.by is By.ACTIVE or pickup.by is By.MICROPHONE:
        return pickup.output_ohm or ACTIVE_OUTPUT_OHM
    ratio = pickup.turns or (1.0 if pickup.by is By.ISOLATOR else PASSIVE_RATIO)
    return output_ohm(Transformer(turns_ratio=ratio), source_ohm=source.ohm)


def with_range(source: Source, *, low_ohm: float, high_ohm: float) -> tuple[Source, Source]:
    """Return the source at both ends of its impedance's range, for figures that are a range."""
    if not low_ohm <= source.ohm <= high_ohm:
        raise PathError("A source's typical impedance lies within its range.")
    return replace(source, ohm=low_ohm), replace(source, ohm=high_ohm)
