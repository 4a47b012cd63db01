"""The dock page, and what its forms do when no script runs: scan, undo, turn, choose a show, count."""

import uuid
from typing import Any, cast

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_POST

from company.clock import now, today
from company.models import Person
from inventory.calc.codes import Parsed, Read, parse
from inventory.models import CountedLine, Item
from shows.calc.direction import Way, turned
from shows.calc.words import Action, Condition, Signal
from shows.dock import (
    BAG_COOKIE,
    SHOW_COOKIE,
    SHOW_COOKIE_AGE,
    WAY_COOKIE,
    WAY_COOKIE_AGE,
    WHATEVER,
    Choice,
    bag_of,
    choice_made,
    choice_of,
    last_scans,
    near_of,
    page_device,
    progress_of,
    run_of,
)
from shows.models import Scan, Show
from shows.phantom import phantom_of
from shows.services.dock import BAG_NOTE, counted_moved, scan_counted, scan_shaped, scan_undone, scans_sent
from shows.views.dock_counted import BLANK, counted_rows

MODES = {"suspect", "bag"}
MOST_COUNTED = 100_000


def who(request: HttpRequest) -> Person:
    """Return who is signed in; the middleware let nobody else through."""
    return cast(Person, request.user)


def uid_of(request: HttpRequest, what: str = "") -> uuid.UUID:
    """Return a uid that is the same when the same form is sent twice with the same content (`what`), and another when a
    person goes back and sends the form again with something else. A bad uid is replaced."""
    try:
        drawn = uuid.UUID(request.POST.get("uid", ""))
    except ValueError:
        return uuid.uuid4()
    return uuid.uuid5(drawn, f"{request.path} {what}")


def whole(text: str | None, most: int = MOST_COUNTED) -> int | None:
    """Return a whole number from 0 to `most`, or None."""
    text = (text or "").strip()
    if not (text.isascii() and text.isdigit()) or len(text) > 9:
        return None
    return int(text) if int(text) <= most else None


def clean(text: str, most: int) -> str:
    """Return text fit for a column: no NUL, no half characters, at most so long."""
    return text.replace("\x00", "").encode("utf-8", "ignore").decode()[:most]


def remember(
    response: HttpResponse, *, show: str | None = None, way: str | None = None, bag: str | None = None
) -> HttpResponse:
    """Keep the show, the way or the last bag on the device. The page's script reads and writes the same cookies."""
    if bag is not None:
        response.set_cookie(BAG_COOKIE, bag, max_age=SHOW_COOKIE_AGE, path="/", samesite="Lax")
    if show is not None:
        response.set_cookie(SHOW_COOKIE, show, max_age=SHOW_COOKIE_AGE, path="/", samesite="Lax")
    if way is not None:
        if way:
            response.set_cookie(WAY_COOKIE, way, max_age=WAY_COOKIE_AGE, path="/", samesite="Lax")
        else:
            response.delete_cookie(WAY_COOKIE, path="/")
    return response


def dock(request: HttpRequest) -> HttpResponse:
    """Draw the dock; a POST is one scan, typed or read, and comes back here to show what it was told."""
    at = now()
    near = near_of(request, at)
    choice = choice_of(request, at, near)
    if request.method == "POST":
        truck = _truck_show(request)
        return _scan(request, choice_made(truck, Way.TRUCK, at) if truck else choice)
    if choice is None:
        return redirect("dock-show")
    day = today(at)
    progress = progress_of(choice.show, day)
    past = last_scans(page_device(request), day)
    mode = request.GET.get("mode", "")
    last_bag = bag_of(request.COOKIES.get(BAG_COOKIE, ""))
    hit = next((p for p in past if str(p.scan.uid) == request.GET.get("hit", "")), None)
    asked = hit.known if hit and not hit.undone and hit.scan.action == Action.OUT else None
    context: dict[str, Any] = {
        "section": "Dock",
        "choice": choice,
        "near": near,
        "run": run_of(progress, choice.way, choice.show),
        "past": past,
        "hit": hit,
        "phantom": phantom_of([asked], choice.show, at).get(asked.code) if asked else None,
        "uid": uuid.uuid4(),
        "mode": mode if mode in MODES else "",
        "rows": counted_rows(progress, choice.way),
        "blank": BLANK,
        "bag": bag_of(request.GET.get("bag", "")) if mode == "bag" else None,
        "last_bag": last_bag,
    }
    response = render(request, "shows/dock.html", context)
    if request.GET.get("show"):
        way = request.GET.get("way", "")
        remember(response, show=str(choice.show.pk) if choice.show else WHATEVER, way=way if way in set(Way) else "")
    return response


