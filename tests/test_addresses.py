"""Every address walked by everybody, against one table that says who may; and every address with odd values."""

import re
import uuid
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any
from urllib.parse import quote

import pytest
from django.apps import apps
from django.core.handlers.wsgi import WSGIRequest
from django.db import transaction
from django.http import QueryDict
from django.test import Client
from django.urls import URLResolver, get_resolver
from django.utils.functional import cached_property

from company.calc.roles import at_least
from company.clock import now
from company.models import Job
from company.pulses import WORKER, pulse_write
from inventory.calc.kinds import Kind
from inventory.models import CountMove, GearType, LabelRun, Stray
from inventory.services.cases import placement_record
from inventory.services.counted import count_out
from maintenance.calc.bench import Depth, Procedure
from maintenance.models import Alert, BenchSettings, CellMove, Repair, Sitting, Wiring
from maintenance.services.bench import Given, test_record
from maintenance.services.faults import fault_open
from shows.calc.line_judging import Line
from shows.models import Contradiction, InputLine, ListTemplate, Rig, RigRow, VenueFeed
from shows.services.input_lines import lines_save
from shows.services.passes import pass_make, pass_start
from tests.builders import (
    a_day,
    fit_cells,
    make_box,
    make_case,
    make_company,
    make_counted_line,
    make_item,
    make_lot,
    make_person,
    make_place,
    make_pull_row,
    make_show,
    make_source,
    make_type,
    make_venue,
)
from tests.conftest import signed_in

STRANGER, HAND, TECHNICIAN, OWNER = "stranger", "hand", "technician", "owner"
EVERYBODY = (STRANGER, HAND, TECHNICIAN, OWNER)
NOBODY = None

