"""Labels: what a code carries, how big it prints, what a lead can carry; and where labels fall on a sheet."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc import codes, label_sheets, labels
from inventory.calc import label_drawings as d
from inventory.calc.label_sheets import STOCKS, Order, StockError, Trim, next_start, off_the_sheet, own_roll, spots, stock_of
from inventory.calc.labels import fit_symbol, payload_of

CODE = "4H2K70B0"
SITE = "https://gear.example.org"


def a_label(form=d.Form.BOX, **kw):
    given = {"carries": payload_of(CODE), "code": CODE, "name": "Active direct box A", "diameter_mm": 6.0, **kw}
    return d.LabelText(form=form, **given)


def sentence(text: str) -> bool:
    return (text.endswith(".") and text[0].isupper()) or text[0].isdigit()


# what a code carries


def test_a_label_carries_the_bare_code_until_the_site_has_an_address():
    assert payload_of(CODE).segments == (CODE,)


def test_an_address_is_small_scheme_and_capitals_that_pack_tighter():
    assert payload_of(CODE, SITE + "/").segments == (b"https://", f"GEAR.EXAMPLE.ORG/A/{CODE}")
    assert payload_of(CODE, "http://10.0.0.7:8765").text == f"http://10.0.0.7:8765/A/{CODE}"


def test_an_address_with_a_path_keeps_its_letters():
    assert payload_of(CODE, "https://example.org/Gear").text == f"https://example.org/Gear/a/{CODE}"


@pytest.mark.parametrize("site", ["", SITE, "http://x.example:8000", "https://example.org/gear"])
def test_what_a_label_carries_is_read_back(site):
    code = codes.mint()
    assert codes.parse(payload_of(code, site).text).code == code


# version and level


def chosen(payload):
    return [(c.version, c.level) for c in labels.choices(payload)]


def test_a_bare_code_takes_version_2_h_and_version_1_h_where_space_is_short():
    assert chosen(payload_of(CODE)) == [(2, "H"), (1, "H")]


def test_an_address_of_31_signs_takes_version_3_q_and_version_2_m_where_space_is_short():
    payload = payload_of(CODE, "https://gear.shop.uk")
    assert len(payload.text) == 31
    assert chosen(payload) == [(3, "Q"), (2, "M")]


def test_mixed_segments_are_smaller_than_bytes_alone():
    mixed = payload_of(CODE, "https://gear.shop.uk")
    whole = labels.Payload((mixed.text.encode(),))
    assert labels.bits_needed(mixed, 2) < labels.bits_needed(whole, 2)
    assert min(c.modules for c in labels.choices(mixed)) < min(c.modules for c in labels.choices(whole))


def test_the_chosen_symbol_is_what_is_made():
    for site in ("", SITE):
        for choice in labels.choices(payload_of(CODE, site)):
            modules = labels.matrix(payload_of(CODE, site), choice)
            assert len(modules) == len(modules[0]) == choice.modules == 17 + 4 * choice.version


def test_an_address_too_long_for_a_label_is_refused_with_a_sentence():
    with pytest.raises(labels.PayloadTooLongError, match="too long"):
        labels.choices(payload_of(CODE, "https://" + "a" * 400 + ".example"))


# how big it prints


def test_modules_are_whole_printer_dots():
    for dpi, room in itertools.product(labels.PRINTER_DPIS, (8, 11.3, 14, 18, 24)):
        fit = fit_symbol(payload_of(CODE), room_mm=room, dpi=dpi)
        assert fit.module_mm * dpi / 25.4 == pytest.approx(fit.dots)
        assert fit.side_mm <= room or fit.warnings


def test_the_smaller_symbol_is_taken_only_where_the_usual_one_would_fall_under_four_dots():
    usual = fit_symbol(payload_of(CODE), room_mm=11.2, dpi=300)
    assert (usual.choice.version, usual.dots, usual.warnings) == (2, 4, ())
    short = fit_symbol(payload_of(CODE), room_mm=11.1, dpi=300)
    assert (short.choice.version, short.dots) == (1, 4)
    assert "less dirt" in short.warnings[0]


def test_under_four_dots_is_said_with_what_would_fit():
    fit = fit_symbol(payload_of(CODE), room_mm=10, dpi=203)
    assert fit.dots < 4
    assert "203 dots" in fit.warnings[0] and "14.6" in fit.warnings[0] and sentence(fit.warnings[0])
    assert not any("dots an inch" in w for w in fit_symbol(payload_of(CODE), room_mm=14.6, dpi=203).warnings)


def test_modules_stay_within_what_scanners_expect():
    assert fit_symbol(payload_of(CODE), room_mm=90, dpi=600).module_mm <= 0.99


# what a lead can carry


def test_a_code_wider_than_the_lead_carries_is_said_with_a_flag_that_fits():
    said = labels.carried_on_the_round(8.5, 6)
    assert "4.2" in said and "5.4" in said and "77 × 18" in said
    assert labels.carried_on_the_round(8.5, 13) == ""
    assert "A flag is safer" in labels.carried_on_the_round(8.5, 10)


@given(st.floats(1, 60), st.floats(1, 200))
def test_what_carries_well_is_never_more_than_seven_tenths(symbol, diameter):
    assert (labels.carried_on_the_round(symbol, diameter) == "") == (symbol <= 0.7 * diameter)


def test_a_flag_goes_once_around_its_lead_and_leaves_two_faces():
    assert labels.wrap_mm(6) == 19 and labels.flag_length_mm(6) == 77
    for diameter in (1, 3, 6, 9.5, 25, 60):
        length = labels.flag_length_mm(diameter)
        assert labels.flag_fits(length, diameter) == ""
        assert length - labels.wrap_mm(diameter) == 58
    said = labels.flag_fits(45, 6)
    assert "19" in said and "77 × 18" in said and sentence(said)


# sheets


SHEETS = [stock for stock in STOCKS.values() if not stock.roll]


@pytest.mark.parametrize("stock", SHEETS, ids=lambda s: s.key)
def test_no_label_off_the_sheet_none_overlapping_margins_alike(stock):
    width, height = stock.page_mm
    places = spots(stock, count=stock.per_page)
    boxes = [(s.x_mm, s.y_mm, s.x_mm + stock.width_mm, s.y_mm + stock.height_mm) for s in places]
    for left, top, right, bottom in boxes:
        assert left >= 0 and top >= 0 and right <= width + 1e-6 and bottom <= height + 1e-6
    for a, b in itertools.combinations(boxes, 2):
        assert a[2] <= b[0] + 1e-6 or b[2] <= a[0] + 1e-6 or a[3] <= b[1] + 1e-6 or b[3] <= a[1] + 1e-6
    assert min(b[0] for b in boxes) == pytest.approx(width - max(b[2] for b in boxes), abs=0.011)
    assert min(b[1] for b in boxes) == pytest.approx(height - max(b[3] for b in boxes), abs=0.011)
    assert len({(s.x_mm, s.y_mm) for s in places}) == stock.per_page


def test_starting_at_a_place_leaves_the_used_ones_alone():
    stock = stock_of("a4-3x7")
    whole = spots(stock, count=21)
    assert spots(stock, count=3, start=5) == whole[4:7]
    over = spots(stock, count=5, start=20)
    assert [(s.page, s.place) for s in over] == [(0, 20), (0, 21), (1, 1), (1, 2), (1, 3)]
    assert next_start(stock, start=20, count=5) == 4 and next_start(stock, start=1, count=21) == 1


@pytest.mark.parametrize("start", [0, -1, 22])
def test_a_place_that_is_not_on_the_sheet_is_refused(start):
    with pytest.raises(StockError, match="places 1 to 21"):
        spots(stock_of("a4-3x7"), count=1, start=start)


def test_down_fills_a_column_first():
    stock = stock_of("a4-3x7")
    first, second = spots(stock, count=2, order=Order.DOWN)
    assert first.x_mm == second.x_mm and second.y_mm == pytest.approx(first.y_mm + 38.1)
    across, down = (sorted((s.x_mm, s.y_mm) for s in spots(stock, count=21, order=o)) for o in Order)
    assert across == down


def test_a_nudge_moves_every_label_by_a_tenth_of_a_millimetre():
    stock = stock_of("a4-5x13")
    for plain, moved in zip(spots(stock, count=65), spots(stock, count=65, trim=Trim(right_mm=0.1, down_mm=-0.3)), strict=True):
        assert moved.x_mm - plain.x_mm == pytest.approx(0.1) and moved.y_mm - plain.y_mm == pytest.approx(-0.3)


def test_a_scale_trim_stretches_positions_from_the_corner():
    plain, wide = (spots(stock_of("a4-3x7"), count=21, trim=Trim(scale_percent=p))[-1] for p in (100, 101))
    assert wide.x_mm == pytest.approx(plain.x_mm * 1.01) and wide.y_mm == pytest.approx(plain.y_mm * 1.01)


def test_a_trim_that_pushes_labels_off_is_said():
    assert off_the_sheet(stock_of("a4-3x7"), Trim(right_mm=7)) == ""
    assert "2.8" in off_the_sheet(stock_of("a4-3x7"), Trim(right_mm=10.05))


def test_a_roll_of_ones_own_measures_is_known_by_its_key():
    stock = own_roll(60.5, 40, 2)
    assert stock_of(stock.key) == stock and (stock.width_mm, stock.height_mm) == (60.5, 40)
    for bad in ((5, 40, 2), (60, 400, 2), (60, 40, 50)):
        with pytest.raises(StockError):
            own_roll(*bad)
    for key in ("", "a4-9x9", "own-x", "own-999x9+1", "own-60x40+99"):
        with pytest.raises(StockError):
            stock_of(key)


# drawings


def inside(drawing, part):
    match part:
        case d.Words():
            left = part.x - part.width_mm / 2 if part.anchor == "middle" else part.x
            return left, part.y - part.size_mm * 0.8, left + part.width_mm, part.y
        case d.Symbol():
            return part.x, part.y, part.x + part.fit.symbol_mm, part.y + part.fit.symbol_mm
        case d.Ring():
            return part.x - part.radius, part.y - part.radius, part.x + part.radius, part.y + part.radius
        case d.Frame():
            return part.x, part.y, part.x + part.width, part.y + part.height
    return part.x1, part.y1, part.x2, part.y2


SIZES = sorted({(s.width_mm, s.height_mm or 18.0) for s in STOCKS.values()})
NAMES = ["", "A", "Active direct box A", "Passive direct box C with a very long name indeed", "Ärmelkanal-Ü " * 3]


@pytest.mark.parametrize("form", list(d.Form))
@pytest.mark.parametrize("site", ["", SITE])
@pytest.mark.parametrize("dpi", labels.PRINTER_DPIS)
def test_nothing_is_drawn_off_a_label_and_the_code_keeps_its_quiet_zone(form, site, dpi):
    for (width, height), name, diameter in itertools.product(SIZES, NAMES, (6.0, 20.0)):
        text = a_label(form, name=name, length="10\u2009m", end="A", diameter_mm=diameter, carries=payload_of(CODE, site))
        drawing = d.draw(text, width_mm=width, height_mm=height, dpi=dpi)
        symbol = drawing.symbol
        quiet = 4 * symbol.fit.module_mm
        for part in drawing.parts:
            left, top, right, bottom = inside(drawing, part)
            assert left >= -0.01 and right <= width + 0.01, (width, height, part)
            assert bottom <= height + 0.01 and top >= -1.0, (width, height, part)
        if symbol.fit.dots >= 4:  # where it prints well it also keeps clear of the edge
            assert symbol.x >= quiet - 0.01 and symbol.x + symbol.fit.symbol_mm + quiet <= width + 0.01
            assert symbol.y >= quiet - 0.01 and symbol.y + symbol.fit.symbol_mm + quiet <= height + 0.01
        else:
            assert drawing.warnings


def test_letters_keep_out_of_the_code_and_of_its_quiet_zone():
    for form, (width, height) in itertools.product(d.Form, SIZES):
        drawing = d.draw(a_label(form, length="10\u2009m", end="B"), width_mm=width, height_mm=height, dpi=300)
        symbol = drawing.symbol
        least = 4 * symbol.fit.module_mm - 0.01
        for part in drawing.parts:
            if isinstance(part, d.Words):
                left, _top, right, bottom = inside(drawing, part)
                top = part.y - part.size_mm * 0.66
                apart = (
                    left >= symbol.x + symbol.fit.symbol_mm + least
                    or right <= symbol.x - least
                    or top >= symbol.y + symbol.fit.symbol_mm + least
                    or bottom <= symbol.y - least
                )
                assert apart, (form, width, height, part)


def test_a_flag_says_its_end_code_type_and_length_on_both_faces():
    for end, shape in (("A", d.Ring), ("B", d.Frame)):
        text = a_label(d.Form.FLAG, name="Three-pin lead", length="10\u2009m", end=end)
        width, height = d.natural_size(text)
        drawing = d.draw(text, width_mm=width, height_mm=height, dpi=300)
        for left, right in ((0, 29), (48, 77)):
            face = [p for p in drawing.parts if left <= inside(drawing, p)[0] and inside(drawing, p)[2] <= right]
            said = " ".join(p.text for p in face if isinstance(p, d.Words))
            assert sum(isinstance(p, shape) for p in face) == 1
            assert end in said.split() and "THREE-PIN" in said and "LEAD" in said and "10\u2009m" in said
            assert CODE in said.replace(" ", "").replace("-", "")


def test_nothing_is_printed_where_a_flag_goes_around_the_lead():
    text = a_label(d.Form.FLAG, name="Three-pin lead", end="A")
    drawing = d.draw(text, width_mm=77, height_mm=18, dpi=300)
    for part in drawing.parts:
        if isinstance(part, d.Words | d.Symbol | d.Ring):
            left, _top, right, _bottom = inside(drawing, part)
            assert right <= 29.01 or left >= 47.99


def test_a_code_is_lettered_at_least_three_millimetres_tall_where_there_is_room():
    for form in (d.Form.BOX, d.Form.FLAG, d.Form.CASE):
        text = a_label(form, end="A" if form is d.Form.FLAG else "")
        drawing = d.draw(text, width_mm=d.natural_size(text)[0], height_mm=d.natural_size(text)[1], dpi=300)
        sizes = [p.size_mm * 0.8 for p in drawing.parts if isinstance(p, d.Words) and p.text == codes.spell(CODE)]
        assert max(sizes) >= 3.0 - 1e-6


def test_units_are_never_lettered_in_capitals():
    drawing = d.draw(a_label(name="lead", length="10\u2009m"), width_mm=60, height_mm=25, dpi=300)
    assert any("LEAD" in p.text for p in drawing.parts if isinstance(p, d.Words))
    assert any(p.text.endswith("10\u2009m") for p in drawing.parts if isinstance(p, d.Words))


def test_letters_the_fonts_lack_are_said():
    drawing = d.draw(a_label(name="Гитара"), width_mm=60, height_mm=25, dpi=300)
    assert any("fonts lack" in w for w in drawing.warnings)
    assert not d.draw(a_label(name="Brøndum Łódź"), width_mm=60, height_mm=25, dpi=300).warnings


@given(st.text(max_size=60), st.text(max_size=20), st.floats(10, 200), st.floats(8, 200), st.sampled_from(list(d.Form)))
def test_any_name_on_any_size_is_drawn(name, length, width, height, form):
    drawing = d.draw(a_label(form, name=name, length=length, end="B"), width_mm=width, height_mm=height, dpi=203)
    assert drawing.symbol.fit.dots >= 1
    assert all(sentence(w) for w in drawing.warnings)


def test_the_tables_of_letters_are_the_fonts_own():
    from PIL import ImageFont

    from inventory.calc.letter_widths import MARKER_WIDTHS, STAMP_WIDTH
    from inventory.pdf.fonts import FILES

    marker, stamp = (ImageFont.truetype(str(FILES[face]), 1000) for face in ("marker", "stamp"))
    for letter, width in MARKER_WIDTHS.items():
        if letter != "\u2009":
            assert marker.getlength(letter) == pytest.approx(width, abs=1.5), letter
    assert all(stamp.getlength(letter) == pytest.approx(STAMP_WIDTH, abs=1) for letter in codes.ALPHABET + "-.")


def test_sheets_are_offered_for_both_papers_and_rolls():
    assert {stock.paper for stock in STOCKS.values()} == {"a4", "letter", "roll"}
    assert {"roll-25x25", "roll-50x25", "roll-57x32", "roll-62", "roll-100x50"} <= set(STOCKS)
    assert label_sheets.stock_of("a4-7x27").per_page == 189
