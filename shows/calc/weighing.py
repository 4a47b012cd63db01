"""One pickup worked through the numbers: what a source loses into it, level at the mixer, hum, feed, what speaks against it.

Points are ours: about a decibel of harm each.
"""

import math
from dataclasses import replace
from functools import lru_cache

from maintenance.calc.box_gain import RATED_SOURCE_OHM, Transformer, gain_db, output_ohm, reflected_ohm
from shows.calc import choice_words as words
from shows.calc.lines import Sort, Way
from shows.calc.pickups import NOT_WORKING, By, Pickup, Stage, Weighed
from shows.calc.signal_path import Answer, Lead, Level, PathError, Source, answer, level_at

ACTIVE_INPUT_OHM, ACTIVE_OUTPUT_OHM = 1e6, 150.0  # where a type's facts do not say: common practice, no source
PASSIVE_RATIO = 12.0  # published parts run from 10 to 20 to 1
RATED_LOAD_OHM = 1_000.0  # behind which a passive box's input is told: "140 k" is 12 to 1 into about 1 kΩ (derived)
INSTRUMENT_INPUT_OHM = 1e6  # what a magnetic pickup is made for: an instrument amplifier's input. Common practice.
# the most a box takes at its own input before it clips or its core saturates: from memory
MOST_INTO_DBU = {"active box": 10.0, "passive box": 19.0, "isolator": 22.0}
NO_ISOLATION, BASS_GONE, TRAP = 8.0, 6.0, 500.0
NEEDS_CELLS, NEEDS_PHANTOM, MAY_HUM, BALANCED_MAY_HUM = 1.0, 0.15, 0.4, 0.2
CLIPS, PHANTOM_HARMS, TOO_FAR, NOT_A_LOAD = 20.0, 30.0, 6.0, 0.5
HEARD_LOSS_DB = 1.0  # less is made up at the mixer and heard by nobody. Common practice, no source.
BASS_WANTED_HZ = 60.0
# in the air numbers say little: what is usually put before a source weighs more than they do
LATER_IN_LINE, UNUSUAL_BOX, UNUSUAL_MICROPHONE, IDLE_PART = 0.2, 0.4, 4.0, 0.4
AIR_PEAKS_DB = 10.0  # peaks over what is typical, of a source in the air: common practice, no source
BARE_CARTRIDGE = "a bare cartridge wants an equaliser (a preamplifier for records) and 47\u2009kΩ before anything else"


def weigh(source: Source, stage: Stage, pickup: Pickup, *, ends_ohm: tuple[float, float] | None = None) -> Weighed:
    """Work a pickup through the numbers; with `ends_ohm` at both ends of the source's impedance too."""
    if stage.way is Way.ACOUSTIC or pickup.by is By.MICROPHONE:
        return _weigh_microphone(stage, pickup)
    told, gain = _through(source, stage, pickup)
    level, pad, over = _padded(source, told.loss_db, gain, stage, pickup)
    best = answered(source, stage.lead, INSTRUMENT_INPUT_OHM) if source.sort is Sort.PICKUP else None
    against = [
        *_unfit(stage, pickup),
        *_level_against(pad, over, stage, pickup),
        *_response_against(source, told, best),
        *_hum_against(stage, pickup),
        *_feed_against(stage, pickup),
        *_lead_against(source, stage, pickup),
    ]
    if stage.stereo and not pickup.stereo and pickup.by is not By.LEAD:
        against.append((1.5, "it takes one side of two: a second one is needed"))
    ends = None
    if ends_ohm is not None and source.sort is not Sort.PIEZO and ends_ohm[0] < ends_ohm[1]:
        low, high = with_range(source, low_ohm=ends_ohm[0], high_ohm=ends_ohm[1])
        ends = (_through(low, stage, pickup)[0], _through(high, stage, pickup)[0])
    left = words.left_of(source.sort, told, best=best, ends=ends)
    return Weighed(
        pickup=pickup,
        points=sum(points for points, _words in against)
        + max(0.0, told.loss_db - HEARD_LOSS_DB)
        + _idle(stage, pickup)
        + _habit(pickup, UNUSUAL_BOX),
        answer=told,
        level=level,
        pad_db=pad,
        against=tuple(said for _points, said in against),
        says=f"Into {pickup.name} {left}; {words.at_mixer(level, pad)}.",
        ends=ends,
        best=best,
        over_db=over,
        in_short=left.removeprefix("it "),
    )


