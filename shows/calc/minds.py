"""What to mind on a line, each with the key of its rule and a sentence: hum, loudspeaker level, pads, phantom, runs, traps."""

from collections.abc import Iterator
from dataclasses import dataclass

from shows.calc import choice_words as words
from shows.calc.lines import PhantomWish, Sort, Way
from shows.calc.phantom import Fed
from shows.calc.pickups import By, Stage, Weighed
from shows.calc.signal_path import Source, answer, common_mode_db, corner_hz
from shows.calc.weighing import BARE_CARTRIDGE, lead_of

# Whitlock's model as published by Elliott: an ordinary balanced input's common-mode impedance and a transformer's, ideal
INPUT_COMMON_OHM, TRANSFORMER_COMMON_OHM, UNEVEN_OHM = 10_000.0, 50e6, 10.0
HEARD_TOP_DB = 0.5  # less at 20 kHz over a long run is not told. Our proposal.
LOUDSPEAKER = (
    "Loudspeaker level: a direct box is not a load. Tap in parallel with the loudspeaker, pad first. A valve amplifier must "
    "see its loudspeaker or a dummy load whenever it is on. Do not tie a bridged or floating output to earth through a box: "
    "use transformer isolation."
)
EARTH = "Never lift or cut protective earth to cure hum"
MUTE = "Phantom power: mute before plugging."


@dataclass(frozen=True, kw_only=True)
class Mind:
    """Something to mind on a line: `key` names the rule, `grave`: it does not work or it can hurt."""

    key: str
    words: str
    grave: bool = False


@dataclass(frozen=True, kw_only=True)
class Minded:
    """All that the rules look at. `wants`: phantom is switched on for this line. `needs_own`: the source itself lives on it.

    `run_m` to the first box, `far_m` from there to the input; `long_top_db` what both take at 20 kHz (negative: lost). `owned`
    None: it is not ours to bring. `usual_missing`: the name of what is usual first and we own none of.
    """

    source: Source
    stage: Stage
    taken: Weighed
    inputs: str = "the desk"
    wish: str = PhantomWish.AS_NEEDED
    wants: bool = False
    needs_own: bool = False
    draws: bool | None = None
    fed: Fed | None = None
    harm: str = ""
    run_m: float = 0.0
    long_top_db: float = 0.0
    drives_ohm: float = 150.0
    owned: int | None = None
    usual_missing: str = ""
    supplies: tuple[str, str] = ("", "")


def minds_of(line: Minded) -> tuple[Mind, ...]:
    """Return what to mind, the grave first."""
    found = [*_source(line), *_loudspeaker(line), *_level(line), *_hum(line), *_phantom(line), *_runs(line), *_stock(line)]
    return tuple(sorted(found, key=lambda one: not one.grave))


def _source(line: Minded) -> Iterator[Mind]:
    stage, taken = line.stage, line.taken
    if stage.bare_cartridge:
        yield Mind(
            key="equaliser", words=f"{BARE_CARTRIDGE[0].upper()}{BARE_CARTRIDGE[1:]}: a direct box is not enough.", grave=True
        )
    if stage.stereo_jack:
        trap = "in a balanced lead the mixer hears left minus right, and the voice vanishes"
        if taken.pickup.by is By.LEAD:
            yield Mind(
                key="stereo-jack", words=f"Left and right share one jack: {trap}. Take two lines or a stereo box.", grave=True
            )
        elif not (stage.stereo and taken.pickup.stereo):
            yield Mind(
                key="stereo-jack", words=f"Left and right share one jack: split it into two lines or take a stereo box; {trap}."
            )
        else:
            yield Mind(key="stereo-jack", words=f"Bring the lead that splits its stereo jack into two: {trap}.")
    if stage.spl_db is not None and (most := taken.pickup.most_spl_db) is not None and stage.spl_db > most:
        told = f"Peaks of {stage.spl_db:.0f}{words.THIN}dB of sound pressure are more than the {most:.0f} it stands"
        yield Mind(key="too-loud", words=f"{told}: it distorts. Stand it further off or take another.", grave=True)


