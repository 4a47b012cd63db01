"""Printed cards the dock obeys: commands, and show cards that set a show and a direction. Each is a short text in a QR code."""

from dataclasses import dataclass

from inventory.calc.qr import matrix_of, path_of
from shows.calc.direction import WAY_WORDS, Way

__all__ = ["COMMAND_CARDS", "Card", "counted_card", "matrix_of", "path_of", "show_card"]


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