def input_of(pickup: Pickup, *, mixer_ohm: float) -> float:
    """Return the resistance a source sees in a pickup, in ohms: a passive box's hangs on the mixer behind it.

    Ratio squared times what is behind it; where its maker tells less behind 1 kΩ, the rest is the transformer's own loss.
    """
    if pickup.by is By.LEAD:
        return mixer_ohm
    if pickup.by is By.ACTIVE:
        return pickup.input_ohm or ACTIVE_INPUT_OHM
    box = _transformer(pickup)
    seen = reflected_ohm(box, load_ohm=mixer_ohm)
    rated = reflected_ohm(box, load_ohm=RATED_LOAD_OHM)
    if pickup.by is By.PASSIVE and pickup.input_ohm and pickup.input_ohm < rated:
        return 1 / (1 / seen + 1 / pickup.input_ohm - 1 / rated)
    return seen


def _transformer(pickup: Pickup) -> Transformer:
    ratio = pickup.turns or (1.0 if pickup.by is By.ISOLATOR else PASSIVE_RATIO)
    if pickup.by is By.ISOLATOR:
        return Transformer(turns_ratio=ratio)
    # what its output impedance leaves for the windings, as the bench tells it
    return Transformer(turns_ratio=ratio, secondary_ohm=max(0.0, (pickup.output_ohm or 0.0) - RATED_SOURCE_OHM / ratio**2))


@lru_cache(maxsize=8192)
def answered(source: Source, lead: Lead, input_ohm: float) -> Answer:
    """Answer; the same question is asked once while the program runs."""
    return answer(source, lead=lead, input_ohm=input_ohm)


def lead_of(stage: Stage, pickup: Pickup) -> Lead:
    """Return the lead a source drives: to the box, or with no box all the way to the mixer."""
    if pickup.by is not By.LEAD or not stage.to_mixer_m:
        return stage.lead
    farad = stage.lead.farad + Lead(metres=stage.to_mixer_m, pf_per_m=stage.run_pf_per_m).farad
    whole = stage.lead.metres + stage.to_mixer_m
    return Lead(metres=whole, pf_per_m=farad / whole * 1e12)


def _through(source: Source, stage: Stage, pickup: Pickup) -> tuple[Answer, float]:
    """Return the response at the box, and the gain in dB from the source's open volts to the mixer."""
    sees = input_of(pickup, mixer_ohm=stage.mixer_ohm)
    told = answered(source, lead_of(stage, pickup), sees)
    if pickup.by is By.LEAD:
        return told, -told.loss_db
    if pickup.by is By.ACTIVE:
        out = pickup.output_ohm or ACTIVE_OUTPUT_OHM
        return told, -told.loss_db + 20 * math.log10(stage.mixer_ohm / (stage.mixer_ohm + out))
    return told, gain_db(_transformer(pickup), source_ohm=0.0, load_ohm=stage.mixer_ohm) - told.loss_db


def _padded(source: Source, loss: float, gain: float, stage: Stage, pickup: Pickup) -> tuple[Level, float, float]:
    """Return the level at the mixer with the least pad that keeps both inputs below their most, that pad, and what is over.

    At loudspeaker level a pad is in from the start.
    """
    most_into = MOST_INTO_DBU.get(pickup.by.value, math.inf)
    pads = sorted(abs(one) for one in pickup.pads_db)
    tried = pads if stage.way is Way.LOUDSPEAKER and pads else [0.0, *pads]
    for pad in tried:
        level = level_at(source, gain_db=gain - pad, most_dbu=stage.most_dbu)
        clips = max(0.0, -(level.headroom_db if level.headroom_db is not None else 0.0))
        into = max(0.0, source.peak_dbu - loss - pad - most_into)
        if not clips and not into:
            return level, pad, 0.0
    # a box made for loudspeakers divides before its own input: what that takes is then not on record
    return level, tried[-1], clips if stage.way is Way.LOUDSPEAKER and pickup.takes_loudspeaker else max(clips, into)


