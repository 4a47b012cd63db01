"""One step of a box's test, what is said when its answer is out of range, and how answers are read and judged.

The families (boxes, phantom outputs, microphones ...) lay out their steps and add what one step alone cannot tell.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median

from maintenance.calc.bench import Capability, Figure, Finding, Judgement, ReadingError, StepReading, Verdict
from maintenance.calc.bench_limits import BenchLimits

THIN = "\u2009"
MINUS = "−"
OHM = "Ω"
UNCOUNTED = "The type does not say how many inputs it has, so one was asked for."


@dataclass(frozen=True, kw_only=True)
class Says:
    """What an answer out of range is called: a finding without its numbers."""

    name: str
    title: str
    effect: str = ""
    repair: str = ""
    weight: Verdict = Verdict.FAIL


@dataclass(frozen=True, kw_only=True)
class Step:
    """One thing to do and to answer: a number in `unit`, or yes / no where the unit is empty.

    `low` and `high` bound a good number, `wanted` is the good yes / no. `needs` is what must be there to do it, None where
    eyes and hands do. With `over`, a number may be answered "no": the meter shows that it is above its range.
    `proves` names what a good answer shows; a verdict needs every proof of every channel. Outside `least` to `most` no such
    reading exists. `watch` marks limits that never fail: typical values, not this unit's own. `first` is its own first
    reading, where there is one. `floor` and `ceiling` lie outside `low` and `high`: beyond them it fails even then. A step
    that stands in for others is asked only where none of them can be.
    """

    key: str
    title: str
    how: str
    unit: str = ""
    needs: Capability | None = None
    low: float | None = None
    high: float | None = None
    wanted: bool | None = None
    caution: str = ""
    channel: int | None = None
    expect: str = ""
    proves: tuple[str, ...] = ()
    stands_in_for: tuple[str, ...] = ()
    over: bool = False
    watch: bool = False
    first: float | None = None
    floor: float | None = None
    ceiling: float | None = None
    least: float | None = None
    most: float | None = None
    slip: str = ""
    below: Says | None = None
    above: Says | None = None
    says: Says | None = None

    @property
    def base(self) -> str:
        """Return the key without its channel."""
        return self.key.rpartition(".")[0] if self.channel is not None else self.key

    @property
    def name(self) -> str:
        """Return the name under which its figure is kept and charted."""
        return self.title if self.channel is None else f"{self.title}, channel {self.channel}"


@dataclass(frozen=True, kw_only=True)
class Found:
    """What a family adds: its own findings, the steps whose plain findings they stand in for, sentences (`cannot`: why no
    verdict can be given), limits that only the other readings give, and what else was taken for granted."""

    findings: tuple[Finding, ...] = ()
    instead_of: frozenset[str] = frozenset()
    reasons: tuple[str, ...] = ()
    cannot: tuple[str, ...] = ()
    held: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    told: Mapping[str, float | str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Answers:
    """The answers of a test by step key, read and checked."""

    steps: Mapping[str, Step]
    given: Mapping[str, StepReading] = field(default_factory=dict)

    def value(self, key: str) -> float | None:
        """Return the number of a step; infinity where the meter showed "over"; None where nobody answered."""
        reading = self.given.get(key)
        if reading is None:
            return None
        return math.inf if reading.value is None else reading.value

    def yes(self, key: str) -> bool | None:
        """Return the yes or no of a step, or None where nobody answered."""
        reading = self.given.get(key)
        return None if reading is None else reading.yes

    def good(self, key: str) -> bool | None:
        """Say whether a yes / no step was answered as it should be, or None where nobody answered."""
        answer = self.yes(key)
        return None if answer is None else answer == self.steps[key].wanted


def keyed(base: str, channel: int | None) -> str:
    """Return the key of a step on a channel."""
    return base if channel is None else f"{base}.{channel}"


def number(value: float) -> str:
    """Write a number with three significant figures, a true minus and no needless noughts."""
    if math.isinf(value):
        return "over the meter's range"
    if value == 0:
        return "0"
    places = max(0, 2 - math.floor(math.log10(abs(value))))
    text = f"{value:.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    if text.lstrip("-").isdigit() and len(text.lstrip("-")) > 4:
        text = f"{int(text):,}".replace(",", THIN)
    return text.replace("-", MINUS)


def said(value: float, unit: str) -> str:
    """Write a value with its unit: 47.6 V, 1.4 kΩ."""
    if math.isinf(value):
        return "over the meter's range"
    if unit == OHM and abs(value) >= 1e6:
        value, unit = value / 1e6, "MΩ"
    elif unit == OHM and abs(value) >= 1e3:
        value, unit = value / 1e3, "kΩ"
    return f"{number(value)}{THIN}{unit}".rstrip()


def between(low: float | None, high: float | None, unit: str) -> str:
    """Write a range in words: from 44 to 52 V; at most 0.1 mA."""
    if low is not None and high is not None:
        return f"from {said(low, unit)} to {said(high, unit)}"
    if high is not None:
        return f"at most {said(high, unit)}"
    if low is not None:
        return f"at least {said(low, unit)}"
    return ""


def count(facts: Mapping[str, object], name: str, otherwise: int = 1) -> int:
    """Return a whole number of a facts mapping, at least one."""
    value = facts.get(name)
    return max(1, int(value)) if isinstance(value, int | float) and not isinstance(value, bool) else otherwise


def figure_of(facts: Mapping[str, object], name: str) -> float | None:
    """Return a positive number of a facts mapping, or None."""
    value = facts.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value) or value <= 0:
        return None
    return float(value)


def golden_of(golden: Mapping[str, float], base: str, title: str, channel: int | None) -> float | None:
    """Return the unit's own first reading of a step, kept under the figure's name or the step's key."""
    name = title if channel is None else f"{title}, channel {channel}"
    for key in (name, keyed(base, channel)):
        if key in golden:
            return float(golden[key])
    return None


