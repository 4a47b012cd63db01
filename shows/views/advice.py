"""What each line of a show needs, all lines on one page; one line with everything weighed, where a person may overrule."""

import json
import math
from typing import Any

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from company.access import signed_in, technician_required
from company.clock import now
from inventory.calc.kinds import PhantomKind
from shows.calc.choice_words import at_mixer
from shows.calc.level_bar import draw_bar, level_bar
from shows.calc.line_changes import digest
from shows.calc.lines import LineWay, PhantomWish, Whose
from shows.calc.pickup_choice import Weighed
from shows.calc.response_plot import LOW_HZ, POINTS, response_plot
from shows.calc.words import Feed
from shows.models import Show
from shows.planning.advice import LineAdvice, ShowAdvice, advice_of, house_of
from shows.planning.input_list import line_of
from shows.services.overruling import line_decide, reason_of
from shows.views.pull import said_of

WHOSE_WORDS = {Whose.OURS: "ours", Whose.PLAYER: "the player’s own", Whose.HOUSE: "the house’s"}
WISH_WORDS = {PhantomWish.AS_NEEDED: "as needed", PhantomWish.ON: "on", PhantomWish.OFF: "off"}
KIND_WORDS = {
    PhantomKind.PER_CHANNEL: "switched for each input",
    PhantomKind.PER_BANK: "switched for eight inputs at a time",
    PhantomKind.GLOBAL: "one switch for all inputs",
    PhantomKind.NONE: "none",
}
FEED_WORDS = {Feed.NOTHING: "needs no feed", Feed.CELLS: "on its cells", Feed.PHANTOM: "on phantom", Feed.MAINS: "on the mains"}


def _show(pk: int) -> Show:
    return get_object_or_404(Show.objects.select_related("venue__house_desk_type__desk_facts"), pk=pk)


def advice(request: HttpRequest, pk: int) -> HttpResponse:
    """Draw what every line of a show needs, and what its desks and stage boxes are asked for in phantom."""
    show = _show(pk)
    told = advice_of(show)
    ins = [_drawn(one) for one in told.lines if one.line.way == LineWay.IN]
    context = {
        "section": "Shows",
        "room": "advice",
        "show": show,
        "ins": ins,
        "outs": [one for one in told.lines if one.line.way == LineWay.OUT],
        "grave": [one["told"] for one in ins if one["told"].grave],
        "unsaid": [one["told"].line for one in ins if one["told"].line.type is None],
        "phantom": _phantom(told),
    }
    return render(request, "shows/advice.html", context)


def _drawn(one: LineAdvice) -> dict[str, Any]:
    """Return a line as the page of all lines draws it: its minds, a small plot of its choices, its level."""
    taken, second = one.taken, None
    if taken is not None and one.choice is not None and one.shares is None:
        second = one.choice.first if one.overruled else one.choice.second
    return {
        "told": one,
        "run_mm": _rounded(one.run_mm),
        "far_mm": _rounded(one.far_mm),
        "minds": [mind for mind in one.minds if mind.key != "mute"],
        "second": second if second is not None and taken is not None and second.pickup.key != taken.pickup.key else None,
        "plot": _plot(one, [each for each in (taken, second) if each]) if one.shares is None else None,
        "bar": level_bar(taken.level, most_dbu=one.inputs.takes_dbu) if taken and taken.level else None,
        "feed": FEED_WORDS[Feed(one.feed)] if one.pickup and one.shares is None else "",
        "whose": WHOSE_WORDS[Whose(one.line.whose)] if one.line.whose != Whose.OURS and not one.is_ours else "",
    }


def _rounded(mm: int | None) -> int | None:
    return None if mm is None else math.ceil(mm / 100) * 100


def _plot(one: LineAdvice, weighed: list[Weighed], *, wide: bool = False) -> Any:
    if one.source is None or one.stage is None:
        return None
    return response_plot(one.source, one.stage, weighed, wide=wide)


def _phantom(told: ShowAdvice) -> list[dict[str, Any]]:
    """Return each desk and stage box with what it is asked for, drawn as lengths of tape, and whom to switch it on for."""
    answers = []
    for name, budget in told.budgets:
        ones = [one for one in told.lines if one.inputs.name == name and one.line.way == LineWay.IN]
        fed = sorted((one for one in ones if one.wants_phantom), key=lambda one: one.input_number or 0)
        inputs = ones[0].inputs
        answers.append(
            {
                "name": f"{name[0].upper()}{name[1:]}",
                "budget": budget,
                "inputs": inputs,
                "kind": KIND_WORDS[inputs.phantom],
                "fed": fed,
                "bar": draw_bar(
                    [(str(one.line), one.draw_ma or 0.0) for one in fed if one.shares is None], budget_ma=inputs.budget_ma
                ),
            }
        )
    return answers