def _unfit(stage: Stage, pickup: Pickup) -> list[tuple[float, str]]:
    if stage.bare_cartridge:
        return [(NOT_WORKING, BARE_CARTRIDGE)]
    if stage.way is Way.LOUDSPEAKER and not pickup.takes_loudspeaker:
        return [(NOT_WORKING, "it is not made for a loudspeaker output")]
    if stage.balanced and pickup.by in {By.PASSIVE, By.ACTIVE}:
        return [(NOT_WORKING, "its input is unbalanced: one leg of a balanced output would lie on earth")]
    if stage.balanced and pickup.by is By.ISOLATOR:
        asked = stage.other_feed or (stage.live and stage.harm) or (stage.is_mains and pickup.usual is not None)
        # a mains source's isolator is a second choice with a reason; before a microphone it has none
        return [] if asked else [(IDLE_PART if stage.is_mains else NOT_WORKING, "nothing here asks for isolation")]
    return []


def _level_against(pad: float, over: float, stage: Stage, pickup: Pickup) -> list[tuple[float, str]]:
    if stage.way is Way.LOUDSPEAKER and pickup.takes_loudspeaker and not pickup.pads_db:
        return [(CLIPS, "it has no pad, and loudspeaker level comes in behind a pad first")]
    if over > 0:
        but = f"even behind its {pad:.0f}\u2009dB pad" if pad else "and it has no pad for that"
        return [(CLIPS, f"its peaks clip an input by {over:.0f}\u2009dB {but}")]
    return [(0.2, f"switch its {pad:.0f}\u2009dB pad in")] if pad and stage.way is not Way.LOUDSPEAKER else []


def _response_against(source: Source, told: Answer, best: Answer | None) -> list[tuple[float, str]]:
    against = []
    if told.bass_hz is not None and told.bass_hz > BASS_WANTED_HZ:
        against.append((BASS_GONE, f"it takes the bass below {words.frequency(told.bass_hz)}"))
    if source.sort is not Sort.PICKUP and told.corner_hz is not None:
        falls = max(0.0, 3 * math.log2(20_000 / told.corner_hz))
        against.append((falls, f"the top falls from {words.frequency(told.corner_hz)} on"))
    if best is not None:
        lost = (best.peak.db if best.peak else 0.0) - (told.peak.db if told.peak else 0.0)
        if lost > HEARD_LOSS_DB:
            against.append((lost, "it flattens the pickup's own peak"))
    return against


def _hum_against(stage: Stage, pickup: Pickup) -> list[tuple[float, str]]:
    if pickup.isolates:
        return []
    if stage.balanced:
        return [(BALANCED_MAY_HUM, "source and mixer are fed from different supplies")] if stage.other_feed else []
    if stage.other_feed:
        return [(NO_ISOLATION, "source and mixer are fed from different supplies and it does not isolate: expect hum")]
    if stage.is_mains and not stage.feed_known:
        return [(MAY_HUM, "the source hangs on the mains and it does not isolate: it may hum")]
    return []


def _lead_against(source: Source, stage: Stage, pickup: Pickup) -> list[tuple[float, str]]:
    if pickup.by is not By.LEAD:
        return []
    against = []
    if stage.stereo_jack and not stage.balanced:
        against.append((TRAP, "a stereo jack in a balanced input gives left minus right: the voice vanishes"))
    far = stage.lead.metres + stage.to_mixer_m
    if not stage.balanced and far > stage.unbalanced_most_m:
        against.append((TOO_FAR, f"{words.metres(far)} is far for an unbalanced lead"))
    if source.ohm > stage.mixer_ohm:
        against.append((3.0, "a mixer's input is far too low for this source"))
    if stage.live and (stage.harm or not stage.balanced):
        against.append((PHANTOM_HARMS, f"phantom is on there for others, and it is {stage.harm or 'an unbalanced adapter'}"))
    return against


def _idle(stage: Stage, pickup: Pickup) -> float:
    """Return what a part that would lie idle costs: a second channel, a voicing filter; and the lack of one that is wanted."""
    idle = IDLE_PART if pickup.stereo and not stage.stereo else 0.0
    amplifier = stage.amplifier or stage.way is Way.LOUDSPEAKER
    if amplifier and not pickup.voicing_filter and pickup.by is not By.LEAD:
        return idle + (1.0 if stage.way is Way.LOUDSPEAKER else 0.0)
    return idle + (0.0 if amplifier or not pickup.voicing_filter else IDLE_PART)


def _habit(pickup: Pickup, unusual: float) -> float:
    return unusual if pickup.usual is None else LATER_IN_LINE * pickup.usual


