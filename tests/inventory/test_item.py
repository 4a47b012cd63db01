"""The item page and what is done with one item."""

import io
import uuid
from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from PIL import Image

from inventory.calc import codes
from inventory.calc.kinds import Kind
from inventory.life import life_rows
from inventory.models import Item, Label
from inventory.registries import LifeEntry
from inventory.services import items as services
from inventory.services import photos
from inventory.services.items import GearRefused
from tests.builders import NOW, a_day, make_case, make_item, make_place, make_type

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def own_media(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path


def test_code_is_read_in_any_dress_and_leads_to_one_address(as_hand):
    item = make_item(code="0000ABC" + codes.check_character("0000ABC"))
    for text in (codes.spell(item.code), item.code.lower(), "oooo-" + item.code[4:].lower()):
        assert as_hand.get(f"/a/{text}").url == f"/a/{item.code}"
    assert as_hand.get(f"/A/{item.code}").status_code == 200
    assert as_hand.get(f"/a/{item.code}/").status_code == 200


def test_alias_leads_to_the_item(as_hand):
    item, alias = make_item(), codes.mint()
    Label.objects.create(code=alias, item=item, minted_at=NOW, bound_at=NOW)
    assert as_hand.get(f"/a/{alias}").url == f"/a/{item.code}"
    assert codes.spell(alias) in as_hand.get(f"/a/{item.code}").content.decode()


def test_unknown_and_wrong_codes_get_a_sentence(as_hand):
    page = as_hand.get(f"/a/{codes.mint()}")
    assert page.status_code == 404 and "Not a code of ours" in page.content.decode()
    for text in ("XYZ", "DO.OUT", "4H2K70AA", "%00", "x" * 300, "😀"):
        page = as_hand.get(f"/a/{text}")
        assert page.status_code == 404 and "no code of ours" in page.content.decode(), text


def test_blank_label_is_not_offered_to_a_hand(as_hand):
    code = codes.mint()
    Label.objects.create(code=code, minted_at=NOW)
    page = as_hand.get(f"/a/{code}")
    assert page.status_code == 200 and "nobody has said yet" in page.content.decode()
    assert "/gear/add/" not in page.content.decode()


def test_page_of_every_kind_and_standing_is_drawn(as_owner):
    rows = [
        {"tested_on": a_day(-9), "test_by": date(2999, 1, 1)},
        {"suspect_since": NOW},
        {"excepts": "7", "tested_on": a_day()},
        {"taken_as_good_on": a_day()},
        {"retired_on": a_day(), "retired_because": "sold"},
        {"test_by": date(1, 1, 1)},
    ]
    words = ["known good until", "suspect since", "good except 7", "unproved, taken as good", "retired", "test by"]
    for row, said in zip(rows, words, strict=True):
        assert said in as_owner.get(f"/a/{make_item(**row).code}").content.decode()
    for kind in Kind:
        assert as_owner.get(f"/a/{make_item(kind=kind, length_mm=5000).code}").status_code == 200


def test_mains_gear_is_never_called_safe(as_hand):
    page = as_hand.get(f"/a/{make_item(kind=Kind.POWER).code}").content.decode()
    assert "never declares mains gear safe" in page


def test_page_costs_the_same_however_long_the_life(as_hand, technician):
    item = make_item()
    with CaptureQueriesContext(connection) as short:
        as_hand.get(f"/a/{item.code}")
    for _ in range(20):
        services.item_lend(item=item, to="school", on=a_day(), at=NOW, person=technician)
        services.item_lent_home(item=item, on=a_day(), at=NOW, person=technician)
    with CaptureQueriesContext(connection) as long:
        as_hand.get(f"/a/{item.code}")
    assert len(long) == len(short)


def test_price_is_on_the_owners_page_only(as_owner, as_technician):
    item = make_item(price_cents=123_45)
    assert "123.45" in as_owner.get(f"/a/{item.code}").content.decode()
    assert "123.45" not in as_technician.get(f"/a/{item.code}").content.decode()
    assert "123.45" not in as_technician.get(f"/a/{item.code}/edit/").content.decode()


def test_notes_are_shown_as_text(as_hand):
    item = make_item(notes="<script>alert(1)</script>", name="<b>")
    page = as_hand.get(f"/a/{item.code}").content.decode()
    assert "<script>alert" not in page and "<b>&lt;" not in page.replace("<b><a", "")


# what is done


def test_edit_keeps_price_from_a_technician_and_writes_the_rest(as_technician):
    item, shelf = make_item(price_cents=100), make_place()
    given = {"type": item.type_id, "name": "C", "serial": "9", "home": shelf.pk, "price_cents": "5.00", "length_mm": "2.5"}
    assert as_technician.post(f"/a/{item.code}/edit/", given).url == f"/a/{item.code}"
    item.refresh_from_db()
    assert (item.name, item.serial, item.home, item.price_cents, item.length_mm) == ("C", "9", shelf, 100, 2500)


def test_copy_takes_the_kind_of_thing_and_not_its_own(as_technician):
    item = make_item(name="A", serial="SER", maker="m", price_cents=7, notes="n", photo="x.jpg")
    as_technician.post(f"/a/{item.code}/copy/", {"uid": str(uuid.uuid4()), "count": 2})
    one, two = Item.objects.exclude(pk=item.pk).order_by("name")
    assert (one.name, two.name) == ("B", "C")
    assert (one.serial, one.maker, one.price_cents, one.photo) == ("", "m", 7, "")
    assert one.code != two.code and one.labels.count() == 1


def test_retire_needs_a_reason_and_can_be_taken_back(as_technician):
    item = make_item()
    url = f"/a/{item.code}/retire/"
    assert as_technician.post(url, {"because": "  "}).status_code == 422
    as_technician.post(url, {"because": "fell off the stage"})
    item.refresh_from_db()
    assert item.retired_on and item.retired_because == "fell off the stage"
    assert "fell off the stage" in as_technician.get(f"/a/{item.code}").content.decode()
    as_technician.post(url)
    item.refresh_from_db()
    assert item.retired_on is None
    page = as_technician.get(f"/a/{item.code}").content.decode()
    assert "back in use" in page and "fell off the stage" in page


def test_full_case_is_not_retired():
    case = make_case()
    make_item(in_case=case)
    with pytest.raises(GearRefused, match="Take them out first"):
        services.item_retire(item=case, because="old", on=a_day(), at=NOW)


def test_lend_and_home_again_stay_in_its_life(as_technician):
    item = make_item()
    url = f"/a/{item.code}/lend/"
    assert as_technician.post(url, {"do": "lend", "to": "", "home_by": ""}).status_code == 422
    assert as_technician.post(url, {"do": "lend", "to": "x", "home_by": "2001-01-01"}).status_code == 422
    as_technician.post(url, {"do": "lend", "to": "Wenbury school", "home_by": "2999-01-01"})
    item.refresh_from_db()
    assert item.lent_to == "Wenbury school"
    as_technician.post(url, {"do": "lend", "to": "somebody else"})
    as_technician.post(url, {"do": "home"})
    item.refresh_from_db()
    assert item.lent_to == "" and item.lent_on is None and item.lent_home_by is None
    page = as_technician.get(f"/a/{item.code}").content.decode()
    assert "to Wenbury school" in page and "home again" in page and "somebody else" not in page


def test_item_at_a_show_is_not_lent():
    with pytest.raises(GearRefused, match="Scan it back first"):
        services.item_lend(item=make_item(custody="show", custody_show=1), to="x", on=a_day(), at=NOW)


def test_borrowed_goes_home_and_ours_does_not(as_technician):
    item = make_item()
    url = f"/a/{item.code}/lend/"
    as_technician.post(url, {"do": "gone-home"})
    as_technician.post(url, {"do": "borrow", "borrowed_from": "Chapel hall", "give_back_by": "2999-05-05"})
    item.refresh_from_db()
    assert item.gone_home_on is None and item.borrowed_from == "Chapel hall"
    as_technician.post(url, {"do": "gone-home"})
    item.refresh_from_db()
    assert item.gone_home_on is not None
    as_technician.post(url, {"do": "borrow", "borrowed_from": "Chapel hall"})
    item.refresh_from_db()
    assert item.gone_home_on is None


def test_shelf_becomes_home_and_bench_does_not(company):
    item, shelf, bench = make_item(), make_place(), make_place(sort="bench")
    services.item_set_place(item=item, place=shelf)
    services.item_set_place(item=item, place=bench)
    assert (item.home, item.at) == (shelf, bench)
    services.item_set_place(item=item, place=None)
    assert (item.home, item.at) == (shelf, None)


def test_only_what_has_no_history_is_deleted(as_owner, technician):
    fresh = services.item_add(type=make_type(), at=NOW, person=technician)
    lived = services.item_add(type=make_type(), at=NOW, person=technician)
    services.item_lend(item=lived, to="x", on=a_day(), at=NOW)
    for item in (fresh, lived):
        as_owner.post(f"/a/{item.code}/delete/")
    assert list(Item.objects.values_list("pk", flat=True)) == [lived.pk]


def test_printed_label_of_a_deleted_item_is_blank_again(company):
    item = services.item_add(type=make_type(), at=NOW)
    Label.objects.update(printed_at=NOW)
    services.item_delete(item=item, at=NOW)
    label = Label.objects.get()
    assert label.item is None and label.bound_at is None


# photos


def picture(size=(800, 600), kind="JPEG", **kw):
    out = io.BytesIO()
    Image.new("RGB", size, "red").save(out, kind, **kw)
    return out.getvalue()


def send(client, item, content, name="a.jpg"):
    return client.post(f"/a/{item.code}/photo/take/", {"photo": SimpleUploadedFile(name, content)}, follow=True)


def test_photo_is_turned_upright_stripped_and_kept_behind_the_sign_in(as_technician, client):
    exif = Image.Exif()
    exif[0x0112] = 6  # the camera lay on its side
    exif[0x010F] = "secret maker"
    item = make_item()
    send(as_technician, item, picture(exif=exif, comment=b"secret place"))
    item.refresh_from_db()
    with item.photo.open() as kept:
        raw = kept.read()
    assert b"secret" not in raw
    shown = Image.open(io.BytesIO(raw))
    assert shown.size == (600, 800) and not shown.getexif()
    response = as_technician.get(f"/a/{item.code}/photo/?size=small")
    assert response["Content-Type"] == "image/jpeg" and "private" in response["Cache-Control"]
    small = Image.open(io.BytesIO(b"".join(response.streaming_content)))
    assert max(small.size) == photos.SMALL
    again = as_technician.get(f"/a/{item.code}/photo/?size=small", headers={"If-None-Match": response["ETag"]})
    assert again.status_code == 304
    assert client.get(f"/a/{item.code}/photo/").status_code == 302


def test_new_photo_replaces_the_old_file(as_technician, tmp_path, django_capture_on_commit_callbacks):
    item = make_item()
    for _ in range(2):
        with django_capture_on_commit_callbacks(execute=True):
            send(as_technician, item, picture())
    assert len(list((tmp_path / "photos").iterdir())) == 2
    with django_capture_on_commit_callbacks(execute=True):
        as_technician.post(f"/a/{item.code}/photo/take/", {"do": "remove"})
    assert not list((tmp_path / "photos").iterdir())
    assert as_technician.get(f"/a/{item.code}/photo/").status_code == 404


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"no picture at all",
        picture()[:400],
        picture(kind="PNG")[:60],
        picture(kind="GIF"),
        b"\x89PNG\r\n\x1a\n" + b"\0" * 50,
    ],
    ids=["empty", "text", "cut short", "half a PNG", "GIF", "PNG of noughts"],
)
def test_broken_photo_gets_a_sentence(as_technician, content):
    item = make_item()
    page = send(as_technician, item, content).content.decode()
    assert "no photo this program can read" in page or "was empty" in page
    item.refresh_from_db()
    assert not item.photo


