"""What is done at a device's cells: swap, read, hours, take out, charge, and what is in it on day one."""

import uuid as uuids
from datetime import datetime
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from company.access import signed_in
from company.clock import now
from inventory.calc import codes
from inventory.forms_shelf import form_uid
from inventory.models import Item
from inventory.registries import show_names
from inventory.search import item_of_code
from maintenance.calc.cell_words import Pool, SwapReason, System
from maintenance.cell_device import shown_of
from maintenance.cell_querysets import lots_counted
from maintenance.cell_state import BayState
from maintenance.forms_cells import LABELLED, MIXED, UNKNOWN, HoursForm, ReadingForm, SwapForm
from maintenance.models import CellType, Swap, UseLedger
from maintenance.services.cell_stock import lot_words
from maintenance.services.cell_where import GLOVES, goes_to, tub_words, where_words
from maintenance.services.cells import CellRefused, charge_record, hours_note, reading_record, swap_record
from maintenance.views.cell_device import done_answer, form_answer, powered_or_404, refused_say
from maintenance.views.record import item_or_404

form_page = require_http_methods(["GET", "HEAD", "POST"])
MOST_LOTS = 12
MIXED_WORDS = "Mixed: the weakest is driven dry, leaks or vents. Take all of them out; never for a show."


@form_page
def item_swap(request: HttpRequest, code: str) -> HttpResponse:
    """Swap a device's cells: one tap takes the oldest suitable lot; everything else is asked for beneath."""
    item, at = powered_or_404(code), now()
    shown = shown_of(item, at)
    states = [row.state for row in shown.rows if not row.state.pack]
    if not states:
        return redirect("item-cells", code=item.code)
    what = _what(states)
    fitted = any(state.fitted is not None for state in states)
    posted = request.POST if request.method == "POST" else None
    again = [uuids.uuid5(form_uid(request), f"bay {state.bay}") for state in states] if posted else []
    done = Swap.objects.filter(uid__in=again, item=item).first()
    if done is not None:  # the same form sent twice, whatever has become of the lot since
        return redirect(f"{reverse('item-cells', args=[item.code])}?did=swap.{done.uid}")
    form = SwapForm(posted, what=what, fitted=fitted, bays=len(states))
    if "bay" in form.fields:
        form.fields["bay"].required = False
    refused: CellRefused | None = None
    if form.is_bound and form.is_valid():
        try:
            swaps, said = _swap(request, form, item, states, at)
        except CellRefused as wrong:
            refused = wrong
            refused_say(form, wrong)
        else:
            messages.success(request, " ".join(said))
            return redirect(f"{reverse('item-cells', args=[item.code])}?did=swap.{swaps[0].uid}")
    context = {
        "section": "Cells",
        "item": item,
        "form": form,
        "shown": shown,
        "uid": request.POST.get("uid") or uuids.uuid4(),
        "first": what[0] if what else None,
        "fitted": fitted,
        "anyway": bool(refused and refused.anyway),
        "opened": bool(form.errors),
        "gloves": GLOVES,
        "tub": tub_words(taped=any(state.fitted is not None and state.fitted.type.needs_taped for state in states)),
        "unused": any(goes_to(state.fitted, reason=SwapReason.PRECAUTION) == Pool.NEW for state in states),
    }
    return render(request, "maintenance/cells/swap.html", context, status=422 if form.errors else 200)


def _what(states: list[BayState]) -> list[tuple[str, str]]:
    """Return what may go in: the oldest suitable lot first, other lots of the size, a labelled set, a type, nobody knows."""
    state = states[0]
    wanted = state.plan.cells_a_bay * len(states)
    many = f"{wanted} × " if wanted > 1 else ""
    found: list[tuple[str, str]] = []
    lots = lots_counted().filter(type__size=state.size, pool__in=[Pool.NEW, Pool.REHEARSAL], left__gt=0).select_related("type")
    if state.plan.transmitter:
        lots = lots.exclude(type__system=System.ZINC_CARBON)
    known = {lot.pk: lot for lot in lots.order_by("pool", "expires_on", "bought_on", "pk")[:MOST_LOTS]}
    if state.lot is not None and state.lot.pk not in known:
        known[state.lot.pk] = state.lot
    for lot in sorted(known.values(), key=lambda one: (state.lot is None or one.pk != state.lot.pk, one.pool != Pool.NEW)):
        found.append((f"lot.{lot.pk}", f"{many}{lot.type.name}, {lot_words(lot)}, {lot.left} left"))  # type: ignore[attr-defined]
    types = (
        [state.fresh_type]
        if state.fresh_type is not None
        else list(CellType.objects.filter(size=state.size))
        if state.size
        else []
    )
    types = [row for row in types if not (state.plan.transmitter and row.system == System.ZINC_CARBON)]
    found += [(f"type.{row.pk}", f"{many}{row.name}, fresh, from nowhere on record") for row in types]
    found.append((LABELLED, "a labelled rechargeable set"))
    if types:
        found.append((UNKNOWN, f"{types[0].name} that is in it: nobody knows how used"))
    if types and state.plan.cells_a_bay > 1:
        found.append((MIXED, "a mixed set that is in it: old and new, makes or types together"))
    return found


