"""Printed cards: large labels to scan on the dock, cut from plain paper."""

from collections.abc import Iterable
from dataclasses import dataclass
from io import BytesIO

from inventory.calc import label_drawings as d
from inventory.calc.label_sheets import stock_of
from inventory.calc.labels import payload_of
from inventory.pdf.sheets import sheets_pdf


@dataclass(frozen=True, kw_only=True)
class Card:
    """One card: what its QR says (DO.OUT, GO.17.OUT, CH.7), the word in marker, and a sentence under it."""

    carries: str
    word: str
    note: str = ""


def cards_pdf(cards: Iterable[Card], *, paper: str = "a4", dpi: int = 300, title: str = "Cards for the dock") -> bytes:
    """Return cards as PDF, eight a page; `paper` is a4 or letter, as in the company's settings."""
    texts = [
        d.LabelText(form=d.Form.CARD, carries=payload_of(card.carries), name=card.word, code=card.carries, note=card.note)
        for card in cards
    ]
    out = BytesIO()
    stock = stock_of("letter-cases-and-cards" if paper == "letter" else "a4-cases-and-cards")
    sheets_pdf(texts, stock=stock, dpi=dpi, out=out, title=title)
    return out.getvalue()
