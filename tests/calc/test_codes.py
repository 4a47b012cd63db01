"""Codes: what is minted, what the check character catches, and what the parser makes of anything."""

import itertools
import random

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from inventory.calc import codes
from inventory.calc.codes import ALPHABET, CODE_LENGTH, Read, parse

SEED = random.Random(20260925)
MANY = [codes.mint(SEED.randrange) for _ in range(300)]


def read(text: str) -> str:
    return parse(text).code


def test_minted_codes_are_eight_letters_that_check():
    for code in MANY:
        assert len(code) == CODE_LENGTH and set(code) <= set(ALPHABET)
        assert codes.is_code(code)


def test_alphabet_leaves_out_what_is_misread():
    assert len(ALPHABET) == 32 and not set("ILOU") & set(ALPHABET)


def test_extra_check_signs_are_never_minted_and_cost_about_one_number_in_seven():
    bodies = ["".join(SEED.choices(ALPHABET, k=7)) for _ in range(20_000)]
    left_out = sum(codes.check_character(body) == "" for body in bodies)
    assert left_out / len(bodies) == pytest.approx(5 / 37, abs=0.01)


def test_every_single_wrong_character_is_caught():
    for code in MANY:
        for place, wrong in itertools.product(range(CODE_LENGTH), ALPHABET):
            if wrong != code[place]:
                assert read(code[:place] + wrong + code[place + 1 :]) == "", (code, place, wrong)


def test_every_swap_of_neighbours_is_caught():
    for code in MANY:
        for place in range(CODE_LENGTH - 1):
            if code[place] != code[place + 1]:
                swapped = code[:place] + code[place + 1] + code[place] + code[place + 2 :]
                assert read(swapped) == "", (code, swapped)


WEIGHTS = [pow(32, 6 - place, 37) for place in range(7)] + [36]  # the check character stands with -1


def test_the_check_is_linear_so_that_the_next_two_tests_prove_it_for_every_code():
    """A code is good when the sum of weight x digit is 0 modulo 37; an error adds its own sum, whatever the code is."""
    for _ in range(5_000):
        text = "".join(SEED.choices(ALPHABET, k=8))
        total = sum(w * ALPHABET.index(c) for w, c in zip(WEIGHTS, text, strict=True)) % 37
        assert codes.is_code(text) == (total == 0)


def test_no_single_wrong_character_adds_nothing():
    for weight, (right, wrong) in itertools.product(WEIGHTS, itertools.permutations(range(32), 2)):
        assert weight * (wrong - right) % 37 != 0


def test_no_swap_of_neighbours_adds_nothing():
    for (left, right), (a, b) in itertools.product(itertools.pairwise(WEIGHTS), itertools.permutations(range(32), 2)):
        assert ((left - right) * (b - a)) % 37 != 0


def test_no_swap_across_one_and_no_twin_error_adds_nothing():
    """What else people do: ABC typed CBA, and AA typed BB. One twin slips through, that of the last two places, where the
    weights 1 and -1 cancel out."""
    for (left, right), (a, b) in itertools.product(
        zip(WEIGHTS, WEIGHTS[2:], strict=False), itertools.permutations(range(32), 2)
    ):
        assert ((left - right) * (b - a)) % 37 != 0
    for (left, right), (a, b) in itertools.product(itertools.pairwise(WEIGHTS[:7]), itertools.permutations(range(32), 2)):
        assert ((left + right) * (b - a)) % 37 != 0


def test_minting_asks_for_thirty_five_bits():
    asked = []
    codes.mint(lambda below: asked.append(below) or 12345)
    assert asked[0] == 2**35


CODE = MANY[0]


@pytest.mark.parametrize(
    "text",
    [
        CODE,
        CODE.lower(),
        f"{CODE[:4]}-{CODE[4:]}",
        f" {CODE[:2]} {CODE[2:5]}-{CODE[5:]}\r\n",
        f"{CODE[:4]}–{CODE[4:]}",
        f"{CODE[:4]}\u200b{CODE[4:]}\ufeff",
        f"https://GEAR.EXAMPLE.ORG/A/{CODE}",
        f"http://192.0.2.7:8765/a/{CODE}/",
        f"HTTPS://gear.example.org/a/{CODE.lower()}/?from=label#top",
        f"https://other.example/some/where/else/{CODE}///",
        f"gear.example.org/a/{CODE}",
        f"/a/{CODE}",
        f"\\a\\{CODE}",
        f"ftp://gear.example.org/{CODE}",
    ],
)
def test_a_code_is_read_from_any_host_scheme_slash_query_hyphen_and_case(text):
    assert read(text) == CODE