def test_decompression_bomb_gets_a_sentence_before_it_is_decoded(as_technician, monkeypatch):
    bomb = io.BytesIO()
    Image.new("1", (20_000, 20_000)).save(bomb, "PNG")
    monkeypatch.setattr(photos, "_encoded", lambda image: pytest.fail("it was decoded"))
    item = make_item()
    assert "more pixels than any camera" in send(as_technician, item, bomb.getvalue(), "a.png").content.decode()


def test_fifty_megabytes_get_a_sentence_and_are_not_kept(as_technician, monkeypatch):
    monkeypatch.setattr(photos, "photo_read", lambda file: pytest.fail("it was read"))
    item = make_item()
    assert "over 20 MB" in send(as_technician, item, picture() + b"\0" * 50_000_000).content.decode()


def test_photo_needs_the_form_token_and_a_technician(technician, as_hand):
    from django.test import Client

    item, client = make_item(), Client(enforce_csrf_checks=True)
    client.force_login(technician, backend="django.contrib.auth.backends.ModelBackend")
    assert send(client, item, picture()).status_code == 403
    assert send(as_hand, item, picture()).status_code == 403
    item.refresh_from_db()
    assert not item.photo


# life


def shows(*days, **kw):
    return [LifeEntry(at=day, did=f"show {n}", mark="back", **kw) for n, day in enumerate(days)]