# address: (the least who may GET it, the least who may POST to it); None: there is no such thing as a GET, or a POST, of it
WHO_MAY: dict[str, tuple[str | None, str | None]] = {
    "sign-in/": (STRANGER, STRANGER),
    "sign-out/": (NOBODY, HAND),
    "password/": (HAND, HAND),
    "me/": (HAND, HAND),
    "me/tokens/": (NOBODY, HAND),
    "me/tokens/<int:token_id>/withdraw/": (NOBODY, HAND),
    "theme/": (NOBODY, HAND),
    "shop/": (HAND, NOBODY),
    "health/": (STRANGER, NOBODY),
    "ready/": (STRANGER, NOBODY),
    "metrics/": (STRANGER, NOBODY),  # on this machine, or with the token: tests/company/test_running.py
    "status/": (TECHNICIAN, NOBODY),
    "status/backup/": (NOBODY, TECHNICIAN),
    "status/backups/<str:name>/": (OWNER, NOBODY),
    "people/": (OWNER, NOBODY),
    "people/add/": (OWNER, OWNER),
    "people/<int:person_id>/": (OWNER, OWNER),
    "people/<int:person_id>/password/": (NOBODY, OWNER),
    "settings/": (OWNER, OWNER),
    "settings/country/": (NOBODY, OWNER),
    "welcome/": (OWNER, OWNER),
    "change-log/": (OWNER, NOBODY),
    "jobs/": (HAND, NOBODY),
    "jobs/<int:job_id>/": (HAND, NOBODY),
    "jobs/<int:job_id>/file/": (HAND, NOBODY),
    "find/": (HAND, NOBODY),
    "gear/": (HAND, HAND),
    "gear/add/": (TECHNICIAN, TECHNICIAN),
    "gear/chosen/": (NOBODY, TECHNICIAN),
    "types/": (HAND, HAND),
    "types/add/": (TECHNICIAN, TECHNICIAN),
    "types/<int:pk>/": (HAND, HAND),
    "types/<int:pk>/edit/": (TECHNICIAN, TECHNICIAN),
    "types/<int:pk>/goes-with/": (NOBODY, TECHNICIAN),
    "types/<int:pk>/delete/": (NOBODY, OWNER),
    "a/<str:code>": (HAND, HAND),
    "a/<str:code>/": (HAND, HAND),
    "A/<str:code>": (HAND, HAND),
    "a/<str:code>/edit/": (TECHNICIAN, TECHNICIAN),
    "a/<str:code>/copy/": (TECHNICIAN, TECHNICIAN),
    "a/<str:code>/retire/": (TECHNICIAN, TECHNICIAN),
    "a/<str:code>/lend/": (TECHNICIAN, TECHNICIAN),
    "a/<str:code>/delete/": (NOBODY, OWNER),
    "a/<str:code>/photo/": (HAND, NOBODY),
    "a/<str:code>/photo/take/": (NOBODY, TECHNICIAN),
    "shelf/": (HAND, HAND),
    "shelf/add/": (TECHNICIAN, TECHNICIAN),
    "shelf/<int:pk>/": (HAND, HAND),
    "shelf/<int:pk>/out/": (NOBODY, HAND),
    "shelf/<int:pk>/back/": (NOBODY, HAND),
    "shelf/<int:pk>/lost/": (NOBODY, TECHNICIAN),
    "shelf/<int:pk>/change/": (NOBODY, HAND),
    "shelf/<int:pk>/recount/": (NOBODY, TECHNICIAN),
    "shelf/<int:pk>/edit/": (NOBODY, TECHNICIAN),
    "shelf/<int:pk>/label/": (NOBODY, TECHNICIAN),
    "shelf/<int:pk>/undo/<uuid:uid>/": (NOBODY, HAND),
    "cases/": (HAND, HAND),
    "cases/pack/": (HAND, HAND),
    "cases/<str:code>/": (HAND, HAND),
    "cases/<str:code>/plan/": (NOBODY, TECHNICIAN),
    "cases/<str:code>/pack/": (HAND, HAND),
    "cases/<str:code>/take-out/": (NOBODY, HAND),
    "cases/<str:code>/close/": (HAND, HAND),
    "cases/<str:code>/sheet/": (HAND, HAND),
    "strays/": (HAND, HAND),
    "strays/add/": (HAND, HAND),
    "strays/<int:pk>/settle/": (NOBODY, HAND),
    "places/": (HAND, TECHNICIAN),
    "places/<int:pk>/": (TECHNICIAN, TECHNICIAN),
    "a/<str:code>/place/": (TECHNICIAN, TECHNICIAN),
    "shopping/": (TECHNICIAN, TECHNICIAN),
    "labels/": (TECHNICIAN, NOBODY),
    "labels/print/": (TECHNICIAN, TECHNICIAN),
    "labels/bind/": (TECHNICIAN, TECHNICIAN),
    "labels/stuck/": (NOBODY, TECHNICIAN),
    "labels/trim/": (NOBODY, TECHNICIAN),
    "labels/test-page.pdf": (TECHNICIAN, NOBODY),
    "labels/runs/<int:pk>/": (TECHNICIAN, NOBODY),
    "labels/runs/<int:pk>/labels.pdf": (TECHNICIAN, NOBODY),
    "labels/runs/<int:pk>/again/": (NOBODY, TECHNICIAN),
    r"^labels/(?P<code>[^/]{1,40})\.png$": (TECHNICIAN, NOBODY),
    r"^labels/(?P<code>[^/]{1,40})\.svg$": (TECHNICIAN, NOBODY),
    "import/": (TECHNICIAN, TECHNICIAN),
    "import/example/<str:what>.<str:form>": (TECHNICIAN, NOBODY),
    "import/job/<int:job_id>/": (TECHNICIAN, NOBODY),
    "import/job/<int:job_id>/undo/": (NOBODY, TECHNICIAN),
    "import/<str:token>/": (TECHNICIAN, TECHNICIAN),
    "import/<str:token>/preview/": (TECHNICIAN, NOBODY),
    "import/<str:token>/bad.csv": (TECHNICIAN, NOBODY),
    "import/<str:token>/apply/": (NOBODY, TECHNICIAN),
    "export/": (TECHNICIAN, NOBODY),
    "export/all/": (NOBODY, OWNER),
    "export/all/<str:name>/": (OWNER, NOBODY),
    "export/<str:what>.<str:form>": (TECHNICIAN, NOBODY),
    "a/<str:code>/bad/": (HAND, HAND),
    "a/<str:code>/good/": (TECHNICIAN, TECHNICIAN),
    "faults/<int:pk>/close/": (TECHNICIAN, TECHNICIAN),
    "faults/<int:pk>/take-back/": (NOBODY, HAND),
    "a/<str:code>/tests/": (HAND, NOBODY),
    "a/<str:code>/tests/chart.json": (HAND, NOBODY),
    "a/<str:code>/tests.csv": (HAND, NOBODY),
    "a/<str:code>/sheet.pdf": (HAND, NOBODY),
    "bench/sheets/show/<int:show>.pdf": (HAND, NOBODY),
    "bench/sheets/sitting/<int:pk>.pdf": (HAND, NOBODY),
    "bench/sheets/day/<str:day>.pdf": (HAND, NOBODY),
    "a/<str:code>/repair/": (TECHNICIAN, TECHNICIAN),
    "bench/repairs/": (TECHNICIAN, NOBODY),
    "bench/repairs.csv": (TECHNICIAN, NOBODY),
    "bench/repairs/<uuid:uid>/take-back/": (NOBODY, TECHNICIAN),
    "a/<str:code>/wet/": (NOBODY, HAND),
    "bench/wet/show/<int:show>/": (NOBODY, HAND),
    "bench/wet/take-back/": (NOBODY, HAND),
    "cells/back/": (NOBODY, HAND),
    "cells/": (HAND, NOBODY),
    "cells/scan/": (HAND, NOBODY),
    "cells/between/": (HAND, NOBODY),
    "cells/stock/": (HAND, NOBODY),
    "cells/stock.csv": (HAND, NOBODY),
    "cells/stock/add/": (TECHNICIAN, TECHNICIAN),
    "cells/stock/<int:pk>/": (HAND, NOBODY),
    "cells/stock/<int:pk>/count/": (NOBODY, HAND),
    "cells/stock/<int:pk>/out/": (NOBODY, HAND),
    "cells/stock/<int:pk>/undo/": (NOBODY, HAND),
    "cells/types/": (HAND, NOBODY),
    "cells/types/add/": (TECHNICIAN, TECHNICIAN),
    "cells/types/<slug:key>/": (HAND, NOBODY),
    "cells/types/<slug:key>/edit/": (TECHNICIAN, TECHNICIAN),
    "cells/sets/": (HAND, NOBODY),
    "cells/plans/": (HAND, NOBODY),
    "cells/plans/<int:pk>/": (TECHNICIAN, TECHNICIAN),
    "cells/forecasts/": (TECHNICIAN, NOBODY),
    "a/<str:code>/cells/": (HAND, NOBODY),
    "a/<str:code>/cells/chart.json": (HAND, NOBODY),
    "a/<str:code>/cells/swap/": (HAND, HAND),
    "a/<str:code>/cells/read/": (HAND, HAND),
    "a/<str:code>/cells/hours/": (HAND, HAND),
    "a/<str:code>/cells/out/": (NOBODY, HAND),
    "a/<str:code>/cells/day-one/": (NOBODY, HAND),
    "a/<str:code>/cells/charge/": (NOBODY, HAND),
    "a/<str:code>/cells/capacity/": (HAND, HAND),
    "a/<str:code>/cells/draw/": (TECHNICIAN, TECHNICIAN),
    "a/<str:code>/cells/take-back/": (HAND, NOBODY),
    "a/<str:code>/cells/undo/": (NOBODY, HAND),
    "cells/swaps/<int:show>/": (HAND, NOBODY),
    "cells/swaps/<int:show>/scan/": (NOBODY, HAND),
    "cells/swaps/<int:show>/do/": (NOBODY, HAND),
    "cells/swaps/<int:show>/keep/": (NOBODY, TECHNICIAN),
    "cells/swaps/<int:show>/print/": (HAND, NOBODY),
    "bench/": (TECHNICIAN, NOBODY),
    "bench/paper/": (TECHNICIAN, NOBODY),
    "bench/start/": (NOBODY, TECHNICIAN),
    "bench/sittings/": (TECHNICIAN, TECHNICIAN),
    "bench/sittings/<int:pk>/": (TECHNICIAN, NOBODY),
    "bench/sittings/<int:pk>/change/": (TECHNICIAN, TECHNICIAN),
    "bench/sittings/<int:pk>/scan/": (NOBODY, TECHNICIAN),
    "bench/sittings/<int:pk>/record/": (NOBODY, TECHNICIAN),
    "bench/sittings/<int:pk>/undo/": (NOBODY, TECHNICIAN),
    "bench/sittings/<int:pk>/end/": (NOBODY, TECHNICIAN),
    "bench/tests/<uuid:uid>/": (HAND, NOBODY),
    "bench/tests/<uuid:uid>/correct/": (TECHNICIAN, TECHNICIAN),
    "bench/tests/<uuid:uid>/undo/": (NOBODY, TECHNICIAN),
    "bench/labels/": (TECHNICIAN, NOBODY),
    "bench/labels.pdf": (TECHNICIAN, NOBODY),
    "bench/instruments/": (TECHNICIAN, TECHNICIAN),
    "bench/limits/": (TECHNICIAN, TECHNICIAN),
    "bench/forecasts/": (TECHNICIAN, NOBODY),
    "bench/rules/": (TECHNICIAN, TECHNICIAN),
    "bench/rules/<int:pk>/": (OWNER, OWNER),
    "bench/rules/<int:pk>/forget/": (NOBODY, OWNER),
    "bench/wirings/": (HAND, HAND),
    "bench/wirings/add/": (TECHNICIAN, TECHNICIAN),
    "bench/wirings/<slug:key>/": (HAND, HAND),
    "bench/wirings/<slug:key>/edit/": (TECHNICIAN, TECHNICIAN),
    "bench/wirings/<slug:key>/delete/": (NOBODY, TECHNICIAN),
    "": (HAND, HAND),
    "needs/": (HAND, HAND),
    "shows/": (HAND, HAND),
    "shows/add/": (OWNER, OWNER),
    "shows/<int:pk>/": (HAND, HAND),
    "shows/<int:pk>/edit/": (OWNER, OWNER),
    "shows/<int:pk>/cancel/": (NOBODY, OWNER),
    "shows/<int:pk>/close/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/reopen/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/delete/": (NOBODY, OWNER),
    "shows/<int:pk>/pull/": (TECHNICIAN, TECHNICIAN),
    "shows/<int:pk>/pull/add/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/pull/put-back/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/pull/rig/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/pull/goes-with/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/pull/<int:row_pk>/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/advice/": (HAND, HAND),
    "shows/<int:pk>/advice/<int:line_pk>/": (HAND, TECHNICIAN),
    "shows/<int:pk>/lines/": (HAND, TECHNICIAN),
    "shows/<int:pk>/lines/paste/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/lines/copy/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/lines/undo/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/lines/keep/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/lines/upload/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/lines/lines.csv": (HAND, HAND),
    "shows/<int:pk>/lines/print/": (HAND, HAND),
    "shows/<int:pk>/make-pull/": (TECHNICIAN, TECHNICIAN),
    "shows/<int:pk>/make-pull/extra/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/ready/": (HAND, HAND),
    "shows/<int:pk>/pack/": (HAND, HAND),
    "shows/<int:pk>/pack.pdf": (HAND, HAND),
    "lists/": (HAND, HAND),
    "lists/<int:pk>/": (NOBODY, TECHNICIAN),
    "sources/": (HAND, HAND),
    "sources/add/": (TECHNICIAN, TECHNICIAN),
    "sources/<int:pk>/": (TECHNICIAN, TECHNICIAN),
    "shows/<int:pk>/phantom/<str:code>/": (NOBODY, HAND),
    "shows/<int:pk>/print/": (HAND, HAND),
    "shows/<int:pk>/load-out/": (HAND, HAND),
    "^shows/(?P<pk>[0-9]{1,15})/ticked/(?P<way>out|truck|back)/$": (TECHNICIAN, TECHNICIAN),
    "alerts/": (HAND, NOBODY),
    "alerts/rules/": (TECHNICIAN, NOBODY),
    "alerts/rules/<slug:key>/": (OWNER, OWNER),
    "alerts/deliveries/": (TECHNICIAN, NOBODY),
    "alerts/deliveries/do/": (NOBODY, TECHNICIAN),
    "me/telling/": (HAND, HAND),
    "me/telling/add/<slug:key>/": (HAND, HAND),
    "me/telling/addresses/<int:pk>/": (NOBODY, HAND),
    "alerts/<int:pk>/": (HAND, NOBODY),
    "alerts/<int:pk>/do/": (NOBODY, HAND),
    "calendar/<str:secret>.ics": (STRANGER, NOBODY),
    "me/calendar/": (HAND, NOBODY),
    "me/calendar/make/": (NOBODY, HAND),
    "me/calendar/withdraw/": (NOBODY, HAND),
    "me/calendar/mail/": (NOBODY, HAND),
    "me/calendar/file/": (HAND, NOBODY),
    "shows/<int:pk>/passes/": (TECHNICIAN, NOBODY),
    "shows/<int:pk>/passes/add/": (NOBODY, TECHNICIAN),
    "passes/<int:pk>/withdraw/": (NOBODY, TECHNICIAN),
    "passes/phones/<int:pk>/withdraw/": (NOBODY, TECHNICIAN),
    "dock-worker.js": (STRANGER, NOBODY),
    "no-signal/": (STRANGER, NOBODY),
    "shows/<int:pk>/leads/": (HAND, NOBODY),
    "shows/<int:pk>/spares/": (HAND, TECHNICIAN),
    "shows/<int:pk>/borrow/": (HAND, NOBODY),
    "shows/<int:pk>/borrow/swap/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/promised/": (HAND, NOBODY),
    "shows/<int:pk>/promised/make/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/promised/<int:line>/": (NOBODY, TECHNICIAN),
    "shelf-days/": (HAND, NOBODY),
    "shows/<int:pk>/stage/": (HAND, TECHNICIAN),
    "shows/<int:pk>/stage/undo/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/stage/spread/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/stage/keep/": (NOBODY, TECHNICIAN),
    "shows/<int:pk>/stage/print/": (HAND, NOBODY),
    "shows/<int:pk>/stage.svg": (HAND, NOBODY),
    "shows/<int:pk>/feeds/<int:feed>/pressed/": (NOBODY, HAND),
    "venues/<int:pk>/feeds/": (TECHNICIAN, TECHNICIAN),
    "venues/<int:pk>/feeds/<int:feed>/": (TECHNICIAN, TECHNICIAN),
    "dock/hello": (HAND, NOBODY),
    "dock/take-in/": (HAND, HAND),
    "phone/": (STRANGER, NOBODY),
    "phone/root.crt": (STRANGER, NOBODY),
    "pass/": (HAND, NOBODY),
    "pass/stop/": (NOBODY, STRANGER),
    "pass/<str:token>/": (STRANGER, STRANGER),
    "missing/": (HAND, HAND),
    "missing/print/": (HAND, HAND),
    "missing/<str:code>/": (NOBODY, TECHNICIAN),
    "venues/": (HAND, HAND),
    "venues/add/": (TECHNICIAN, TECHNICIAN),
    "venues/<int:pk>/": (HAND, HAND),
    "venues/<int:pk>/edit/": (TECHNICIAN, TECHNICIAN),
    "venues/<int:pk>/remark/": (NOBODY, TECHNICIAN),
    "venues/<int:pk>/delete/": (NOBODY, OWNER),
    "rigs/": (HAND, HAND),
    "rigs/add/": (NOBODY, TECHNICIAN),
    "rigs/<int:pk>/": (HAND, HAND),
    "rigs/<int:pk>/change/": (NOBODY, TECHNICIAN),
    "dock/": (HAND, HAND),
    "dock/show/": (HAND, HAND),
    "dock/turn/": (NOBODY, HAND),
    "dock/undo/": (NOBODY, HAND),
    "dock/count/": (NOBODY, HAND),
    "dock/inside/": (NOBODY, HAND),
    "dock/say/<str:code>/": (HAND, HAND),
    "dock/bag/": (NOBODY, HAND),
    "dock/swap/<str:code>/": (HAND, HAND),
    "dock/channel/": (HAND, HAND),
    "dock/stray/": (NOBODY, HAND),
    "dock/lookup": (HAND, NOBODY),
    "dock/snapshot.json": (HAND, NOBODY),
    "dock/spare": (HAND, NOBODY),
    "dock/cards/": (HAND, NOBODY),
    "shows/<int:pk>/truck/": (HAND, HAND),
    "shows/<int:pk>/straight-on/": (HAND, HAND),
    "a/<str:code>/scan": (HAND, HAND),
    "contradictions/": (TECHNICIAN, NOBODY),
    "contradictions/<int:pk>/": (TECHNICIAN, TECHNICIAN),
    "api/openapi.json": (HAND, HAND),
    "api/docs": (HAND, HAND),
    "api/items": (HAND, NOBODY),
    "api/items/<code>": (HAND, NOBODY),
    "api/shows": (HAND, NOBODY),
    "api/shows/<show_id>/pull-list": (HAND, NOBODY),
    "api/shows/<show_id>/readiness": (HAND, NOBODY),
    "api/shows/<show_id>/lines": (HAND, NOBODY),
    "api/scans": (NOBODY, HAND),
    "api/bench-tests": (NOBODY, TECHNICIAN),
    "api/cell-readings": (NOBODY, HAND),
    "api/swaps": (NOBODY, HAND),
    "api/alerts": (HAND, NOBODY),
    "api/": (NOBODY, NOBODY),
}