def runs_of(numbers: Iterable[int]) -> str:
    """Write channel numbers with runs drawn together: 1 to 8, 14."""
    parts: list[list[int]] = []
    for n in sorted(set(numbers)):
        if parts and n == parts[-1][-1] + 1:
            parts[-1].append(n)
        else:
            parts.append([n])
    return ", ".join(f"{p[0]} to {p[-1]}" if len(p) > 2 else ", ".join(map(str, p)) for p in parts)


def read(steps: Sequence[Step], readings: Sequence[StepReading]) -> Answers:
    """Check answers against their steps. Raises ReadingError for what cannot be."""
    by_key = {step.key: step for step in steps}
    given: dict[str, StepReading] = {}
    for index, reading in enumerate(readings):
        step = by_key.get(reading.step)
        if step is None:
            raise ReadingError(f"This test has no step “{reading.step}” for this type of gear.", index)
        if step.key in given:
            raise ReadingError(f"{step.name} was answered twice.", index)
        if (reading.value is None) == (reading.yes is None):
            raise ReadingError(f"{step.name} wants one answer.", index)
        _check(step, reading, index)
        given[step.key] = reading
    return Answers(steps=by_key, given=given)


def _check(step: Step, reading: StepReading, index: int) -> None:
    if not step.unit:
        if reading.yes is None:
            raise ReadingError(f"{step.name} is answered with yes or no.", index)
        return
    if reading.value is None:
        if reading.yes is False and step.over:
            return
        raise ReadingError(f"{step.name} wants a number in {step.unit}.", index)
    value = reading.value
    if isinstance(value, bool) or not math.isfinite(value):
        raise ReadingError(f"{step.name}: that is not a number.", index)
    if value < 0 and step.least == 0:
        raise ReadingError(f"{step.name}: {said(value, step.unit)} is below nothing; no such reading exists.", index)
    if (step.least is not None and value < step.least) or (step.most is not None and value > step.most):
        slip = f" {step.slip}" if step.slip else ""
        raise ReadingError(f"{step.name}: {said(value, step.unit)} cannot be.{slip}", index)


def judge(
    *,
    steps: Sequence[Step],
    answers: Answers,
    found: Found,
    limits: BenchLimits,
    uses: Sequence[str] = (),
    passed: str = "",
) -> Judgement:
    """Turn checked answers into a verdict: each answer against its step, then what the family found besides."""
    figures: list[Figure] = []
    findings: list[Finding] = list(found.findings)
    for step in steps:
        if step.key not in answers.given:
            continue
        if not step.unit:
            if answers.good(step.key) is False and step.says and step.key not in found.instead_of:
                findings.append(
                    finding_of(step.says, step.channel, f"{step.name}: {'yes' if answers.yes(step.key) else 'no'}.")
                )
            continue
        value = answers.value(step.key)
        if value is None:
            continue
        low_side = step.low is not None and value < step.low
        high_side = step.high is not None and value > step.high
        if math.isfinite(value):
            low, high = found.held.get(step.key, (step.low, step.high))
            figures.append(_figure(step, value, low, high))
        says = step.below if low_side else step.above if high_side else None
        if says is None or step.key in found.instead_of:
            continue
        beyond = (step.floor is not None and value < step.floor) or (step.ceiling is not None and value > step.ceiling)
        weight = Verdict.WATCH if step.watch and not beyond else says.weight
        text = f"{step.name} reads {said(value, step.unit)}; expected {between(step.low, step.high, step.unit)}."
        if step.first is not None:
            text += f" Its own first reading was {said(step.first, step.unit)}."
        if step.watch and not beyond:
            text += " That range is typical of such gear, not this unit's own first reading."
        findings.append(finding_of(says, step.channel, text, weight))
    return _verdict(steps, answers, found, findings, figures, limits, uses, passed)