def _loudspeaker(line: Minded) -> Iterator[Mind]:
    stage, pickup = line.stage, line.taken.pickup
    if pickup.by is By.MICROPHONE:
        return
    if stage.way is Way.LOUDSPEAKER:
        yield Mind(key="loudspeaker", words=LOUDSPEAKER, grave=True)
        if not pickup.takes_loudspeaker:
            yield Mind(key="loudspeaker-box", words=f"{pickup.name} is not made for a loudspeaker output.", grave=True)
        elif not pickup.isolates:
            yield Mind(
                key="floating",
                words=f"{pickup.name} has no transformer: not at a bridged or floating output, nor at one that may be.",
            )
    if stage.way is Way.LOUDSPEAKER or stage.amplifier:
        direct = "Taken direct, nothing stands where the loudspeaker dulls the top"
        if pickup.voicing_filter:
            yield Mind(key="voicing", words=f"{direct}: switch its voicing filter in.")
        else:
            yield Mind(
                key="voicing", words=f"{direct}, and it has no voicing filter: expect a harsh top, or ask for a microphone too."
            )


def _level(line: Minded) -> Iterator[Mind]:
    taken, stage = line.taken, line.stage
    if taken.over_db > 0:
        behind = f" even behind its {taken.pad_db:.0f}{words.THIN}dB pad" if taken.pad_db else ""
        say = (
            "Peaks come"
            if taken.level is None
            else f"Peaks of {words.dbu(taken.level.peak_dbu)}{words.THIN}dBu at the mixer come"
        )
        over = f"{words.decibels(taken.over_db) or '0'}{words.THIN}dB over what its input or the mixer's takes"
        yield Mind(key="pad-needed", words=f"{say} {over}{behind}: bring a pad or turn the source down.", grave=True)
    elif taken.pad_db and stage.way is Way.LOUDSPEAKER:
        yield Mind(key="pad-on", words=f"Its {taken.pad_db:.0f}{words.THIN}dB pad is in before anything is plugged.")
    elif taken.pad_db:
        peaks = f"peaks of {words.dbu(line.source.peak_dbu)}{words.THIN}dBu"
        yield Mind(key="pad-on", words=f"Switch its {taken.pad_db:.0f}{words.THIN}dB pad in: {peaks} are too much without.")
    elif taken.level is not None and taken.level.pad == "harmful" and taken.pickup.by is not By.MICROPHONE:
        told = f"{words.dbu(taken.level.typical_dbu)}{words.THIN}dBu is little already"
        yield Mind(key="pad-harmful", words=f"Leave every pad out: {told}, and a pad only brings its noise up.")


def _hum(line: Minded) -> Iterator[Mind]:
    stage, pickup = line.stage, line.taken.pickup
    if not stage.other_feed or pickup.by is By.MICROPHONE:
        return
    here, there = line.supplies
    apart = f"Fed from {here}, the mixer from {there}" if here and there else "Source and mixer hang on different supplies"
    if pickup.isolates:
        yield Mind(key="isolation", words=f"{apart}: its transformer keeps what they differ by out of the sound.")
    elif stage.balanced:
        plain = common_mode_db(common_ohm=INPUT_COMMON_OHM, source_ohm=line.source.ohm, uneven_ohm=UNEVEN_OHM)
        best = common_mode_db(common_ohm=TRANSFORMER_COMMON_OHM, source_ohm=line.source.ohm, uneven_ohm=UNEVEN_OHM)
        told = f"with {UNEVEN_OHM:.0f}{words.THIN}Ω between its legs a balanced input holds {plain:.0f}{words.THIN}dB of it off"
        yield Mind(key="isolation", words=f"{apart}: {told}, a transformer up to {best:.0f}. If it hums, put an isolator in.")
    else:
        yield Mind(
            key="isolation", words=f"{apart}, and {pickup.name} does not isolate: expect hum. Take a box with a transformer."
        )
    if pickup.lift:
        yield Mind(key="lift", words=f"If it hums, switch its ground lift: it opens the audio shield alone. {EARTH}.")
    else:
        yield Mind(key="lift", words=f"{EARTH}: use isolation or an audio-shield lift (which stops phantom on that lead).")