# what is posted, so that a refused post is a post that would have done something; empty otherwise
POSTS: dict[str, dict[str, Any]] = {
    "people/add/": {"username": "mallory", "role": "owner", "first_name": "Mallory"},
    "people/<int:person_id>/": {"username": "joss", "role": "owner", "is_active": "on", "do": "save"},
    "people/<int:person_id>/password/": {},
    "settings/country/": {"country": "DE"},
    "gear/add/": {"type": "{type}", "count": "3"},
    "types/add/": {"kind": "lead", "name": "Odd lead"},
    "types/<int:pk>/delete/": {},
    "a/<str:code>/retire/": {"because": "sold"},
    "a/<str:code>/lend/": {"to": "the chapel", "do": "lend"},
    "a/<str:code>/good/": {"why": "looks right", "how": "looks right", "note": "looks right", "words": "looks right"},
    "shelf/<int:pk>/lost/": {"lost-show": "{out}", "lost-count": "2"},
    "shelf/<int:pk>/recount/": {"recount-on_shelf": "3"},
    "shelf/<int:pk>/label/": {},
    "labels/print/": {"what": "codes", "codes": "{code}", "token": "5f4dcc3b-5aa7-4d61-9d83-27deb882cf99"},
    "labels/runs/<int:pk>/again/": {},
    "a/<str:code>/repair/": {"did": "soldered at A", "done_on": "2026-01-09"},
    "bench/repairs/<uuid:uid>/take-back/": {},
    "faults/<int:pk>/close/": {"how": "a dry joint, soldered", "closed_how": "a dry joint, soldered", "note": "soldered"},
    "bench/instruments/": {"measures": "ohms"},
    "bench/sittings/": {"depth": "ohms", "minutes": "60"},
    "bench/sittings/<int:pk>/change/": {"depth": "lamps", "minutes": "60"},
    "bench/sittings/<int:pk>/scan/": {"scan": "TEST.UNDO"},
    "bench/sittings/<int:pk>/record/": {"code": "{code}", "word": "good"},
    "cells/stock/add/": {"type": "{cell}", "count": "12"},
    "cells/stock/<int:pk>/count/": {"count": "7"},
    "cells/stock/<int:pk>/out/": {"count": "1", "to": "recycle"},
    "cells/stock/<int:pk>/undo/": {"uid": "0c0ffee0-0000-4000-8000-000000000001"},
    "cells/plans/<int:pk>/": {
        "load": "current",
        "draw": "4.1",
        "sigma": "0.15",
        "standby_ma": "0",
        "cells_a_bay": "1",
        "stored_weeks": "4",
    },
    "a/<str:code>/cells/swap/": {"what": "lot.{lot}", "reason": "precaution"},
    "a/<str:code>/cells/read/": {"volts": "8.1", "load": "on"},
    "a/<str:code>/cells/hours/": {"why": "logged", "hours": "3"},
    "a/<str:code>/cells/out/": {},
    "a/<str:code>/cells/draw/": {"draw": "4.2"},
    "bench/sittings/<int:pk>/undo/": {"uid": "{test}"},
    "bench/sittings/<int:pk>/end/": {},
    "bench/tests/<uuid:uid>/correct/": {"word": "bad"},
    "bench/tests/<uuid:uid>/undo/": {},
    "bench/wirings/add/": {"name": "Odd lead", "ends": "A: plug: 1 2\nB: plug: 1 2", "nets": "A1=B1"},
    "bench/wirings/<slug:key>/delete/": {},
    "shows/add/": {"name": "Barn dance", "load_in": "2027-05-07T16:00", "start": "2027-05-07T19:00", "end": "2027-05-07T23:00"},
    "shows/<int:pk>/cancel/": {},
    "shows/<int:pk>/delete/": {},
    "shows/<int:pk>/pull/add/": {"what": "{typename}", "count": "2"},
    "shows/<int:pk>/pull/rig/": {"rig": "rig:{rig}"},
    "shows/<int:pk>/pull/<int:row_pk>/": {"do": "remove"},
    "shows/<int:pk>/advice/<int:line_pk>/": {"do": "set", "feed": "cells", "phantom": "", "whose": "ours"},
    "shows/<int:pk>/lines/": {"grid": "1\tKick\n2\tSnare\n"},
    "shows/<int:pk>/lines/copy/": {"from": "list:{kept}", "how": "append"},
    "shows/<int:pk>/lines/undo/": {},
    "shows/<int:pk>/make-pull/": {"do": "bring-back", "key": "desk"},
    "shows/<int:pk>/lines/keep/": {"name": "Kept again"},
    "lists/<int:pk>/": {"do": "delete"},
    "sources/add/": {"name": "Nyckelharpa", "family": "strings", "way": "acoustic", "sort": "resistive", "lines": "1"},
    "sources/<int:pk>/": {"name": "Voice, ours", "family": "voice", "way": "acoustic", "sort": "resistive", "lines": "1"},
    "missing/<str:code>/": {"do": "missing"},
    "me/telling/": {"digest_at": "09:00"},
    "me/telling/add/<slug:key>/": {"email": "odd@example.org"},
    "alerts/<int:pk>/do/": {"what": "seen-to"},
    "alerts/rules/<slug:key>/": {"how": "digest", "role": "hand"},
    "venues/add/": {"name": "Odd hall"},
    "venues/<int:pk>/remark/": {"words": "a low door"},
    "rigs/add/": {"name": "Odd rig"},
    "rigs/<int:pk>/change/": {"do": "delete"},
    "contradictions/<int:pk>/": {"decided": "the scan is right", "said": "the scan is right"},
}

