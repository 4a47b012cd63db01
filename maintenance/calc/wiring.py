"""The verdict on a lead from readings of its pins: every fault by name, once, with what it does and what mends it."""

from collections.abc import Sequence

from maintenance.calc.bench import FLEXED, IN_OHMS, Depth, Finding, Judgement, PairReading, Verdict
from maintenance.calc.bench_depth import depth_seen
from maintenance.calc.bench_limits import BenchLimits
from maintenance.calc.wiring_ask import Ask, pairs_to_ask
from maintenance.calc.wiring_case import Case
from maintenance.calc.wiring_doubts import too_good_words
from maintenance.calc.wiring_effects import Name
from maintenance.calc.wiring_figures import figures_of
from maintenance.calc.wiring_findings import findings_of, impossible_words
from maintenance.calc.wiring_graph import Shape, shape_of
from maintenance.calc.wiring_limits import TEST_LEADS_OHM, Lead, LeadLimits, Limit, NetLimit, core_limits
from maintenance.calc.wiring_links import Link, links
from maintenance.calc.wiring_nets import Wiring, pin_words
from maintenance.calc.wiring_readings import Book, book_of
from maintenance.calc.wiring_sorting import Plan, Sorted, plan_of, sort_readings
from maintenance.calc.wiring_words import listed, ohms_words

__all__ = [
    "Ask",
    "Lead",
    "LeadLimits",
    "Limit",
    "Link",
    "Name",
    "NetLimit",
    "core_limits",
    "judge",
    "links",
    "pairs_to_ask",
]

FEW = 6  # pairs named in a sentence


def judge(
    *,
    lead: Lead,
    readings: Sequence[PairReading],
    limits: BenchLimits,
    null_ohms: float | None = None,
    temperature_c: float | None = None,
    depth: Depth = Depth.OHMS,
) -> Judgement:
    """Return what readings of a lead come to; ReadingError for one that cannot be.

    `null_ohms` is what the test leads read alone, 0 for an instrument that takes it off itself, None when nobody measured it.
    `temperature_c` of None stands for 20. Missing or contradictory readings make it CANNOT_TELL unless a fault is certain.
    """
    wiring = lead.wiring
    held = core_limits(lead=lead, limits=limits, temperature_c=temperature_c)
    book = book_of(wiring=wiring, readings=readings, null_ohms=null_ohms, leak_ohm=limits.leak_ohm)
    if not book.seen:
        return Judgement(verdict=Verdict.CANNOT_TELL, reasons=("Nothing was read.",), limits=held.told)
    plan = plan_of(wiring)
    got = sort_readings(wiring, book, wiring.net_index, limits)
    shape = shape_of(wiring, book, got, limits) if got.broken or got.wrong else None
    case = Case(
        lead=lead,
        wiring=wiring,
        book=book,
        got=got,
        shape=shape,
        held=held,
        limits=limits,
        allowance=TEST_LEADS_OHM if null_ohms is None else 0.0,
    )
    findings = findings_of(case)
    lacking, unseen_channels = _missing(wiring, plan, book, got, shape)
    cannot = [*impossible_words(case), *too_good_words(case), *lacking]
    seen, told_of_depth = depth_seen(depth=depth, wiring=wiring, book=book, findings=findings)
    bad = any(f.weight is Verdict.FAIL for f in findings)
    verdict = Verdict.FAIL if bad else Verdict.CANNOT_TELL if cannot else Verdict.WATCH if findings else Verdict.PASS
    figures, notes = figures_of(case)
    return Judgement(
        verdict=verdict,
        findings=findings,
        reasons=(*cannot, *told_of_depth, *notes, *_held_words(case)),
        not_measured=_not_measured(case, plan, seen, unseen_channels, null_ohms),
        figures=figures,
        dead_channels=_dead(wiring, findings),
        limits=held.told if null_ohms is None else {**held.told, "null_ohm": null_ohms},
        depth=seen,
    )


def _held_words(case: Case) -> tuple[str, ...]:
    """Say what ohms were held against, or what kind of reading it is that holds nothing."""
    if case.book.lamps and not case.resistances:
        return ("Lamps or beeps tell joined from not joined: a thin joint, uneven legs and a damp lead pass them.",)
    return (case.held.why_not,) if case.held.why_not else case.held.reasons


def _dead(wiring: Wiring, findings: Sequence[Finding]) -> tuple[int, ...]:
    dead = set()
    for finding in findings:
        if finding.weight is Verdict.FAIL:
            dead |= {c for p in finding.pins if (c := wiring.nets[wiring.net_index[wiring.index[p]]].channel) is not None}
    return tuple(sorted(dead))