def _truck_show(request: HttpRequest) -> Show | None:
    """Return the show whose truck check the form stands on, if it does."""
    word, _, number = request.POST.get("next", "").partition(":")
    key = whole(number, 10**9) if word == "truck" else None
    return Show.objects.live().filter(pk=key).first() if key else None


def _back(request: HttpRequest, **query: str) -> HttpResponse:
    """Go back to where the form stood: the truck check when it asked so, else the dock."""
    truck = _truck_show(request)
    if truck is not None:
        return redirect("truck-check", truck.pk)
    kept = {key: value for key, value in query.items() if value}
    return redirect(f"{reverse('dock')}?{urlencode(kept)}" if kept else reverse("dock"))


def _scan(request: HttpRequest, choice: Choice | None) -> HttpResponse:
    text = clean(request.POST.get("code", ""), 4096)
    read = parse(text)
    if not text.strip():
        messages.warning(request, "Nothing was read.")
        return _back(request, mode=request.POST.get("mode", ""))
    if read.read in {Read.COMMAND, Read.SHOW_CARD}:
        return _obey(request, read, choice)
    if read.read == Read.COUNTED:
        return redirect(f"{reverse('dock')}#line-{read.number}")
    if read.read == Read.CHANNEL:
        return redirect(f"{reverse('dock-channel')}?{urlencode({'channel': read.channel})}")
    if choice is None:
        messages.warning(request, f"First say which show, then scan {text.strip()[:40]} again.")
        return redirect("dock-show")
    mode, into = request.POST.get("mode", ""), request.POST.get("bag", "") if request.POST.get("mode") == "bag" else ""
    bag = None if request.POST.get("next") else bag_of(text)
    if bag is not None:
        return _open_or_close(request, bag, into)
    at = now()
    key = choice.show.pk if choice.show else None
    uid = uid_of(request, f"{choice.way} {mode} {into} {key} {text}")
    scan = scan_shaped(code=text, action=choice.way, show=key, at=at, uid=uid)
    if mode in MODES:
        scan |= {"action": str(Action.INSPECT), "condition": str(Condition.SUSPECT), "symptom": "other"}
        if mode == "bag":
            scan |= {"into": clean(into, 200)} if into else {"note": BAG_NOTE}
    answer = scans_sent(actor=who(request), device=page_device(request), scans=[scan], at=at)[0]
    if request.POST.get("next"):
        say = messages.success if answer.signal == Signal.FINE else messages.warning
        say(request, f"{text.strip()[:40]}: {answer.reason or 'on the truck'}")
    if mode == "suspect":
        return redirect("dock-say", read.code) if read.code else _back(request, hit=scan["id"])
    return _back(request, hit=scan["id"], mode=mode, bag=into)


def _open_or_close(request: HttpRequest, bag: Item, into: str) -> HttpResponse:
    """A bag's own label opens it for what is scanned next, and closes it when it is the one that is open."""
    if parse(into).code in set(bag.labels.values_list("code", flat=True)):
        messages.info(request, f"{bag} is closed.")
        return _back(request)
    return remember(_back(request, mode="bag", bag=bag.code), bag=bag.code)


def _obey(request: HttpRequest, read: Parsed, choice: Choice | None) -> HttpResponse:
    """Do what a printed card says."""
    if read.read == Read.SHOW_CARD:
        show = Show.objects.live().filter(pk=read.number).first()
        if show is None:
            messages.error(request, "That card is for a show the record does not know, or one that was cancelled.")
            return _back(request)
        return remember(_back(request), show=str(show.pk), way=read.word.lower())
    if read.word in {"OUT", "TRUCK", "BACK"}:
        return remember(_back(request), way=read.word.lower())
    if read.word == "UNDO":
        return dock_undo(request)
    if read.word == "BAG":
        bag = bag_of(request.COOKIES.get(BAG_COOKIE, ""))
        return _back(request, mode="bag", bag=bag.code if bag else "")
    if read.word == "SUSPECT":
        return _back(request, mode="suspect")
    return _back(request)


def dock_show(request: HttpRequest) -> HttpResponse:
    """Choose the show once; it is kept on the device."""
    at = now()
    near = near_of(request, at)
    picks = [choice_made(show, "", at) for show in near]
    return render(request, "shows/dock_show.html", {"section": "Dock", "picks": picks, "uid": uuid.uuid4()})


