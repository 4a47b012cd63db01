"""The pack: one set of words for the page and the PDF, searchable, on both papers, with a card that scans."""

import time

import pypdfium2
import pytest
import zxingcpp
from django.db import connection
from django.test.utils import CaptureQueriesContext

from company.models import Company
from inventory.models import GearType
from shows.models import InputLine, SourceType, StagePlace, VenueFeed
from shows.pdf.pack import pack_pdf
from shows.planning.pack import pack_of
from shows.services.pull_made import pull_make
from tests.builders import NOW, make_item, make_person, make_pull_row, make_show, make_venue


@pytest.fixture
def house(catalogue, company):
    for key in ("mic-dynamic-vocal", "active-box-piezo"):
        for _ in range(4):
            make_item(type=GearType.objects.get(key=key))
    return make_show(name="Lantern walk", venue=make_venue(name="Lower mill", remarks="Hums with the lights on."))


def fill(show, count):
    feed = VenueFeed.objects.create(venue=show.venue, name="Stage left", amps=16, residual=True)
    place = StagePlace.objects.create(show=show, name="Front", x_mm=2000, y_mm=1000, feed=feed)
    StagePlace.objects.create(show=show, name="Mix", sort="mix", x_mm=2000, y_mm=-9000)
    kinds = [SourceType.objects.get(key=key) for key in ("voice", "fiddle-piezo")]
    InputLine.objects.bulk_create(
        InputLine(show=show, number=n, source=f"Source {n}", type=kinds[n % 2], place=place, player="Fern")
        for n in range(1, count + 1)
    )


def text_of(pdf):
    pages = [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(pdf)]
    return " ".join(" ".join(pages).split())


def test_the_pdf_says_in_real_text_all_that_the_crew_needs(house):
    fill(house, 6)
    pull_make(show=house, person=None, at=NOW)
    text = text_of(pack_pdf(pack_of(house, NOW), company=Company.current()))
    for words in (
        "LANTERN WALK",
        "Source 5",
        "Active piezo direct box",
        "Hums with the lights on.",
        "PATCH",
        "Seen from above",
        "Front: 1, 2",
        "PULL LIST",
        "not pressed yet",
        "mute before plugging",
        "declares nothing safe",
        "15 m",  # 10 m straight, by a route a third longer, with 2 m of slack
        "page 1 of ",
    ):
        assert words in text, words


def test_every_page_but_the_first_carries_the_show_and_its_times(house):
    fill(house, 48)
    pages = [
        p.get_textpage().get_text_range()
        for p in pypdfium2.PdfDocument(pack_pdf(pack_of(house, NOW), company=Company.current()))
    ]
    assert len(pages) > 2 and all("Lantern walk: load-in " in page and "home by" in page for page in pages[1:])


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("letter", (612, 792))])
def test_it_comes_on_the_company_s_paper(house, paper, size):
    company = Company.current()
    company.paper = paper
    page = pypdfium2.PdfDocument(pack_pdf(pack_of(house, NOW), company=company))[0]
    assert tuple(round(side) for side in page.get_size()) == size


def test_its_card_scans_and_sets_the_dock_to_the_show(house):
    page = pypdfium2.PdfDocument(pack_pdf(pack_of(house, NOW), company=Company.current()))[0]
    read = zxingcpp.read_barcodes(page.render(scale=3).to_pil(), formats=zxingcpp.BarcodeFormat.QRCode)
    assert [one.text for one in read] == [f"GO.{house.pk}.OUT"]


def test_the_pack_of_48_lines_takes_less_than_three_seconds(house):
    fill(house, 48)
    pull_make(show=house, person=None, at=NOW)
    began = time.process_time()
    pack_pdf(pack_of(house, NOW), company=Company.current())
    assert time.process_time() - began < 3


def test_a_pack_asks_the_same_number_of_queries_for_two_lines_and_for_48(house):
    counts = []
    fill(house, 2)
    for more in ((), range(3, 49)):
        kind = SourceType.objects.get(key="voice")
        for number in more:
            InputLine.objects.create(show=house, number=number, source=f"Source {number}", type=kind)
        with CaptureQueriesContext(connection) as caught:
            pack_of(house, NOW)
        counts.append(len(caught))
    assert counts[0] == counts[1]


def test_what_it_costs_to_replace_is_for_those_who_may_see_prices(house, client):
    microphone = GearType.objects.get(key="mic-dynamic-vocal")
    GearType.objects.filter(pk=microphone.pk).update(replacement_cents=9900)
    fill(house, 2)
    pull_make(show=house, person=None, at=NOW)
    for role, seen in (("hand", False), ("technician", True)):
        client.force_login(make_person(role))
        assert ("to replace" in client.get(f"/shows/{house.pk}/pack/").content.decode()) is seen
        assert ("to replace" in text_of(client.get(f"/shows/{house.pk}/pack.pdf").content)) is seen


def test_an_empty_show_has_a_pack_that_says_so(house, client):
    client.force_login(make_person("hand"))
    page = client.get(f"/shows/{house.pk}/pack/").content.decode()
    assert "Nobody has written an input list yet." in page and "The pull list asks for nothing yet." in page
    assert client.get(f"/shows/{house.pk}/pack.pdf")["Content-Type"] == "application/pdf"


def test_leads_of_one_line_say_once_what_they_are_for(house):
    lead = GearType.objects.get(key="lead-mic")
    for _ in range(3):
        make_item(type=lead, length_mm=10_000)
    make_pull_row(house, type=lead, length_mm=10_000, count=3, reason="runs of the plan")
    pull = next(part for part in pack_of(house, NOW).parts if part.key == "pull")
    (whys,) = [[row[3] for row in table.rows] for table in pull.tables]
    assert "runs of the plan" in whys[0] and whys[1:] == ["as above", "as above"]