def _swap(
    request: HttpRequest, form: SwapForm, item: Item, states: list[BayState], at: datetime
) -> tuple[list[Swap], list[str]]:
    """Do a swap at one bay or all, all or none; answer the swaps and what to say."""
    given = form.cleaned_data
    uid, what = form_uid(request), given["what"]
    bays = [state for state in states if not given.get("bay") or state.bay == int(given["bay"])]
    goes_in: dict[str, Any] = {}
    if what == LABELLED:
        goes_in["cell_set"] = _labelled(given["set_code"])
    elif what in (UNKNOWN, MIXED):
        goes_in |= {"type": states[0].fresh_type, "was_new": None}
    elif what.startswith("lot."):
        lot = lots_counted().select_related("type").filter(pk=int(what[4:])).first()
        if lot is None:
            raise CellRefused("That lot is gone. Choose another.", "lot")
        goes_in |= {"lot": lot, "was_new": lot.pool == Pool.NEW}
    else:
        goes_in["type"] = CellType.objects.filter(pk=int(what[5:])).first()
    said: list[str] = []
    swaps: list[Swap] = []
    with transaction.atomic():
        for state in bays:
            there = state.fitted is not None
            reason = SwapReason(given.get("reason") or SwapReason.PRECAUTION) if there else SwapReason.FIRST
            done = swap_record(
                uid=uuids.uuid5(uid, f"bay {state.bay}"),
                item=item,
                bay=state.bay,
                reason=reason,
                out_to=_out_to(given.get("out_to", ""), state, reason, given.get("out_volts")) if there else "",
                out_volts=given.get("out_volts") if there else None,
                done_at=form.instant(at),
                received_at=at,
                person=signed_in(request),
                note=" ".join(part for part in ("mixed cells" if what == MIXED else "", given["note"]) if part)[:300],
                anyway=request.POST.get("anyway") == "yes",
                **goes_in,
            )
            swaps.append(done.swap)
            came_out = where_words(state.fitted, done.swap.out_to, done.swap.out_volts)
            said += [words for words in (*done.words, came_out) if words and words not in said]
    return swaps, [*said, MIXED_WORDS] if what == MIXED else said


def _out_to(asked: str, state: BayState, reason: SwapReason, volts: float | None) -> str:
    """Return where what came out goes: where somebody said, else where such cells go."""
    return asked or goes_to(state.fitted, reason=reason, volts=volts, expired=state.expired)


def _labelled(text: str) -> Item:
    read = codes.parse(text)
    found = item_of_code(read.code) if read.read is codes.Read.CODE else None
    if found is None:
        raise CellRefused("Nothing has this label. Scan the set's own label.", "cell_set")
    return Item.objects.select_related("type__cell_set_facts").get(pk=found.pk)


@form_page
def item_reading(request: HttpRequest, code: str) -> HttpResponse:
    """Log a reading of a device's cells."""
    item, at = powered_or_404(code), now()
    shown = shown_of(item, at)
    anyway = False
    form = ReadingForm(request.POST if request.method == "POST" else None, bays=len(shown.rows))
    if form.is_bound and form.is_valid():
        load_ohm, off = form.circumstances()
        try:
            read = reading_record(
                uid=form_uid(request),
                item=item,
                bay=int(form.cleaned_data.get("bay") or 1),
                volts=form.cleaned_data["volts"],
                load_ohm=load_ohm,
                minutes_off=off,
                read_at=form.instant(at),
                received_at=at,
                person=signed_in(request),
                anyway=request.POST.get("anyway") == "yes",
            )
        except CellRefused as wrong:
            refused_say(form, wrong)
            anyway = wrong.anyway
        else:
            messages.success(request, " ".join([f"Noted: {read.reading.volts:g} V.", *read.words]))
            return redirect(f"{reverse('item-cells', args=[item.code])}?did=reading.{read.reading.uid}")
    return form_answer(request, "maintenance/cells/reading.html", item, shown, form, anyway=anyway)


