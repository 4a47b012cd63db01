"""The two lettering faces, found and registered once."""

from functools import lru_cache
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

FONTS = Path(__file__).resolve().parent / "faces"
FILES = {"marker": FONTS / "marker.ttf", "stamp": FONTS / "stamp.ttf"}
NAMES = {"marker": "Marker", "stamp": "Stamp"}


@lru_cache(maxsize=1)
def register() -> None:
    """Make both faces known to reportlab."""
    for face, path in FILES.items():
        pdfmetrics.registerFont(TTFont(NAMES[face], str(path)))