def test_quiet_shows_of_past_months_are_told_in_one_line(company):
    day = date(2026, 9, 25)
    run = shows(*(date(2026, 8, d) for d in (1, 8, 15, 22)))
    this_month = shows(date(2026, 9, 5))
    _ahead, past = life_rows([*run, *this_month], day=day, zone=company.zone)
    assert [(r.entry.did if r.entry else r.when, r.did) for r in past] == [("show 0", ""), ("August", "4 shows")]


def test_good_tests_of_past_months_are_told_in_one_line_but_the_newest_stands(company):
    day = date(2026, 9, 25)
    tests = [LifeEntry(at=date(2026, m, 9), did="proved", mark="tick", url=f"/t/{m}") for m in (3, 4, 5, 6, 8)]
    _ahead, past = life_rows([*shows(date(2026, 5, 2)), *tests], day=day, zone=company.zone)
    assert [(r.entry.url if r.entry else r.when, r.did, r.small) for r in past] == [
        ("/t/8", "", ""),
        ("Mar to Jun", "1 show, 4 tests, all good", "show 0"),
    ]


def test_a_fault_breaks_a_run_and_is_never_hidden(company):
    day = date(2026, 9, 25)
    fault = LifeEntry(at=date(2026, 5, 10), did="crackled", bad=True, mark="back")
    entries = [*shows(*(date(2026, m, 3) for m in (6, 7, 8))), fault, *shows(*(date(2026, m, 3) for m in (2, 3, 4)))]
    _ahead, past = life_rows(entries, day=day, zone=company.zone)
    assert [r.when or r.entry.did for r in past] == ["Jun to Aug", "crackled", "Feb to Apr"]


def test_what_is_ahead_stands_above_today(as_hand):
    item = make_item(borrowed_from="hall", give_back_by=date(2999, 1, 1), bought_on=a_day(-700))
    page = as_hand.get(f"/a/{item.code}").content.decode()
    assert page.index("give back to hall") < page.index('class="today"') < page.index("bought") < page.index("</main>")
