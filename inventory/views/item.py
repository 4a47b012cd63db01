"""The item page: what it is, what is true of it now, and its whole life as one strip."""

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from company.access import signed_in
from company.calc.roles import Role
from company.clock import now
from inventory.calc import codes
from inventory.gear_page import standing_words
from inventory.life import life_rows
from inventory.models import Item, Label
from inventory.registries import ITEM_ACTIONS, ITEM_LIFE, ITEM_PANELS, ItemAction, Panel
from inventory.search import item_of_code
from inventory.views.gear import drawn


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """One panel, drawn: a heading, and what stands beside it."""

    title: str
    body: SafeString
    panel: Panel


def item(request: HttpRequest, code: str) -> HttpResponse:
    """Draw one item; an alias leads to it, a blank label says so, an unknown code gets a sentence."""
    read = codes.parse(code)
    if read.read is not codes.Read.CODE:
        said = f"“{code[:40]}” is no code of ours. {read.why or 'It is a card for the dock.'}"
        return render(request, "404.html", {"said": said}, status=404)
    at = now()
    day = at.astimezone(request.company.zone).date()
    found = (
        Item.objects.described(day)
        .prefetch_related("labels")
        .filter(code=read.code)
        .select_related("type", "home", "at", "in_case__type", *_facts_of())
        .first()
    )
    if found is None:
        return _no_item(request, read.code)
    if code != found.code:
        return redirect(found)
    drawn([found])
    ahead, past = life_rows((entry for tell in ITEM_LIFE for entry in tell(found, at)), day=day, zone=request.company.zone)
    actions = [
        action for offer in ITEM_ACTIONS for action in offer(request, found) if signed_in(request).is_at_least(action.role)
    ]
    panels = [panel for panel in (_drawn(request, found, tell) for tell in ITEM_PANELS) if panel]
    context = {
        "section": "Gear",
        "item": found,
        "at": at,
        "panels": panels,
        "sheets": dict.fromkeys(sheet for drawn_one in panels for sheet in drawn_one.panel.styles),
        "modules": dict.fromkeys(module for drawn_one in panels for module in drawn_one.panel.modules),
        "ahead": ahead,
        "past": past,
        "next": next((a for a in actions if a.next_step), None),
        "in_hand": [a for a in actions if a.role == Role.HAND and not (a.next_step or a.quiet)],
        "also": _others(actions),
        "says": "; ".join(p for p in (standing_words(found, found.standing), found.where_words if found.lifted else "") if p),
    }
    return render(request, "inventory/item.html", context)


def _others(actions: list[ItemAction]) -> list[ItemAction]:
    first = next((a for a in actions if a.next_step), None)
    return [a for a in actions if a is not first and (a.next_step or a.quiet or a.role != Role.HAND)]


def _drawn(request: HttpRequest, found: Item, tell: object) -> Drawn | None:
    panel = tell(request, found, now())  # type: ignore[operator]
    if panel is None:
        return None
    body = render_to_string(panel.template, {"item": found, "panel": panel, **panel.context}, request)
    return Drawn(title=panel.title, body=body, panel=panel)


def _facts_of() -> list[str]:
    from inventory.models import FACTS_OF_KIND

    return [f"type__{m._meta.get_field('type').remote_field.related_name}" for m in dict.fromkeys(FACTS_OF_KIND.values())]


def _no_item(request: HttpRequest, code: str) -> HttpResponse:
    """Answer for a code no item carries as its first: an alias, a label still blank, or nothing of ours."""
    leads_to = item_of_code(code)
    if leads_to is not None:
        return redirect(leads_to)
    label = Label.objects.filter(code=code).first()
    context = {"section": "Gear", "code": code, "label": label}
    return render(request, "inventory/item_unbound.html", context, status=200 if label else 404)
