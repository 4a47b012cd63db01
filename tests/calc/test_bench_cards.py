"""Cards that run the bench."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.calc import codes
from inventory.calc.codes import Read
from maintenance.calc.bench_cards import BENCH_CARDS, BenchWord, read_bench_card


def test_every_word_has_one_card_and_every_text_reads_back():
    assert [card.word for card in BENCH_CARDS] == list(BenchWord)
    assert len({card.text for card in BENCH_CARDS}) == len(BENCH_CARDS)
    for card in BENCH_CARDS:
        assert read_bench_card(card.text) == card.word
        assert card.name and card.does.endswith(".")


@pytest.mark.parametrize("card", BENCH_CARDS, ids=lambda card: card.text)
def test_no_card_is_taken_for_a_code_or_a_card_of_the_dock(card):
    assert codes.parse(card.text).read == Read.NOTHING
    assert not codes.is_code(card.text)
    assert card.text == card.text.upper() and set(card.text) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZ.")


@given(st.integers(0, 32**7 - 1))
def test_no_code_is_taken_for_a_card(number):
    code = codes.mint(lambda _: number) if codes.check_character(_body(number)) else ""
    assert read_bench_card(code) is None
    assert read_bench_card(f"https://gear.example.org/{code}") is None


def _body(number):
    body = ""
    for _ in range(codes.BODY_LENGTH):
        number, digit = divmod(number, 32)
        body = codes.ALPHABET[digit] + body
    return body


@pytest.mark.parametrize("text", ["test.pass", " TEST.PASS\r\n", "Test:Pass", "TEST. PASS", "test,pass"])
def test_a_card_reads_however_the_scanner_types_it(text):
    assert read_bench_card(text) == BenchWord.PASS


@pytest.mark.parametrize(
    "text", ["", "TEST", "TEST.", "TESTPASS", "TEST.PASSED", "DO.UNDO", "GO.17.OUT", "TEST.PASS.PASS", "pass"]
)
def test_what_is_no_card_is_none(text):
    assert read_bench_card(text) is None


@given(st.text(max_size=5000))
def test_no_text_raises(text):
    assert read_bench_card(text) in {None, *BenchWord}