# addresses that answer 404 in this shop: no photo was taken, no file made, no import ran
EMPTY_HANDED = {
    "pass/<str:token>/",
    "phone/root.crt",
    "a/<str:code>/photo/",
    "calendar/<str:secret>.ics",
    "status/backups/<str:name>/",
    "export/all/<str:name>/",
    "jobs/<int:job_id>/file/",
    "import/job/<int:job_id>/",
}


def addresses(patterns: Any = None, before: str = "") -> Iterator[str]:
    """Yield every address of the program as its pattern is written."""
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        written = before + str(pattern.pattern)
        if isinstance(pattern, URLResolver):
            yield from addresses(pattern.url_patterns, written)
        else:
            yield written


class World:
    """A shop in which every address leads somewhere."""

    def __init__(self) -> None:
        at = now()
        BenchSettings.current()
        self.wiring = Wiring.objects.create(
            key="odd", name="Odd", ends="A: plug: 1 2\nB: plug: 1 2", nets="A1=B1 | A2=B2", source="measured"
        )
        self.people = {role: make_person(role, username=f"a-{role}") for role in (HAND, TECHNICIAN, OWNER)}
        owner = self.people[OWNER]
        self.other = make_person("hand", username="joss")
        self.item, self.case, self.place = make_item(name="A"), make_case(name="4"), make_place()
        placement_record(uid=uuid.uuid4(), item=self.item, case=self.case, effective_at=at - timedelta(days=1))
        self.type, self.line = make_type(Kind.MICROPHONE), make_counted_line(24)
        self.move = CountMove.objects.get(line=self.line)
        self.venue = make_venue()
        self.show = make_show(load_in=at + timedelta(hours=3), venue=self.venue)
        self.elsewhere = make_show(load_in=at + timedelta(days=9))
        count_out(uid=uuid.uuid4(), line=self.line, show=self.elsewhere.pk, count=6, at=at, person=owner)
        self.row = make_pull_row(self.show, type=self.item.type, count=2)
        self.rig = Rig.objects.create(name="Small desk")
        RigRow.objects.create(rig=self.rig, type=self.item.type)
        self.source = make_source(name="Voice")
        self.kept = ListTemplate.objects.create(name="Ours", lines=[{"source": "Voice", "kind": self.source.key}])
        lines_save(show=self.show, rows=[Line(number=5, source="Lead vocal")], person=owner, at=at)
        self.stray = Stray.objects.create(what="short grey lead", found_at=at)
        self.run = LabelRun.objects.create(
            printed_at=at, person=owner, sheet="a4-boxes", count=1, codes=[self.item.code], given={}
        )
        self.jobs = {
            role: Job.objects.create(kind="nothing", title="A job", person=p, made_at=at) for role, p in self.people.items()
        }
        self.fault = fault_open(uid=uuid.uuid4(), item=self.item, symptom="crackles", at=at, person=owner)
        self.sitting = Sitting.objects.create(person=owner, began_at=at)
        tested = Given(
            uid=uuid.uuid4(),
            item=self.item,
            procedure=Procedure.WORD,
            depth=Depth.LAMPS,
            done_at=at,
            word=True,
            sitting=self.sitting,
        )
        self.test = test_record(given=tested, person=owner, received_at=at).test
        self.repair = Repair.objects.create(uid=uuid.uuid4(), item=self.item, done_at=at, person=owner, did="soldered")
        self.box, self.lot = make_box(name="Z"), make_lot(24)
        fit_cells(self.box, at=at - timedelta(days=2), lot=self.lot)
        counted = uuid.UUID("0c0ffee0-0000-4000-8000-000000000001")
        CellMove.objects.create(uid=counted, lot=self.lot, delta=-1, why=CellMove.Why.COUNTED, at=at, person=self.people[HAND])
        self.alert = Alert.objects.create(
            rule="not-home", subject="show:1", occasion="show:1", title="Odd", says="Odd.", url="/", role=HAND, raised_at=at
        )
        self.feed = VenueFeed.objects.create(venue=self.venue, name="Stage left", residual=True)
        self.crew_pass, _token = pass_make(show=self.show, person=owner, at=at)
        self.phone, _cookie = pass_start(crew_pass=self.crew_pass, name="Kim", at=at)
        self.contradiction = Contradiction.objects.create(
            item=self.item, scan_uid=uuid.uuid4(), kind="elsewhere", said="Two said otherwise.", happened_at=at, show=self.show
        )

    def path(self, address: str, role: str = OWNER, given: Callable[[str, Any], Any] = lambda _name, real: real) -> str:
        """Return the address with what this shop has in its places, or with what `given` puts there instead."""
        has: dict[str, Any] = {
            "token_id": 4_000,
            "person_id": self.other.pk,
            "job_id": self.jobs.get(role, self.jobs[OWNER]).pk,
            "code": self.item.code,
            "uid": self.move.uid,
            "token": "a" * 32,
            "secret": "a" * 43,
            "name": "knowngood-20260101-020000.zip",
            "key": self.wiring.key,
            "what": "gear",
            "form": "csv",
            "row_pk": self.row.pk,
            "feed": self.feed.pk,
            "line": InputLine.objects.get(show=self.show).pk,
            "line_pk": InputLine.objects.get(show=self.show).pk,
            "way": "out",
            "show_id": self.show.pk,
            "show": self.show.pk,
            "day": a_day().isoformat(),
        }
        owners = {
            "types/": self.type,
            "bench/rules/": self.item.type,
            "labels/runs/": self.run,
            "passes/": self.crew_pass,
            "passes/phones/": self.phone,
            "shelf/": self.line,
            "strays/": self.stray,
            "places/": self.place,
            "contradictions/": self.contradiction,
            "alerts/": self.alert,
            "shows/": self.show,
            "venues/": self.venue,
            "rigs/": self.rig,
            "lists/": self.kept,
            "sources/": self.source,
            "faults/": self.fault,
            "cells/stock/": self.lot,
            "cells/plans/": self.box.type,
            "bench/sheets/sitting/": self.sitting,
            "bench/sittings/": self.sitting,
        }
        for start, one in owners.items():
            if address.lstrip("^").startswith(start):
                has["pk"] = one.pk
        if address.startswith("cases/"):
            has["code"] = self.case.code
        if address.startswith("a/<str:code>/cells/"):
            has["code"] = self.box.code
        if address.startswith("me/telling/"):
            has["key"], has["pk"] = "email", 4_000
        if address.startswith("alerts/rules/"):
            has["key"] = "not-home"
        if address.startswith("cells/types/"):
            has["key"] = self.lot.type.key
        if address.startswith("bench/repairs/"):
            has["uid"] = self.repair.uid
        if address.startswith("bench/tests/"):
            has["uid"] = self.test.uid
        plain = address.lstrip("^").rstrip("$").replace("\\.", ".")
        plain = re.sub(r"\(\?P<(\w+)>(?:[^()]|\([^()]*\))*\)", r"<\1>", plain)
        return "/" + re.sub(r"<(?:\w+:)?(\w+)>", lambda m: str(given(m[1], has[m[1]])), plain)