def _figure(step: Step, value: float, low: float | None, high: float | None) -> Figure:
    judged = low is not None or high is not None
    within = (low is None or value >= low) and (high is None or value <= high)
    return Figure(name=step.name[:60], value=value, unit=step.unit, low=low, high=high, within=within if judged else None)


def finding_of(says: Says, channel: int | None, text: str, weight: Verdict | None = None) -> Finding:
    """Make a finding of what is said, where it was, and its numbers."""
    return Finding(
        name=says.name,
        title=says.title if channel is None else f"{says.title} on channel {channel}",
        text=text,
        effect=says.effect,
        repair=says.repair,
        channel=channel,
        weight=weight or says.weight,
    )


def _verdict(
    steps: Sequence[Step],
    answers: Answers,
    found: Found,
    findings: list[Finding],
    figures: list[Figure],
    limits: BenchLimits,
    uses: Sequence[str],
    passed: str,
) -> Judgement:
    covered = _covered(steps, answers)
    missing = [step for step in steps if step.key not in covered and not step.stands_in_for]
    cannot = [*found.cannot, *_unproved(steps, answers)]
    fails = [f for f in findings if f.weight == Verdict.FAIL]
    dead = tuple(sorted({f.channel for f in fails if f.channel is not None}))
    told = limits.told()
    held: dict[str, float | str] = {**{name: told[name] for name in uses if name in told}, **found.told}
    reasons = list(found.reasons)
    if not answers.given:
        verdict, cannot = Verdict.CANNOT_TELL, ["Nothing was measured."]
    elif fails:
        verdict = Verdict.FAIL
    elif cannot:
        verdict = Verdict.CANNOT_TELL
    elif findings:
        verdict = Verdict.WATCH
    else:
        verdict = Verdict.PASS
        reasons = [*([passed] if passed else []), *reasons]
    return Judgement(
        verdict=verdict,
        findings=tuple(findings),
        reasons=(*cannot, *reasons),
        not_measured=_names(missing),
        figures=tuple(figures),
        dead_channels=dead,
        limits=held,
    )


def _covered(steps: Sequence[Step], answers: Answers) -> set[str]:
    """Return the steps that were answered, or that a measured one stands in for; a listener's yes measures nothing."""
    given = [step for step in steps if step.key in answers.given]
    return {step.key for step in given} | {key for step in given if step.unit for key in step.stands_in_for}


def _unproved(steps: Sequence[Step], answers: Answers) -> list[str]:
    """Say what no answer shows, drawn together over channels."""
    wanted: dict[str, set[int | None]] = {}
    shown: dict[str, set[int | None]] = {}
    for step in steps:
        for proof in step.proves:
            wanted.setdefault(proof, set()).add(step.channel)
            if step.key in answers.given:
                shown.setdefault(proof, set()).add(step.channel)
    sentences = []
    for proof, channels in wanted.items():
        left = channels - shown.get(proof, set())
        numbers = [c for c in left if c is not None]
        if numbers and len(numbers) < len(channels):
            sentences.append(f"Nothing that was measured shows {proof} on channel {runs_of(numbers)}.")
        elif left:
            sentences.append(f"Nothing that was measured shows {proof}.")
    return sentences


def _names(missing: Sequence[Step]) -> tuple[str, ...]:
    """Name steps that were not measured, each once, with its channels drawn together."""
    names: dict[str, list[int]] = {}
    for step in missing:
        names.setdefault(step.title, []).extend([step.channel] if step.channel is not None else [])
    return tuple(f"{title}, channel {runs_of(channels)}" if channels else title for title, channels in names.items())


def neighbours(values: Mapping[int, float]) -> dict[int, float]:
    """Return for each channel how far it lies from the median of the others, in its own unit; alone: nothing."""
    if len(values) < 2:
        return {}
    return {c: v - median(x for d, x in values.items() if d != c) for c, v in values.items()}
