"""The look holds: no sideways scroll, targets for thumbs, labels on fields, contrast, focus, paper, forced colours."""

import re
from io import BytesIO
from pathlib import Path

import pypdfium2 as pdfium
import pytest
from django.conf import settings

from company.clock import now
from company.models import Person
from inventory.calc.kinds import Kind
from inventory.models import CountedLine, Item
from maintenance.models import Alert
from maintenance.services.alerts import alerts_run
from shows.models import Show
from tests.builders import make_item

TAPE = Path(settings.BASE_DIR) / "company" / "static" / "company" / "tape.css"

# token, the ground it is read on, the least contrast; words 4.5, lines that mean something 3 (WCAG 2.2, 1.4.3 and 1.4.11)
READ_ON = [
    ("chalk", "desk", 4.5),
    ("chalk", "well", 4.5),
    ("chalk", "ghost", 4.5),
    ("chalk-2", "desk", 4.5),
    ("chalk-2", "well", 4.5),
    ("chalk-2", "ghost", 4.5),
    ("line", "desk", 3.0),
    ("line", "well", 3.0),
    ("ink", "tape", 4.5),
    ("ink", "tape-old", 4.5),
    ("ink-2", "tape", 4.5),
    ("ink-2", "tape-old", 4.5),
    ("ink-line", "tape", 3.0),
    ("on-next", "next", 4.5),
    ("on-gaff", "gaff", 4.5),
    ("on-gaff-2", "gaff", 4.5),
]


def tokens(theme: str) -> dict[str, str]:
    """Return a theme's colours from the style sheet; paper takes over what it does not say from dark."""
    sheet = TAPE.read_text()
    blocks = re.findall(r":root(\[data-theme=\"paper\"\])? \{(.*?)\n  \}", sheet, re.DOTALL)
    found: dict[str, str] = {}
    for paper, body in blocks:
        if not paper or theme == "paper":
            found |= dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", body))
    return found