@pytest.fixture(scope="module")
def built(django_db_setup, django_db_blocker):
    """Build the shop once for all the walks: it takes longer than most of them."""
    with django_db_blocker.unblock(), transaction.atomic():
        make_company()
        yield World()
        transaction.set_rollback(True)


@pytest.fixture
def world(built, db):
    """The shop, for one test; what the test writes is rolled back."""
    pulse_write(name=WORKER, at=now())  # or nothing is ready, and it is not ready for long
    return built


def client_of(world: World, role: str) -> Client:
    return Client() if role == STRANGER else signed_in(world.people[role])


def refused(answer: Any) -> bool:
    """Say whether an answer turns the asker away: to the door, or with 401 or 403."""
    to_the_door = answer.status_code == 302 and answer["Location"].startswith("/sign-in/?next=")
    return to_the_door or answer.status_code in {401, 403}


def may(role: str, least: str) -> bool:
    return least == STRANGER or (role != STRANGER and at_least(role, least))


def filled(given: dict[str, Any], world: World) -> dict[str, Any]:
    """Return a form with this shop's keys in it."""
    keys = {
        "type": world.type.pk,
        "typename": world.type.name,
        "code": world.item.code,
        "rig": world.rig.pk,
        "kept": world.kept.pk,
        "out": world.elsewhere.pk,
        "lot": world.lot.pk,
        "cell": world.lot.type_id,
        "test": world.test.uid,
    }
    return {"uid": str(uuid.uuid4())} | {name: value.format(**keys) for name, value in given.items()}


