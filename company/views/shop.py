"""The shop: every room that is not in the main navigation, by what one wants to do there."""

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import NoReverseMatch, reverse
from django.views.decorators.http import require_GET

from company.access import signed_in
from company.calc.roles import Role


@dataclass(frozen=True, kw_only=True)
class Door:
    """One strip on the page; a name no floor answers to is left out."""

    url_name: str
    name: str
    why: str
    role: str = Role.HAND


ROOMS: list[tuple[str, list[Door]]] = [
    (
        "What we own",
        [
            Door(url_name="gear-types", name="Gear types", why="Kinds of gear with their electrical facts."),
            Door(url_name="counted", name="Counted lines", why="Leads, tape and adapters, counted by type and length."),
            Door(url_name="cases", name="Cases", why="What each case holds, and what it should hold."),
            Door(url_name="places", name="Places", why="Shelves, the bench, repairers.", role=Role.TECHNICIAN),
            Door(url_name="strays", name="Strays", why="What came back and is not ours."),
            Door(url_name="shopping", name="Shopping list", why="What is running short.", role=Role.TECHNICIAN),
        ],
    ),
    (
        "Where it goes",
        [
            Door(url_name="rigs", name="Rigs", why="Named sets that always go together."),
            Door(url_name="venues", name="Venues", why="Doors, stairs, stage sizes, what hums with the lights on."),
            Door(url_name="missing", name="Missing", why="What has not come home, and who scanned it last."),
            Door(url_name="dock-cards", name="Dock cards", why="Codes for the wall: out, truck, back, undo."),
            Door(url_name="take-in", name="Take in scans", why="From a phone that found no network: its file or its codes."),
            Door(url_name="phone", name="Set a phone up", why="Camera and no signal: what a phone needs once."),
        ],
    ),
    (
        "In and out of the record",
        [
            Door(
                url_name="import", name="Import", why="Bring your own list: gear, counted lines, shows.", role=Role.TECHNICIAN
            ),
            Door(url_name="export", name="Export", why="Take it all away as a table.", role=Role.TECHNICIAN),
            Door(url_name="jobs", name="Jobs", why="Work that takes a while, and what came of it."),
            Door(url_name="api:openapi-view", name="HTTP API", why="For programs: what they may ask and tell."),
        ],
    ),
    (
        "Who we are",
        [
            Door(url_name="me", name="You", why="Your name, password, look and tokens."),
            Door(url_name="people", name="People", why="Who signs in, and what they may do.", role=Role.OWNER),
            Door(url_name="settings", name="Settings", why="Country, time zone, units, limits.", role=Role.OWNER),
            Door(url_name="status", name="How the program is", why="Worker, rules, mail, backups.", role=Role.TECHNICIAN),
            Door(url_name="calendar", name="Your calendar", why="Shows and what is to be done, in the calendar you use."),
            Door(url_name="change-log", name="Change log", why="Who edited what, and when.", role=Role.OWNER),
        ],
    ),
]


@require_GET
def shop(request: HttpRequest) -> HttpResponse:
    person, rooms = signed_in(request), []
    for heading, doors in ROOMS:
        open_doors = [
            {"door": door, "url": url} for door in doors if person.is_at_least(door.role) and (url := _address(door.url_name))
        ]
        if open_doors:
            rooms.append((heading, open_doors))
    return render(request, "company/shop.html", {"rooms": rooms, "section": "Shop"})


def _address(url_name: str) -> str:
    try:
        return reverse(url_name)
    except NoReverseMatch:
        return ""