def luminance(colour: str) -> float:
    """Return the relative luminance of #rrggbb (WCAG 2.2, definition of relative luminance)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_is_reckoned_as_the_standard_says():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize("theme", ["dark", "paper"])
@pytest.mark.parametrize(("token", "ground", "least"), READ_ON)
def test_words_and_lines_stand_out_from_their_ground(theme, token, ground, least):
    colours = tokens(theme)
    assert contrast(colours[token], colours[ground]) >= least


def test_the_two_themes_are_two():
    assert tokens("dark")["desk"] != tokens("paper")["desk"]


# ---- pages ----------------------------------------------------------------------------------------------------------

HERE = pytest.mark.django_db(transaction=True)


@pytest.fixture
def demo(demo_company):
    """Return the pages of the invented company to look at."""
    item = Item.objects.filter(suspect_since__isnull=False).order_by("pk").first() or make_item()
    case = Item.objects.filter(type__kind=Kind.CASE).order_by("pk")[2]
    show = Show.objects.get(name="Harvest ceilidh")
    alerts_run(at=now())
    alert = Alert.objects.filter(digest=False).order_by("pk")[0]
    on = Show.objects.get(name="Quarry street fair")
    box = Item.objects.filter(type__cell_size="6LR61", type__kind=Kind.INTERFACE_BOX).order_by("pk")[0]
    return [
        "/", "/needs/", "/shows/", f"/shows/{on.pk}/", f"/shows/{show.pk}/pull/", "/shows/add/", "/gear/", "/gear/add/",
        f"/a/{item.code}", f"/a/{item.code}/bad/", f"/a/{item.code}/tests/", f"/a/{item.code}/repair/",
        "/bench/repairs/", "/types/", f"/types/{item.type_id}/", "/find/?q=direct",
        "/shelf/", f"/shelf/{CountedLine.objects.order_by('pk')[0].pk}/",
        "/cases/", f"/cases/{case.code}/", "/strays/", "/places/", "/shopping/", "/labels/", "/labels/bind/", "/import/",
        "/export/", "/people/", "/settings/", "/change-log/", "/jobs/", "/me/", "/shop/", "/missing/", "/venues/", "/rigs/",
        "/alerts/", "/alerts/rules/", "/alerts/rules/not-home/", "/alerts/deliveries/", f"/alerts/{alert.pk}/", "/status/",
        "/me/telling/", "/me/telling/add/email/", "/me/telling/add/telegram/", "/me/calendar/",
        "/contradictions/", "/dock/show/", "/dock/cards/", f"/shows/{on.pk}/truck/", f"/shows/{on.pk}/straight-on/",
        f"/shows/{show.pk}/ticked/out/", "/bench/sittings/", "/bench/labels/", f"/shows/{show.pk}/print/",
        f"/shows/{show.pk}/lines/", f"/shows/{show.pk}/lines/print/", "/lists/", "/sources/", "/sources/add/",
        f"/dock/?show={show.pk}",
        "/bench/", f"/bench/?show={show.pk}", "/bench/paper/", "/bench/instruments/", "/bench/limits/", "/bench/wirings/",
        "/bench/wirings/three-pin/", "/bench/wirings/add/?from=three-pin", "/bench/rules/", f"/bench/rules/{item.type_id}/",
        "/bench/forecasts/",
        "/cells/", "/cells/between/", "/cells/stock/", "/cells/stock/add/", "/cells/types/", "/cells/types/6LR61/",
        "/cells/types/6LR61/edit/", "/cells/sets/", "/cells/plans/", f"/cells/plans/{box.type_id}/", "/cells/forecasts/",
        f"/a/{box.code}/cells/", f"/a/{box.code}/cells/swap/", f"/a/{box.code}/cells/read/", f"/a/{box.code}/cells/hours/",
        f"/a/{box.code}/cells/draw/", f"/cells/swaps/{show.pk}/", f"/cells/swaps/{show.pk}/print/",
    ]  # fmt: skip


LOOKED = (Path(__file__).parent / "look.js").read_text()


@HERE
@pytest.mark.parametrize("theme", ["dark", "paper"])
def test_every_page_fits_and_can_be_reached_and_read(demo, open_page, theme):
    page = open_page(Person.objects.get(username="owner"), theme=theme)
    said = []
    for path in demo:
        for width in (390, 320, 1024, 1440):
            page.set_viewport_size({"width": width, "height": 844})
            if width == 390:
                answer = page.goto(path)
                page.evaluate("document.fonts.ready")
                said += [] if answer.status == 200 else [(path, answer.status)]
                said += [(path, what) for what in page.evaluate(LOOKED, path.startswith("/dock/?"))]
            across = page.evaluate("document.documentElement.scrollWidth")
            if across > width:
                said.append((path, f"{across} px wide at {width}"))
    assert said == []


@HERE
def test_both_typefaces_are_our_own_and_load(company, open_page):
    page = open_page(None)
    page.goto("/sign-in/")
    loaded = page.evaluate(
        "Promise.all([...document.fonts].map((font) => font.load())).then((all) => all.map((f) => f.family))"
    )
    assert sorted(loaded) == ["Marker", "Stamp"]
    assert page.evaluate("getComputedStyle(document.querySelector('h1 .name')).fontFamily").startswith("Marker")


@HERE
def test_the_focus_is_seen_wherever_tab_goes(demo, open_page):
    page = open_page(Person.objects.get(username="owner"), width=1440)
    unseen = []
    for path in demo[:6]:
        page.goto(path)
        page.evaluate("document.activeElement.blur()")
        for _ in range(12):
            page.keyboard.press("Tab")
            drawn = page.evaluate(
                """() => { const e = document.activeElement, s = getComputedStyle(e);
                return e === document.body || (s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2)
                  || s.boxShadow !== 'none' || e.outerHTML.slice(0, 120); }"""
            )
            if drawn is not True:
                unseen.append((path, drawn))
    assert unseen == []


@HERE
def test_a_printed_pull_list_keeps_its_words(demo, open_page):
    page = open_page(Person.objects.get(username="owner"), width=1440)
    path = next(p for p in demo if p.endswith("/print/"))
    page.goto(path)
    shown = page.locator("main h1, main h2").first.inner_text()
    with pdfium.PdfDocument(BytesIO(page.pdf(format="A4"))) as document:
        words = " ".join(sheet.get_textpage().get_text_range() for sheet in document)
    assert shown.lower() in " ".join(words.split()).lower()
    assert "Pull list" in words
    assert "Sign out" not in words


@HERE
def test_forced_colours_and_less_motion_leave_the_words(demo, open_page):
    page = open_page(Person.objects.get(username="owner"), width=390)
    page.emulate_media(forced_colors="active", reduced_motion="reduce")
    for path in (demo[0], demo[8], demo[-1]):
        page.goto(path)
        assert page.locator("h1").first.is_visible()
        moving = page.evaluate(
            """[...document.querySelectorAll('a, button')].filter((e) => parseFloat(getComputedStyle(e).transitionDuration) > 0
            || getComputedStyle(e).animationName !== 'none').length"""
        )
        assert moving == 0
        assert page.evaluate("document.documentElement.scrollWidth") <= 390
        edge = page.evaluate(
            "(() => { const s = document.querySelector('.strip'); return getComputedStyle(s).borderStyle; })()"
        )
        assert edge != "none"