@require_POST
def dock_turn(request: HttpRequest) -> HttpResponse:
    """Turn the way: out, on the truck, back."""
    at = now()
    choice = choice_of(request, at, near_of(request, at))
    if choice is None or choice.show is None:
        return redirect("dock-show")
    wanted = request.POST.get("way", "")
    return remember(_back(request), way=wanted if wanted in set(Way) else turned(choice.way))


@require_POST
def dock_undo(request: HttpRequest) -> HttpResponse:
    """Take back one of the last scans of this page, or the last."""
    device = page_device(request)
    wanted = request.POST.get("undoes", "")
    uid = uid_of(request, wanted)
    if Scan.objects.filter(uid=uid).exists():
        return _back(request)
    scans = Scan.objects.filter(device=device).exclude(action=Action.UNDO).order_by("-received_at", "-pk")
    undone = Scan.objects.filter(action=Action.UNDO, device=device, undoes__isnull=False).values("undoes")
    if wanted:
        try:
            scan = scans.filter(uid=uuid.UUID(wanted)).first()
        except ValueError:
            scan = None
    else:
        scan = scans.exclude(uid__in=undone).first()
    if scan is None:
        messages.warning(request, "There is nothing to undo on this device.")
        return _back(request)
    if Scan.objects.filter(action=Action.UNDO, undoes=scan.uid).exists():
        messages.info(request, "That was taken back already.")
        return _back(request)
    answer = scan_undone(actor=who(request), device=device, scan=scan, at=now(), uid=uid)
    messages.success(request, answer.reason or "Taken back.")
    return _back(request, mode=request.POST.get("mode", ""), bag=request.POST.get("bag", ""))


@require_POST
def dock_count(request: HttpRequest) -> HttpResponse:
    """Count things of one line out, or back as good and bad."""
    at = now()
    choice = choice_of(request, at, near_of(request, at))
    line = CountedLine.objects.select_related("type").filter(pk=whole(request.POST.get("line"), 10**9) or 0).first()
    good, bad = whole(request.POST.get("good")), whole(request.POST.get("bad") or "0")
    if choice is None or choice.show is None:
        messages.warning(request, "First say which show, then count.")
        return redirect("dock-show")
    if line is None:
        messages.error(request, "The record knows no such counted line.")
    elif good is None or bad is None:
        messages.error(request, "A count is a whole number from 0 to 100 000.")
    elif good + bad == 0:
        messages.warning(request, f"Nothing was counted of {line.label}.")
    else:
        action = choice.way if choice.way != Way.TRUCK else Way.OUT
        answers = counted_moved(
            actor=who(request),
            device=page_device(request),
            line=line.pk,
            action=action,
            show=choice.show,
            good=good,
            bad=bad if action == Way.BACK else 0,
            at=at,
            uid=uid_of(request, f"{line.pk} {action} {good} {bad}"),
        )
        said = " ".join(dict.fromkeys(a.reason for a in answers if a.reason))
        say = messages.success if all(a.signal == Signal.FINE for a in answers) else messages.warning
        words = f"{good} {line.label} {action}" + (f", {bad} bad" if bad and action == Way.BACK else "")
        say(request, f"{words}. {said}".strip())
    return redirect(f"{reverse('dock')}#line-{line.pk}" if line else "dock")


@require_POST
def dock_inside(request: HttpRequest) -> HttpResponse:
    """Say how many were in the case that was just scanned, and which were not."""
    try:
        scan = Scan.objects.filter(device=page_device(request), uid=uuid.UUID(request.POST.get("scan", ""))).first()
    except ValueError:
        scan = None
    missing = [p.code for text in request.POST.getlist("missing") if (p := parse(clean(text, 200))).read == Read.CODE]
    counted = whole(request.POST.get("counted"))
    if counted is None and missing:
        inside = whole(request.POST.get("inside")) or 0
        counted = max(0, inside - len(missing))
    if scan is None or scan.action not in {Action.OUT, Action.TRUCK, Action.BACK}:
        messages.error(request, "That case was not scanned on this device.")
        return _back(request)
    if counted is None:
        messages.error(request, "A count is a whole number from 0 to 100 000.")
        return _back(request, hit=str(scan.uid))
    uid = uid_of(request, f"{counted} {missing}")
    scan_counted(
        actor=who(request), device=page_device(request), scan=scan, counted=counted, missing=missing, at=now(), uid=uid
    )
    return _back(request, hit=str(uid))