@form_page
def item_hours(request: HttpRequest, code: str) -> HttpResponse:
    """Log hours a device ran on its cells, or say that it was not used."""
    item, at = powered_or_404(code), now()
    shown = shown_of(item, at)
    anyway = False
    form = HoursForm(request.POST if request.method == "POST" else None, bays=0, occasions=_occasions(item))
    if form.is_bound and form.is_valid():
        given = form.cleaned_data
        try:
            note = hours_note(
                uid=form_uid(request),
                item=item,
                why=given["why"],
                minutes=form.minutes(),
                occasion=given["occasion"],
                at=form.instant(at),
                received_at=at,
                person=signed_in(request),
                anyway=request.POST.get("anyway") == "yes",
            )
        except CellRefused as wrong:
            refused_say(form, wrong)
            anyway = wrong.anyway
        else:
            said = f"{note.minutes / 60:.3g} h" if note.minutes else "not used at that show"
            messages.success(request, f"Noted: {said}.")
            return redirect(f"{reverse('item-cells', args=[item.code])}?did=hours.{note.uid}")
    return form_answer(request, "maintenance/cells/hours.html", item, shown, form, anyway=anyway)


def _occasions(item: Item) -> list[tuple[str, str]]:
    rows = list(UseLedger.objects.filter(item=item, state="done", occasion__startswith="show:").order_by("-day", "-pk")[:10])
    keys = {row.occasion: int(row.occasion[5:]) for row in rows if row.occasion[5:].isdigit()}
    names = show_names(keys.values())
    return [(row.occasion, f"{names[keys[row.occasion]][0]}, {row.day:%-d %b}") for row in rows if row.occasion in keys]


@require_POST
def item_take_out(request: HttpRequest, code: str) -> HttpResponse:
    """Take a device's cells out before it is put away: unused ones go back to their lot, others that nobody read to the tub."""
    item, at = powered_or_404(code), now()
    states = [row.state for row in shown_of(item, at).rows if row.state.fitted is not None]
    back = request.POST.get("back", "")

    def act() -> tuple[str, list[str]]:
        if not states:
            raise CellRefused("There are no cells in it by the record.")
        said: list[str] = []
        uid = form_uid(request)
        with transaction.atomic():
            for state in states:
                done = swap_record(
                    uid=uuids.uuid5(uid, f"bay {state.bay}"),
                    item=item,
                    bay=state.bay,
                    reason=SwapReason.STORED,
                    out_to=_out_to("", state, SwapReason.STORED, None),
                    done_at=at,
                    received_at=at,
                    person=signed_in(request),
                )
                came_out = where_words(state.fitted, done.swap.out_to)
                said += [words for words in (*done.words, came_out) if words and words not in said]
        return f"swap.{done.swap.uid}", said

    return done_answer(request, item, act, back="cells-between" if back == "between" else "")


@require_POST
def item_day_one(request: HttpRequest, code: str) -> HttpResponse:
    """Say on day one what is in a device: fresh today, or nobody knows."""
    item, at = powered_or_404(code), now()
    fresh = request.POST.get("is") == "fresh"
    states = [row.state for row in shown_of(item, at).rows if row.state.fitted is None and not row.state.pack]

    def act() -> tuple[str, list[str]]:
        if not states:
            raise CellRefused("What is in it is on record already.")
        uid, said = form_uid(request), []
        with transaction.atomic():
            for state in states:
                if state.fresh_type is None:
                    raise CellRefused(f"What {item} takes is not known: name its cell on its type, such as 6LR61.")
                done = swap_record(
                    uid=uuids.uuid5(uid, f"bay {state.bay}"),
                    item=item,
                    bay=state.bay,
                    type=state.fresh_type,
                    was_new=True if fresh else None,
                    reason=SwapReason.FIRST,
                    done_at=at,
                    received_at=at,
                    person=signed_in(request),
                )
                said += [words for words in done.words if words not in said]
        return f"swap.{done.swap.uid}", said

    return done_answer(request, item, act, back="cells" if request.POST.get("back") == "fleet" else "")


@require_POST
def item_charge(request: HttpRequest, code: str) -> HttpResponse:
    """Note that a device's pack, or the labelled set in it, or a labelled set, was charged."""
    item, at = item_or_404(code), now()

    def act() -> tuple[str, list[str]]:
        charge = charge_record(uid=form_uid(request), item=item, at=at, received_at=at, person=signed_in(request))
        return f"charge.{charge.uid}", [f"{charge.item}: charged, noted."]

    return done_answer(request, item, act, back="cell-sets" if request.POST.get("back") == "sets" else "")