def test_look_alikes_are_read_as_figures():
    code = next(c for c in MANY if "1" in c and "0" in c)
    for one, zero in itertools.product("1ilIL", "0oO"):
        assert read(code.replace("1", one).replace("0", zero)) == code


@pytest.mark.parametrize("colon", ["Ö", "ö", "ñ", "ç", "Æ", "é"])
def test_an_address_typed_for_another_keyboard_is_read(colon):
    assert read(f"https{colon}--GEAR.EXAMPLE.ORG-A-{CODE}") == CODE
    assert read(f"https{colon}--gear-a-{CODE.lower()}-") == CODE


def test_an_address_from_a_german_keyboard_has_y_and_z_swapped_back():
    code = next(c for c in MANY if "Y" in c and "Z" in c)
    typed = f"httpsÖ--GEAR-A-{code}".translate(str.maketrans("YZ", "ZY"))
    assert read(typed) == code


def test_a_bare_code_from_a_german_keyboard_is_caught_not_guessed():
    for code in MANY:
        typed = code.translate(str.maketrans("YZ", "ZY"))
        if sum(a != b for a, b in zip(typed, code, strict=True)) == 1:
            assert parse(typed).read is Read.NOTHING


def test_figures_from_a_french_keyboard_are_named_as_such():
    assert "keyboard" in parse("&é\"'(-è_").why
    typed = "4H2K70AB".translate(str.maketrans("0123456789", "à&é\"'(-è_ç"))
    assert parse(typed).read is Read.NOTHING


def test_the_host_is_never_taken_for_a_code():
    assert parse(f"https://{CODE}").read is Read.NOTHING
    assert parse(f"https://{CODE}/").read is Read.NOTHING
    assert read(f"https://{CODE}/a/{MANY[1]}") == MANY[1]


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "Nothing was read."),
        ("   ", "Nothing was read."),
        ("ABC", "eight characters"),
        ("ABCDEFGHJ", "this has 9"),
        ("ABCDEFGHJK", "A code has eight characters; this has 10."),
        ("UUUUUUUU", "“U” is never part of a code."),
        ("4H2K70A\x00", "never part"),
        ("4H2K70A\ud800", "One of these characters is never part"),
        ("A" * 4097, "far longer"),
        ("https://shop.example/item?id=42", "not a label of ours"),
        ("https://shop.example/UUUUUUUU", "not a label of ours"),
        ("WIFI:S:stage;T:WPA;P:secret;;", "not a label of ours"),
    ],
)
def test_what_is_no_code_gets_a_sentence(text, why):
    answer = parse(text)
    assert answer.read is Read.NOTHING and why in answer.why and answer.why.endswith(".")
    answer.why.encode()


def test_cards_are_read():
    assert parse("DO.OUT").word == "OUT" and parse("do.bag").read is Read.COMMAND
    assert (parse("GO.17.TRUCK").number, parse("go.17.truck").word) == (17, "TRUCK")
    assert parse("COUNT.9").number == 9 and parse("CH.Vox 2").channel == "VOX 2"
    assert parse("https://gear.example.org/A/DO.UNDO").word == "UNDO"


@pytest.mark.parametrize(
    "text", ["DO.", "DO.FLY", "GO.1", "GO.x.OUT", "GO.1.UNDO", "COUNT.-1", "COUNT.²", "CH.", "example.org", "GO.9" * 9]
)
def test_cards_that_are_not_ours_get_a_sentence(text):
    assert parse(text).read is Read.NOTHING and parse(text).why


@given(st.text(max_size=60))
@example("http://")
@example("?")
@example("httpsÖ---")
@example("ß" * 8)
def test_the_parser_never_raises_and_answers_whole(text):
    answer = parse(text)
    assert (answer.read is Read.NOTHING) == bool(answer.why)
    assert answer.code == "" or codes.is_code(answer.code)
    answer.why.encode()


@given(st.text(alphabet="htps:/.-?#Aa12Öé&\\\ud800\x00 DOGCUNT", max_size=40))
def test_the_parser_never_raises_on_what_looks_nearly_right(text):
    answer = parse(text)
    assert (answer.read is Read.NOTHING) == bool(answer.why)
    answer.why.encode()


@given(st.integers(0, 2**35 - 1), st.sampled_from(["", "https://x.example/A/", "HTTP://10.0.0.5:1/a/b/", "x/"]), st.booleans())
def test_what_is_minted_is_read_back(number, before, hyphen):
    body = ""
    for _ in range(7):
        number, digit = divmod(number, 32)
        body = ALPHABET[digit] + body
    check = codes.check_character(body)
    if check:
        assert read(before + (codes.spell(body + check) if hyphen else body + check)) == body + check
