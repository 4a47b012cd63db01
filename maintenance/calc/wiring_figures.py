"""The numbers of a lead's test that are kept for charts, and sentences on what they mean."""

from math import inf

from maintenance.calc.bench import ABOVE, Figure
from maintenance.calc.wiring_case import Case
from maintenance.calc.wiring_limits import LOADS_OHM, loss_db
from maintenance.calc.wiring_nets import Role
from maintenance.calc.wiring_words import ohms_words


def figures_of(case: Case) -> tuple[tuple[Figure, ...], list[str]]:
    """Return each net's ohms with its limit, the worst isolation and a loudspeaker's loss, and what is to be said of them."""
    wiring = case.wiring
    made: list[Figure] = []
    unsure: list[str] = []
    allowance = case.allowance
    for n, measured in case.resistances.items():
        name, many = wiring.nets[n].name, len(measured) > 1
        for r in measured:
            called = f"{name} {wiring.pins[r.one]}–{wiring.pins[r.other]}" if many else name
            if r.limit is None:
                made.append(Figure(name=called, value=r.ohm, unit="Ω"))
                continue
            most = r.limit.pass_ohm
            within: bool | None = r.ohm <= most
            if not within and r.ohm - allowance <= most:
                within = None
                unsure.append(called)
            made.append(Figure(name=called, value=r.ohm, unit="Ω", high=most, within=within))
    notes = []
    if unsure:
        notes.append(
            f"{', '.join(unsure[:6])}: over the limit by no more than test leads may read ({ohms_words(allowance)}), so not "
            "judged. Short the leads, enter the null, and measure again."
        )
    low = case.limits.leak_ohm
    isolation = min(case.got.isolation, case.book.least_top_ohm)
    swapped = case.shape is not None and (case.shape.astray or case.shape.moved)  # what is swapped reads low and isolates well
    if 0 <= isolation < inf and not swapped and not case.book.floors and case.got.covered:
        name = "worst isolation" if isolation == case.got.isolation else ABOVE
        made.append(Figure(name=name, value=isolation, unit="Ω", low=low, within=isolation >= low))
    if case.lead.loudspeaker:
        _losses(case, made, notes)
    return tuple(made), notes


def _losses(case: Case, made: list[Figure], notes: list[str]) -> None:
    nets, most = case.wiring.nets, case.limits.loudspeaker_loss_db
    legs = {(nets[n].role, nets[n].pair): rows for n, rows in case.resistances.items() if len(rows) == 1}
    for (role, pair), rows in legs.items():
        back = legs.get((Role.MINUS, pair)) if role is Role.PLUS else None
        if back is None:
            continue
        loop = max(0.0, rows[0].ohm + back[0].ohm - 2 * case.allowance)
        lost = [loss_db(loop, load) for load in LOADS_OHM]
        which = f" pair {pair}" if pair is not None else ""
        made.append(
            Figure(name=f"loss into {LOADS_OHM[0]:g} Ω{which}", value=lost[0], unit="dB", high=most, within=lost[0] <= most)
        )
        over = [f"{value:.1f} dB into {load:g} Ω" for value, load in zip(lost, LOADS_OHM, strict=True) if value > most]
        if over:
            notes.append(
                f"It loses {' and '.join(over)}{which}, more than {most:g} dB: use it for shorter lines or higher loads, "
                "or a thicker lead."
            )