def _feed_against(stage: Stage, pickup: Pickup) -> list[tuple[float, str]]:
    if pickup.by is not By.ACTIVE:
        return []
    on_phantom = stage.phantom and pickup.on_phantom
    if not on_phantom and not pickup.on_cells:
        return [(NOT_WORKING, "nothing feeds it here: it needs phantom")]
    against = [(NEEDS_PHANTOM, "it needs phantom") if on_phantom else (NEEDS_CELLS, "it lives on its cells here")]
    if stage.way is Way.LOUDSPEAKER and not pickup.isolates:
        against.append((NOT_A_LOAD, "it ties the output to earth: not for a bridged or floating one"))
    return against


def _weigh_microphone(stage: Stage, pickup: Pickup) -> Weighed:
    against: list[tuple[float, str]] = []
    if pickup.by is not By.MICROPHONE:
        against.append((NOT_WORKING, "this source is picked up from the air"))
    if stage.way is Way.ELECTRIC:
        against.append((NOT_WORKING, "this source has a socket and makes no sound of its own"))
    if pickup.on_phantom and not pickup.on_cells:
        none = (NOT_WORKING, "it needs phantom, and there is none")
        against.append((NEEDS_PHANTOM, "it needs phantom") if stage.phantom else none)
    if stage.live and pickup.harmed_by_phantom:
        against.append((PHANTOM_HARMS, "phantom is on there for others, and would harm it"))
    if stage.spl_db is not None and pickup.most_spl_db is not None and stage.spl_db > pickup.most_spl_db:
        against.append(
            (CLIPS, f"{stage.spl_db:.0f}\u2009dB of sound pressure is more than the {pickup.most_spl_db:.0f} it stands")
        )
    if pickup.usual is None:
        against.append((UNUSUAL_MICROPHONE, "it is not what is usually put before this"))
    level, over = None, 0.0
    if stage.spl_db is not None and pickup.sensitivity_mv is not None:
        # 1 Pa is 94 dB of sound pressure
        peak = 20 * math.log10(pickup.sensitivity_mv / 1000 / math.sqrt(0.6)) + stage.spl_db - 94
        heard = Source(ohm=pickup.output_ohm or 150, typical_dbu=peak - AIR_PEAKS_DB, peak_dbu=peak)
        level = level_at(heard, gain_db=0, most_dbu=stage.most_dbu)
        over = max(0.0, -(level.headroom_db if level.headroom_db is not None else 0.0))
        against += _level_against(0.0, over, stage, pickup)
    return Weighed(
        pickup=pickup,
        points=sum(points for points, _words in against) + _habit(pickup, 0.0),
        answer=None,
        level=level,
        pad_db=0.0,
        against=tuple(said for _points, said in against),
        says=_heard_words(stage, pickup, level),
        over_db=over,
        in_short="usual here" if pickup.usual is not None else "not usual here",
    )


def _heard_words(stage: Stage, pickup: Pickup, level: Level | None) -> str:
    usual = "is usual here" if pickup.usual is not None else "is not usual here"
    if level is None:
        return f"{pickup.name} {usual}; no figure of it is on record."
    stands = f"; it stands up to {pickup.most_spl_db:.0f}\u2009dB" if pickup.most_spl_db is not None else ""
    loud = f"{stage.spl_db:.0f}\u2009dB of sound pressure gives peaks of {words.dbu(level.peak_dbu)}\u2009dBu at the mixer"
    return f"{pickup.name} {usual}: {loud}{stands}."


def mixer_sees_ohm(source: Source, pickup: Pickup) -> float:
    """Return the output impedance at the mixer's end of a pickup, in ohms: what drives the long lead."""
    if pickup.by is By.LEAD:
        return source.ohm
    if pickup.by is By.ACTIVE or pickup.by is By.MICROPHONE:
        return pickup.output_ohm or ACTIVE_OUTPUT_OHM
    return output_ohm(_transformer(pickup), source_ohm=source.ohm)


def with_range(source: Source, *, low_ohm: float, high_ohm: float) -> tuple[Source, Source]:
    """Return the source at both ends of its impedance's range, for figures that are a range."""
    if not low_ohm <= source.ohm <= high_ohm:
        raise PathError("A source's typical impedance lies within its range.")
    return replace(source, ohm=low_ohm), replace(source, ohm=high_ohm)