def test_the_table_names_every_address_and_no_other():
    assert sorted(addresses()) == sorted(WHO_MAY)


def record() -> dict[str, list[tuple]]:
    """Return all that is on record, but for who is signed in and the clocks of people and tokens."""
    left_out = {"session", "accesslog", "accessattempt"}
    return {
        model._meta.label: sorted(map(repr, model._default_manager.order_by().values_list(*columns(model))))
        for model in apps.get_models()
        if model._meta.model_name not in left_out
    }


def columns(model: Any) -> list[str]:
    return [f.attname for f in model._meta.concrete_fields if f.attname not in {"last_login", "used_at", "last_seen_at"}]


@pytest.mark.parametrize("role", EVERYBODY)
def test_who_may_open_an_address_and_opening_changes_nothing(world, role):
    client, before, wrong = client_of(world, role), record(), []
    for address, (least, _post) in WHO_MAY.items():
        answer = client.get(world.path(address, role))
        if least is NOBODY:
            right = refused(answer) or answer.status_code == 405 or (address == "api/" and answer.status_code == 404)
        elif may(role, least):
            right = not refused(answer) and answer.status_code in ({404} if address in EMPTY_HANDED else {200, 302})
        else:
            right = refused(answer)
        if not right:
            wrong.append((address, answer.status_code))
    assert wrong == []
    assert record() == before


