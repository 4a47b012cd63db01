"""Saying what is wrong: with what was just scanned, with a channel, with something not ours; swapping a dead box."""

import uuid

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_POST

from company.clock import now, today
from inventory.calc.codes import Read, parse
from inventory.models import Item, Stray
from inventory.services.strays import StrayRefused, stray_record
from maintenance.calc.symptoms import Symptom
from shows.calc.words import Action, Condition
from shows.dock import BAG_COOKIE, Choice, Known, bag_of, choice_of, known_items, near_of, page_device
from shows.models import Scan
from shows.services.dock import BAG_NOTE, dead_swapped, scan_shaped, scan_undone, scans_sent, symptom_said
from shows.spares import spare_for
from shows.views.dock import clean, uid_of, who

SAYINGS = [*(s.value for s in Symptom), Condition.LABEL_GONE.value]


def _choice(request: HttpRequest) -> Choice | None:
    at = now()
    return choice_of(request, at, near_of(request, at))


def _known(code: str) -> Known | None:
    read = parse(clean(code, 200))
    return known_items([read.code], today()).get(read.code) if read.read == Read.CODE else None


def _show_key(choice: Choice | None) -> int | None:
    return choice.show.pk if choice and choice.show else None


def _to_dock(hit: object = "") -> HttpResponse:
    return redirect(f"{reverse('dock')}?{urlencode({'hit': str(hit)})}" if hit else reverse("dock"))


def dock_say(request: HttpRequest, code: str) -> HttpResponse:
    """Say with one tap what a thing does: it hums, it is damaged, parts are missing, its label is gone."""
    known = _known(code)
    if known is None:
        messages.error(request, "The record knows no such thing, so nothing can be said of it.")
        return redirect("dock")
    choice = _choice(request)
    if request.method == "POST":
        said = request.POST.get("said", "")
        if said not in SAYINGS:
            messages.error(request, "Choose one of the words.")
            return redirect("dock-say", known.code)
        uid = uid_of(request, said)
        symptom_said(
            actor=who(request),
            device=page_device(request),
            code=known.code,
            show=_show_key(choice),
            said=said,
            note=clean(request.POST.get("note", ""), 500),
            at=now(),
            uid=uid,
        )
        return _to_dock(uid)
    context = {"section": "Dock", "known": known, "sayings": SAYINGS, "choice": choice, "uid": uuid.uuid4()}
    return render(request, "shows/dock_say.html", context)


@require_POST
def dock_bag(request: HttpRequest) -> HttpResponse:
    """Put what was just scanned in the bench bag: it does not go, and it is suspect."""
    device, at, uid = page_device(request), now(), uid_of(request, request.POST.get("scan", ""))
    try:
        scan = Scan.objects.filter(device=device, uid=uuid.UUID(request.POST.get("scan", ""))).first()
    except ValueError:
        scan = None
    if scan is None or not scan.code:
        messages.error(request, "That was not scanned on this device.")
        return redirect("dock")
    if scan.action == Action.OUT:
        scan_undone(actor=who(request), device=device, scan=scan, at=at, uid=uuid.uuid5(uid, "undo"))
    bag = bag_of(request.COOKIES.get(BAG_COOKIE, ""))
    put = scan_shaped(code=scan.code, action=Action.INSPECT, show=scan.show_id, at=at, uid=uid)
    put |= {"condition": str(Condition.SUSPECT), "symptom": str(Symptom.OTHER), "seq": put["seq"] + 1}
    put |= {"into": bag.code} if bag else {"note": BAG_NOTE}
    scans_sent(actor=who(request), device=device, scans=[put], at=at)
    if bag:
        return _to_dock(uid)
    messages.info(request, "It stays here. Scan the bag's own label and then this again, to know which bag it is in.")
    return redirect(f"{reverse('dock')}?{urlencode({'hit': str(uid), 'mode': 'bag'})}")


def dock_swap(request: HttpRequest, code: str) -> HttpResponse:
    """A dead box in the middle of a show: offer the nearest spare, take its scan, move the place on the list over."""
    known = _known(code)
    if known is None:
        messages.error(request, "The record knows no such thing.")
        return redirect("dock")
    choice = _choice(request)
    if request.method == "POST":
        spare = parse(clean(request.POST.get("code", ""), 4096))
        if spare.read != Read.CODE:
            messages.error(request, spare.why or "That is a card, not a spare: scan the spare's own label.")
            return redirect("dock-swap", known.code)
        if spare.code == known.code:
            messages.error(request, "That is the dead one again: scan the spare.")
            return redirect("dock-swap", known.code)
        uid = uid_of(request, spare.code)
        dead_swapped(
            actor=who(request),
            device=page_device(request),
            dead=known.code,
            spare=spare.code,
            show=_show_key(choice),
            at=now(),
            uid=uid,
        )
        return _to_dock(uid)
    dead = Item.objects.filter(code=known.code).select_related("type").get()
    spare_offered = spare_for(dead, choice.show if choice else None, today())
    context = {"section": "Dock", "known": known, "spare": spare_offered, "choice": choice, "uid": uuid.uuid4()}
    return render(request, "shows/dock_swap.html", context)


def dock_channel(request: HttpRequest) -> HttpResponse:
    """Report that a channel of the show did something, when nobody knows yet which thing it was."""
    choice = _choice(request)
    if choice is None:
        messages.warning(request, "First say which show.")
        return redirect("dock-show")
    channel = clean(request.POST.get("channel", request.GET.get("channel", "")), 60).strip().upper()
    if request.method == "POST":
        said = request.POST.get("said", "")
        read = parse(f"CH.{channel.replace('.', '')}") if channel else None
        if read is None or read.read != Read.CHANNEL:
            messages.error(request, "Say which channel: 7, or Mix 2.")
        elif choice.show is None:
            messages.error(request, "A channel belongs to a show: choose the show first.")
        elif said not in SAYINGS:
            messages.error(request, "Choose what it did.")
        else:
            uid = uid_of(request, f"{read.channel} {said}")
            symptom_said(
                actor=who(request),
                device=page_device(request),
                code=f"CH.{read.channel}",
                show=choice.show.pk,
                said=said,
                note=clean(request.POST.get("note", ""), 500),
                at=now(),
                uid=uid,
            )
            return _to_dock(uid)
        return redirect(f"{reverse('dock-channel')}?{urlencode({'channel': channel})}")
    sayings = [s for s in SAYINGS if s not in {Condition.LABEL_GONE, Symptom.PARTS_MISSING}]
    context = {"section": "Dock", "choice": choice, "channel": channel, "sayings": sayings, "uid": uuid.uuid4()}
    return render(request, "shows/dock_channel.html", context)


@require_POST
def dock_stray(request: HttpRequest) -> HttpResponse:
    """Keep something that is not ours until its owner has it again."""
    choice = _choice(request)
    text = clean(request.POST.get("code", ""), 200).strip()
    what = clean(request.POST.get("what", ""), 120).strip() or "Something with a label that is not ours"
    if Stray.objects.filter(code_text=text, settled_on=None).exclude(code_text="").exists():
        said = "That is with the strays already."
    else:
        try:
            stray_record(what=what, code_text=text, show=_show_key(choice), at=now(), person=who(request))
            said = "Kept with the strays. Say whose it is when you know."
        except StrayRefused as refused:
            said = str(refused)
    if "application/json" in request.headers.get("Accept", ""):
        return JsonResponse({"said": said})
    messages.info(request, said)
    return redirect("dock")