def _missing(wiring: Wiring, plan: Plan, book: Book, got: Sorted, shape: Shape | None) -> tuple[list[str], list[int]]:
    """Return sentences on pairs that a verdict needs and nobody read, and channels that nobody looked at."""
    read_nets = {wiring.net_index[p] for key in book.seen for p in divmod(key, book.pins)}
    unseen = [c for c, nets in sorted(plan.by_channel.items()) if not any(n in read_nets for n in nets)]
    skipped = {n for c in unseen for n in plan.by_channel[c]}
    pairs = [
        (wiring.index[a], wiring.index[b])
        for n, net in enumerate(wiring.nets[: wiring.joined_nets])
        if n not in skipped
        for a, b in _ways_unread(wiring, book, net.pins)
    ]
    words = []
    if pairs:
        words.append(f"Not read: {_pairs_said(wiring, pairs)}. Without them nobody can tell whether they are joined.")
    count = len(wiring.nets)
    lacking = [divmod(key, count) for key in plan.needed - got.covered]
    lacking = sorted((a, b) for a, b in lacking if a not in skipped and b not in skipped)
    if got.untold:
        words.append(f"A lamp or beep cannot tell the resistor {_pairs_said(wiring, got.untold)} from a break: it takes ohms.")
        lacking = [pair for pair in lacking if wiring.special.get(pair) is None]
    if lacking:
        examples = [_one_pair(wiring, a, b) for a, b in lacking]
        words.append(f"Not read: {_pairs_said(wiring, examples)}. Without them nobody can rule out a short.")
    if shape is not None and shape.unread:
        words.append(f"{_pairs_said(wiring, shape.unread)} was not read: it tells a swap from a broken core.")
    return words, unseen


def _ways_unread(wiring: Wiring, book: Book, pins: tuple[str, ...]) -> list[tuple[str, str]]:
    """Return the pairs that would show the pins of a net to be joined and were not read in any way."""
    if len(pins) < 2:
        return []
    index = [wiring.index[p] for p in pins]
    reached, todo = {0}, [0]
    while todo:
        here = todo.pop()
        for n in range(len(index)):
            if n not in reached and book.get(index[here], index[n]) is not None:
                reached.add(n)
                todo.append(n)
    return [(pins[0], pins[n]) for n in range(len(pins)) if n not in reached]


def _one_pair(wiring: Wiring, a: int, b: int) -> tuple[int, int]:
    """Return a pair of pins that stands for two nets, across the lead where there are two ends."""
    one, other = [wiring.index[p] for p in wiring.nets[a].pins], [wiring.index[p] for p in wiring.nets[b].pins]
    return min(((p, q) for p in one for q in other), key=lambda pq: wiring.end_index[pq[0]] == wiring.end_index[pq[1]])


def _pairs_said(wiring: Wiring, pairs: Sequence[tuple[int, int]]) -> str:
    words = [f"{pin_words(wiring.pins[a])}–{pin_words(wiring.pins[b])}" for a, b in pairs[:FEW]]
    return f"{', '.join(words)} and {len(pairs) - FEW} more" if len(pairs) > FEW else listed(words)


def _apart_bent(case: Case, plan: Plan) -> bool:
    """Say whether any two pins of different nets were read while bent, where there are such."""
    net_of, pins = case.wiring.net_index, case.book.pins
    return not plan.needed or any(net_of[key // pins] != net_of[key % pins] for key in case.book.flexed)


def _not_measured(case: Case, plan: Plan, depth: Depth, unseen: Sequence[int], null_ohms: float | None) -> tuple[str, ...]:
    wiring, book, limits = case.wiring, case.book, case.limits
    ends, shells = wiring.end_index, plan.shells
    same_end, with_shell = 0, set()
    for key in book.seen:
        one, other = divmod(key, book.pins)
        if one in shells or other in shells:
            with_shell |= {one, other} & shells
        elif ends[one] == ends[other]:
            same_end += 1
    words = []
    if unseen:
        named = listed([wiring.channel_words(c) for c in unseen[:FEW]])
        more = f" and {len(unseen) - FEW} more" if len(unseen) > FEW else ""
        words.append(f"Channels not looked at: {named}{more}.")
    if len(wiring.ends) > 1 and plan.same_end and not same_end:
        words.append("Pairs at the same end were not measured.")
    if shells and not with_shell:
        words.append("The shells were not measured: a screen tied to one would not be seen.")
    elif shells - with_shell:
        left = listed([pin_words(wiring.pins[p]) for p in sorted(shells - with_shell)])
        words.append(f"Not every shell was measured: {left} was left out.")
    if plan.across and not unseen and plan.across - case.got.covered:
        words.append("Not every channel was measured against every other: channels shorted together might not be seen.")
    if book.lamps:
        words.append("A lamp or beep cannot tell resistance: a thin joint, uneven legs and a damp lead pass it.")
    if book.shallow_ohm < limits.leak_ohm:
        words.append(f"The meter's range ended at {ohms_words(book.shallow_ohm)}: leaks above that were not seen.")
    if depth not in FLEXED:
        part = "Not all of it was read while bent" if book.flexed else "It was not bent"
        words.append(f"{part}: what comes and goes would not be seen.")
    elif depth in IN_OHMS and not _apart_bent(case, plan):
        words.append("Pins that must be apart were not read while it was bent: what touches then would not be seen.")
    if null_ohms is None and book.numbers and case.held.core is not None and case.held.core.pass_ohm < 3 * TEST_LEADS_OHM:
        words.append(
            f"The test leads were not measured: a two-wire meter's own read 0.1 to {TEST_LEADS_OHM:g} Ω, and this lead is "
            f"meant to read {ohms_words(case.held.core.copper_ohm)}. Short them, enter the null, and measure again to know."
        )
    return tuple(words)