@pytest.mark.parametrize("role", [STRANGER, HAND, TECHNICIAN])
def test_a_post_from_somebody_who_may_not_is_refused_and_changes_nothing(world, role):
    client, before, wrong = client_of(world, role), record(), []
    for address, (_get, least) in WHO_MAY.items():
        if least is not NOBODY and may(role, least):
            continue
        answer = client.post(world.path(address, role), filled(POSTS.get(address, {}), world))
        if not (refused(answer) or (least is NOBODY and answer.status_code in {404, 405})):
            wrong.append((address, answer.status_code))
    assert wrong == []
    assert record() == before


@pytest.mark.parametrize("address", sorted(a for a, (_get, post) in WHO_MAY.items() if post is not NOBODY))
def test_who_may_post_is_let_in(world, address):
    least = WHO_MAY[address][1]
    role = least if least != STRANGER else HAND
    answer = client_of(world, role).post(world.path(address, role), filled(POSTS.get(address, {}), world))
    assert not refused(answer)
    assert answer.status_code < 500 and answer.status_code != 405


@pytest.mark.parametrize("address", sorted(POSTS))
def test_what_the_walk_posts_would_have_changed_the_record(world, address):
    before = record()
    role = WHO_MAY[address][1]
    client_of(world, role).post(world.path(address, role), filled(POSTS[address], world))
    assert record() != before


def test_a_hand_says_what_is_bad_of_a_counted_line_and_enters_nothing_else(world):
    hand, path = client_of(world, HAND), f"/shelf/{world.line.pk}/change/"
    before = CountMove.objects.count()
    for what in ("bought", "mended", "thrown-away", "thrown-away-good"):
        hand.post(path, {"change-what": what, "change-count": "3", "uid": str(uuid.uuid4())})
    hand.post(f"/shelf/{world.line.pk}/undo/{world.move.uid}/")
    assert CountMove.objects.count() == before
    hand.post(path, {"change-what": "found-bad", "change-count": "3", "uid": str(uuid.uuid4())})
    assert CountMove.objects.count() > before