def advice_line(request: HttpRequest, pk: int, line_pk: int) -> HttpResponse:
    """Draw one line with everything weighed; a POST overrules, sets feed, phantom and whose, or puts it back."""
    if request.method == "POST":
        return line_said(request, pk, line_pk)
    return _draw_line(request, _show(pk), line_pk)


def _draw_line(
    request: HttpRequest, show: Show, line_pk: int, *, wrong: str = "", typed: dict[str, Any] | None = None
) -> HttpResponse:
    house, told = house_of(show)
    one = next((each for each in told.lines if each.line.pk == line_pk), None)
    if one is None:
        raise Http404("This show has no such line.")
    weighed = house.weighed(one)
    choice, taken = one.choice, one.taken.pickup.key if one.taken else ""
    keys = [each.pickup.key for each in (one.taken, *((choice.first, choice.second) if choice else ())) if each]
    drawn = sorted((each for each in weighed if each.pickup.key in keys), key=lambda each: keys.index(each.pickup.key))
    plot = _plot(one, drawn, wide=True)
    lines = [each.line for each in told.lines]
    place = lines.index(one.line)
    context = {
        "section": "Shows",
        "room": "advice",
        "show": show,
        **_drawn(one),
        "line": one.line,
        "weighed": [
            {
                "one": each,
                "level": at_mixer(each.level, each.pad_db) if each.level else "",
                "owned": told.known.owned.get(int(each.pickup.key), 0),
                "taken": each.pickup.key == taken,
                "advised": bool(choice and choice.first and each.pickup.key == choice.first.pickup.key),
            }
            for each in weighed
        ],
        "plot": plot,
        "last_point": POINTS - 1,
        "curves": json.dumps(
            {
                "low": LOW_HZ,
                "points": POINTS,
                "curves": [{"name": curve.name, "db": curve.db} for curve in plot.curves],
                "box": [plot.left, plot.right, plot.top, plot.foot, plot.low_db, plot.high_db],
            }
        )
        if plot
        else None,
        "others": sorted(each.name for each in told.known.types.values() if _may_pick(each)),
        "reason": reason_of(one.line.notes),
        "feeds": [(feed.value, "as advised" if feed is Feed.NOTHING else feed.value) for feed in Feed],
        "wishes": [(wish.value, words) for wish, words in WISH_WORDS.items()],
        "whoses": [(whose.value, words) for whose, words in WHOSE_WORDS.items()],
        "seen": digest([line_of(each) for each in lines]),
        "before": lines[place - 1] if place else None,
        "after": lines[place + 1] if place + 1 < len(lines) else None,
        "wrong": wrong,
        "typed": typed or {},
    }
    return render(request, "shows/advice_line.html", context, status=422 if wrong else 200)


def _may_pick(type_: Any) -> bool:
    return type_.kind in {"interface-box", "microphone"} or type_.key in {"lead-mic", "adapter-ts-mic"}


@technician_required
def line_said(request: HttpRequest, pk: int, line_pk: int) -> HttpResponse:
    """Take a person's word on a line."""
    show, given = _show(pk), request.POST
    told = advice_of(show)
    one = next((each for each in told.lines if each.line.pk == line_pk), None)
    if one is None:
        raise Http404("This show has no such line.")
    try:
        changes = _changes(given, one, told)
        saved = line_decide(
            show=show,
            line=one.line,
            changes=changes,
            reason=given.get("reason", "")[:400],
            person=signed_in(request),
            at=now(),
            seen=given.get("seen") or None,
        )
    except ValidationError as error:
        return _draw_line(request, show, line_pk, wrong=said_of(error), typed=given.dict())
    messages.success(request, saved.words)
    return redirect(reverse("advice-line", args=[show.pk, line_pk]))


def _changes(given: Any, one: LineAdvice, told: ShowAdvice) -> dict[str, Any]:
    do = given.get("do", "take")
    if do == "back":
        return {"pickup": ""}
    if do == "set":
        try:
            return {
                "feed": Feed(given.get("feed", "")),
                "phantom": PhantomWish(given.get("phantom", "")),
                "whose": Whose(given.get("whose", Whose.OURS)),
            }
        except ValueError:
            raise ValidationError("Pick the feed, phantom and whose it is from their lists.") from None
    name = given.get("pickup", "").strip()
    if "\x00" in given.get("reason", ""):
        raise ValidationError("The reason holds a NUL character.")
    if not name:
        raise ValidationError("Pick the mic/DI to take.")
    if name not in {each.name for each in told.known.types.values() if _may_pick(each)}:
        raise ValidationError(f"No mic/DI is called {name[:60]}: pick one from the list.")
    return {"pickup": name}
