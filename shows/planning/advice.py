"""What each line of a show needs: its mic/DI with the reason, what feeds it, how far it runs, what to mind.

The rows are read here, once; the numbers are shows/calc's. A person may overrule the mic/DI: the figures stay.
"""

from collections import defaultdict
from collections.abc import Sequence

from company.models import Company
from shows.calc.lines import LineWay, PlaceSort
from shows.calc.minds import Mind
from shows.calc.phantom import Budget, OnInput, budget
from shows.calc.pickup_choice import By
from shows.models import InputLine, Show, StagePlace, StagePlan
from shows.planning.facts import known_pickups
from shows.planning.house import WITHOUT_KIND, House, pairs_of
from shows.planning.told import LineAdvice, ShowAdvice

__all__ = [
    "WITHOUT_KIND",
    "LineAdvice",
    "Mind",
    "ShowAdvice",
    "advice_of",
    "advised_words",
    "house_of",
    "pairs_of",
    "plan_of",
]


def plan_of(show: Show) -> StagePlan:
    """Return a show's plan, or one with the usual figures that is not kept yet; sizes left empty stay empty."""
    return StagePlan.objects.select_related("desk__desk_facts").filter(show=show).first() or StagePlan(show=show)


def advice_of(show: Show) -> ShowAdvice:
    """Work out what each line of a show needs; a constant number of queries."""
    return house_of(show)[1]


def house_of(show: Show) -> tuple[House, ShowAdvice]:
    """Return what all lines of a show share beside their advice: for weighing one of them whole."""
    plan, company = plan_of(show), Company.current()
    places = tuple(
        StagePlace.objects.filter(show=show).select_related(
            "feed", "type__stage_box_facts", "type__desk_facts", "type__multicore_facts"
        )
    )
    at = {place.pk: place for place in places}
    lines = list(InputLine.objects.filter(show=show).select_related("type", "pickup", "stand"))
    for line in lines:
        # the places are read once, with their facts
        line.place, line.box = at.get(line.place_id or 0), at.get(line.box_id or 0)
    known = known_pickups(also=[line.pickup_id for line in lines if line.pickup_id])
    desk = plan.desk or (show.venue.house_desk_type if show.venue else None)
    mix = next((place for place in places if place.sort == PlaceSort.MIX), None)
    house = House(show=show, plan=plan, company=company, known=known, desk=desk, mix=mix)
    partners = pairs_of(lines)
    told = house.advise_all(lines, partners, harms={})
    budgets = _budgets(told)
    # which inputs are live for others hangs on what is taken, and what is taken on which are live: once more for whom it harms
    live = {one.line.pk for one in told if _stands_live(one, budgets) and (_harm(one) or (one.stage and one.stage.harm))}
    if live:
        told = house.advise_all(lines, partners, live=live, harms={})
        budgets = _budgets(told)
    harms = {key: words for one in budgets.values() for key, words in one.harms}
    if harms:
        told = house.advise_all(lines, partners, live=live, harms=harms)
    advice = ShowAdvice(show=show, plan=plan, lines=told, budgets=tuple(budgets.items()), known=known, places=places)
    return house, advice


def advised_words(show: Show, advice: ShowAdvice | None = None) -> dict[int, tuple[str, str]]:
    """Return {key of a line: (name of its mic/DI, why in a few words)} of the lines in, for the grid."""
    advice = advice_of(show) if advice is None else advice
    return {
        one.line.pk: (one.pickup.name, _short(one))
        for one in advice.lines
        if one.line.way == LineWay.IN and one.pickup is not None
    }


def _short(one: LineAdvice) -> str:
    if one.shares is not None:
        return f"second channel of line {one.shares.number}’s"
    if one.overruled:
        return "by hand"
    return one.taken.in_short if one.taken is not None else ""


def _budgets(told: Sequence[LineAdvice]) -> dict[str, Budget]:
    """Return what phantom costs each desk and stage box that lines come into."""
    held: dict[str, list[LineAdvice]] = defaultdict(list)
    for one in told:
        if one.line.way == LineWay.IN and one.input_number is not None:
            held[one.inputs.name].append(one)
    return {
        name: budget([_on_input(one) for one in ones], kind=ones[0].inputs.phantom, budget_ma=ones[0].inputs.budget_ma)
        for name, ones in held.items()
    }


def _stands_live(one: LineAdvice, budgets: dict[str, Budget]) -> bool:
    there = budgets.get(one.inputs.name)
    return there is not None and one.input_number in there.live and not one.wants_phantom and one.line.way == LineWay.IN


def _harm(one: LineAdvice) -> str:
    """Return what phantom would harm on a line as it is taken; empty where a transformer or nothing stands in its way."""
    if one.taken is None or one.line.type is None:
        return ""
    if one.taken.pickup.harmed_by_phantom:
        return one.taken.pickup.name
    if one.taken.pickup.by is not By.LEAD:
        return ""
    return one.line.type.phantom_harm or ("" if one.line.type.balanced else "an unbalanced adapter")


def _on_input(one: LineAdvice) -> OnInput:
    # two channels of one box draw once
    draw = 0.0 if one.shares is not None and one.wants_phantom else one.draw_ma
    # asked for against what there is: a need that no phantom meets is told too
    kind, facts = one.line.type, one.pickup.facts if one.pickup else None
    lives = bool(kind and kind.wants_phantom) or (bool(getattr(facts, "needs_phantom", False)) and one.choice is not None)
    return OnInput(
        number=one.input_number or 0,
        line=str(one.line),
        wants=one.wants_phantom or (lives and one.stage is not None and not one.stage.phantom and one.line.phantom != "off"),
        draw_ma=draw,
        harm=_harm(one),
        key=one.line.pk,
    )
