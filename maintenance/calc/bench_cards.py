"""Printed cards that run the bench without a keyboard: the scanner types their short texts as it types a label's code.

`TEST.` stands before every text: a code has no dot, and the dock's cards begin otherwise, so neither is taken for the other.
"""

from dataclasses import dataclass
from enum import StrEnum

PREFIX = "TEST"
# what a scanner types for the dot on a machine with another keyboard layout, and what people type for it
_DOTS = str.maketrans({":": ".", ",": ".", ";": ".", "·": ".", " ": None, "\t": None, "\r": None, "\n": None})


class BenchWord(StrEnum):
    """What a bench card says."""

    PASS = "pass"  # noqa: S105 (no password: a verdict)
    YES = "yes"
    AGAIN = "again"
    NO = "no"
    NEXT = "next"
    CELL = "cell"
    FLEXED = "flexed"
    UNDO = "undo"
    STILL = "still"
    RUN = "run"
    END = "end"
    FAIL = "fail"


@dataclass(frozen=True, kw_only=True)
class BenchCard:
    """One printed card: what its code says, its name in marker, and one line of what it does."""

    word: BenchWord
    name: str
    does: str

    @property
    def text(self) -> str:
        """Return what its code says: TEST.PASS."""
        return f"{PREFIX}.{self.word.upper()}"


# in the order they are printed: pass and fail at the two ends, so that a hurried hand takes neither for the other
BENCH_CARDS = (
    BenchCard(word=BenchWord.PASS, name="Pass", does="The thing in hand passes: the tester says good."),
    BenchCard(word=BenchWord.YES, name="Yes", does="Answers the step that is asked with yes."),
    BenchCard(word=BenchWord.AGAIN, name="Again", does="Clears the readings of the thing in hand: measure it again."),
    BenchCard(word=BenchWord.NO, name="No", does="Answers the step that is asked with no."),
    BenchCard(word=BenchWord.NEXT, name="Next", does="Lays the thing in hand aside, its readings kept; scan the next."),
    BenchCard(word=BenchWord.CELL, name="Swapped a cell", does="The thing in hand got a fresh cell."),
    BenchCard(word=BenchWord.FLEXED, name="Flexed", does="What is tested from now on is bent while it is read."),
    BenchCard(word=BenchWord.UNDO, name="Undo", does="Steps back one reading; with nothing in hand, takes back the last test."),
    BenchCard(word=BenchWord.STILL, name="Not flexed", does="What is tested from now on lies still."),
    BenchCard(word=BenchWord.RUN, name="Run", does="From now on each scan is a good one; scan it again to stop."),
    BenchCard(word=BenchWord.END, name="End of sitting", does="Closes this sitting at the bench."),
    BenchCard(word=BenchWord.FAIL, name="Fail", does="The thing in hand fails and is suspect at once."),
)


def read_bench_card(text: str) -> BenchWord | None:
    """Return what a bench card says, however it is spaced or capitalised; None where the text is not one."""
    if len(text) > 40:
        return None
    first, dot, word = text.translate(_DOTS).lower().partition(".")
    if not dot or first != PREFIX.lower():
        return None
    return BenchWord(word) if word in set(BenchWord) else None
