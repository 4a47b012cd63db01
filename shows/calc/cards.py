"""Printed cards the dock obeys: commands, and show cards that set a show and a direction. Each is a short text in a QR code."""

from dataclasses import dataclass

import qrcode
from qrcode.constants import ERROR_CORRECT_Q

from shows.calc.direction import WAY_WORDS, Way

QUIET_MODULES = 4  # ISO/IEC 18004: an empty border of four modules


@dataclass(frozen=True, kw_only=True)
class Card:
    """One printed card: what its code says, its name in marker, and one line of what it does."""

    text: str
    name: str
    does: str


COMMAND_CARDS = (
    Card(text="DO.OUT", name="Out", does="What you scan next goes out."),
    Card(text="DO.TRUCK", name="On the truck", does="What you scan next is on the truck."),
    Card(text="DO.BACK", name="Back", does="What you scan next is back in the shop."),
    Card(text="DO.SUSPECT", name="Suspect", does="What you scan next is suspect. Say with what, or leave it."),
    Card(text="DO.BAG", name="Bench bag", does="What you scan goes in the bench bag, until Close or another way."),
    Card(text="DO.UNDO", name="Undo", does="Takes back the last scan."),
    Card(text="DO.CLOSE", name="Close", does="Ends the bench bag, or a question nobody answers."),
)


def show_card(*, show: int, name: str, way: Way) -> Card:
    """Make the card that sets a show and a direction: GO.17.OUT."""
    return Card(text=f"GO.{show}.{way.upper()}", name=WAY_WORDS[way], does=name)


def counted_card(*, line: int, name: str) -> Card:
    """Make the shelf card of a counted line: COUNT.17."""
    return Card(text=f"COUNT.{line}", name=name, does="Scan, then type how many.")


def matrix_of(text: str) -> list[list[bool]]:
    """Return the modules of a text's QR code at level Q, with the quiet border."""
    code = qrcode.QRCode(error_correction=ERROR_CORRECT_Q, border=QUIET_MODULES)
    code.add_data(text)
    code.make(fit=True)
    return [[bool(module) for module in row] for row in code.get_matrix()]


def path_of(matrix: list[list[bool]]) -> str:
    """Return the dark modules as an SVG path, one box a run of modules, one unit a module."""
    runs: list[str] = []
    for y, row in enumerate(matrix):
        x = 0
        while x < len(row):
            if not row[x]:
                x += 1
                continue
            start = x
            while x < len(row) and row[x]:
                x += 1
            runs.append(f"M{start} {y}h{x - start}v1h-{x - start}z")
    return "".join(runs)