def test_a_hand_sees_no_job_of_another(world):
    theirs = world.jobs[OWNER].pk
    assert client_of(world, HAND).get(f"/jobs/{theirs}/").status_code == 404
    assert client_of(world, TECHNICIAN).get(f"/jobs/{theirs}/").status_code == 200


# as figures of their own: a measured time, or a token, may hold the same digits inside
PRICES = re.compile(rb"(?<![0-9A-Za-z.])(987\.65|98765|876\.54|87654)(?![0-9A-Za-z])")


def test_prices_are_seen_by_owners_only(world):
    type(world.item).objects.filter(pk=world.item.pk).update(price_cents=98_765)
    GearType.objects.filter(pk=world.item.type_id).update(replacement_cents=87_654)
    shown = {}
    for role in (HAND, TECHNICIAN, OWNER):
        client = client_of(world, role)
        pages = [client.get(world.path(a, role)) for a, (get, _) in WHO_MAY.items() if get is not NOBODY and may(role, get)]
        texts = [b"".join(p.streaming_content) if p.streaming else p.content for p in pages]
        shown[role] = any(PRICES.search(text) for text in texts)
    assert shown == {HAND: False, TECHNICIAN: False, OWNER: True}


# ---- odd values -----------------------------------------------------------------------------------------------------

ODD = [
    "",
    "\0",
    "a\0b",
    "x" * 4096,
    "-1",
    "0",
    "1" + "0" * 30,
    "-1" + "0" * 30,
    "9223372036854775808",
    "1e400",
    "NaN",
    "٣",
    "²",
    "\U0001f39b\ufe0f",
    "\u202e\u0301",
    "'\"--;<b>%s{{7*7}}",
    "../../etc/passwd",
    "1,2,3",
    "%00",
    "0001-01-01",
    "9999-12-31",
    "2026-02-30",
    "AAAAAAAA",
]
BELOW_500 = {200, 302, 301, 303, 304, 400, 403, 404, 405, 413, 414, 422}


def readable() -> list[str]:
    return sorted(a for a, (get, _post) in WHO_MAY.items() if get is not NOBODY)


@contextmanager
def watched_words() -> Iterator[set[str]]:
    """Note which words of a question the pages look at."""
    seen: set[str] = set()

    class Watched(QueryDict):
        def __getitem__(self, key):
            seen.add(key)
            return super().__getitem__(key)

        def __contains__(self, key):
            seen.add(key)
            return super().__contains__(key)

        def get(self, key, default=None):
            seen.add(key)
            return super().get(key, default)

        def getlist(self, key, default=None):
            seen.add(key)
            return super().getlist(key, default)

    def read(request):
        question = Watched(request.META.get("QUERY_STRING", ""))
        seen.clear()  # reading it in looks at every word
        return question

    asked = cached_property(read)
    asked.__set_name__(WSGIRequest, "GET")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(WSGIRequest, "GET", asked)
        yield seen


WORDS: dict[str, list[str]] = {}  # by address: the words its page looks at, found once


def words_of(world) -> dict[str, list[str]]:
    """Find the words each page looks at: asked nothing, then with every word that any page knows."""
    if WORDS:
        return WORDS
    client, found = client_of(world, OWNER), {address: set() for address in readable()}
    client.raise_request_exception = False
    for _round in (1, 2):
        known = {word: "1" for words in found.values() for word in words}
        for address, words in found.items():
            with watched_words() as seen:
                client.get(world.path(address), known)
            words |= seen
    WORDS.update({address: sorted(words) for address, words in found.items() if words})
    return WORDS


def oddly(world, asked: Iterable[tuple[str, dict[str, str]]]) -> list[tuple[str, dict[str, str], int]]:
    """Ask each page its question; return those that broke."""
    client, wrong = client_of(world, OWNER), []
    client.raise_request_exception = False
    for address, question in asked:
        answer = client.get(world.path(address), question)
        if answer.status_code not in BELOW_500:
            wrong.append((address, question, answer.status_code))
    return wrong


def test_the_words_pages_look_at_are_found(world):
    words = words_of(world)
    assert {"page", "q", "sort", "type", "per_page"} <= set(words["gear/"]) and {"days", "from"} <= set(words["shelf-days/"])
    assert sum(map(len, words.values())) > 150 and len(words) < len(readable())


@pytest.mark.parametrize("turn", range(len(ODD)))
def test_no_odd_question_breaks_a_page(world, turn):
    """Over all turns each word of each page meets each odd value, beside other odd ones."""
    assert not oddly(
        world,
        (
            (address, {word: ODD[(turn + 7 * number) % len(ODD)] for number, word in enumerate(words)})
            for address, words in words_of(world).items()
        ),
    )


@pytest.mark.parametrize("value", ["\0", "x" * 4096, "1" + "0" * 30, "²", "9999-12-31", "-1"], ids=lambda v: ascii(v)[:24])
def test_no_one_odd_word_breaks_a_page(world, value):
    """A word refused first hides no other: each meets the worst values alone."""
    assert not oddly(world, ((address, {word: value}) for address, words in words_of(world).items() for word in words))


@pytest.mark.parametrize(
    "value",
    ["\0", "x" * 4096, "-1", "1" + "0" * 30, "9223372036854775808", "²", "\U0001f39b", "'\"--%s"],
    ids=lambda v: ascii(v)[:24],
)
def test_no_odd_address_breaks_the_program(world, value):
    client, wrong = client_of(world, OWNER), []
    client.raise_request_exception = False
    for address in WHO_MAY:
        if "<" not in address:
            continue
        path = world.path(address, given=lambda _name, _real: quote(value, safe=""))
        for method in (client.get, client.post):
            answer = method(path)
            if answer.status_code not in BELOW_500:
                wrong.append((path[:60], answer.status_code))
    assert wrong == []