def _phantom(line: Minded) -> Iterator[Mind]:
    stage, pickup = line.stage, line.taken.pickup
    lives_on_it = line.needs_own or pickup.on_phantom
    why = "Phantom is switched off for it by hand" if line.wish == PhantomWish.OFF else f"{line.inputs} gives no phantom"
    if lives_on_it and not stage.phantom:
        why = f"{why[0].upper()}{why[1:]}"
        if pickup.on_cells and not line.needs_own:
            yield Mind(key="cells", words=f"{why}: {pickup.name} runs on its cells. Look at them before the show.")
        else:
            key = "phantom-off" if line.wish == PhantomWish.OFF else "phantom-none"
            yield Mind(key=key, words=f"{why}, and it lives on it: it stays silent. Bring a phantom supply.", grave=True)
    if line.wish == PhantomWish.ON and not lives_on_it:
        harmed = stage.harm or (pickup.name if pickup.harmed_by_phantom else "")
        if harmed and not pickup.isolates:
            yield Mind(key="phantom-on", words=f"Phantom is asked for by hand, and it would harm {harmed}.", grave=True)
        else:
            yield Mind(key="phantom-on", words="Phantom is asked for by hand, and nothing here needs it.")
    if line.fed is not None and line.fed.enough is False:
        yield Mind(key="phantom-low", words=line.fed.says, grave=True)
    elif line.wants and lives_on_it and line.draws is False:
        yield Mind(
            key="phantom-unknown", words="What it draws is not on record: its volts cannot be told. Read its data sheet."
        )
    if line.harm:
        yield Mind(key="phantom-harm", words=line.harm, grave=True)
    if line.wants:
        yield Mind(key="mute", words=MUTE)


def _runs(line: Minded) -> Iterator[Mind]:
    stage, pickup = line.stage, line.taken.pickup
    if pickup.by is By.MICROPHONE:
        return
    lead = lead_of(stage, pickup)
    if not stage.balanced and lead.metres > stage.unbalanced_most_m:
        far = f"{words.metres(lead.metres)} unbalanced is over your {words.metres(stage.unbalanced_most_m)}"
        shield = "and its shield is the return, so hum joins in"
        yield Mind(
            key="unbalanced-far", words=f"{far}: {_top_words(line.source, stage, line.taken)}, {shield}. Stand the box nearer."
        )
    elif line.long_top_db < -HEARD_TOP_DB:
        lost = f"{words.decibels(line.long_top_db)}{words.THIN}dB at 20{words.THIN}kHz"
        yield Mind(key="long-run", words=f"{words.ohms(line.drives_ohm)} over {words.metres(line.run_m)} lose {lost}.")


def _top_words(source: Source, stage: Stage, taken: Weighed) -> str:
    lead = lead_of(stage, taken.pickup)
    farad = f"{lead.farad * 1e12:.0f}{words.THIN}pF"
    if source.sort is Sort.PICKUP:
        told = taken.answer or answer(source, lead=lead, input_ohm=1e6)
        moved = f"its peak is down at {words.frequency(told.peak.hz)}" if told.peak else "its peak is gone"
        return f"{farad} across the pickup and {moved}"
    if source.sort is Sort.PIEZO:
        return f"{farad} take {words.loss(taken.answer.loss_db if taken.answer else 0.0)}"
    corner = corner_hz(source.ohm, lead.farad)
    if corner > 200_000:
        return f"{words.ohms(source.ohm)} into {farad} keep the top"
    return f"{words.ohms(source.ohm)} into {farad} turn down at {words.frequency(corner)}"


def _stock(line: Minded) -> Iterator[Mind]:
    if line.owned == 0:
        yield Mind(key="not-owned", words=f"We own no {line.taken.pickup.name}: borrow or buy one, or take another.")
    if line.usual_missing:
        yield Mind(key="usual-not-owned", words=f"Usual here is {line.usual_missing}, and we own none.")
