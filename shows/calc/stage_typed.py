"""What is typed on a stage's page: coordinates in metres or feet, and what is plugged in at a place."""

import re
from dataclasses import dataclass

MM_A_FOOT = 304.8
_FAR = re.compile(r"([+-]?[0-9]{1,4}(?:[.,][0-9]{1,3})?)\s*(m|ft)?", re.IGNORECASE)
_LOAD = re.compile(r"([0-9]{1,3})\s*[x\u00d7]?\s+(.+)", re.IGNORECASE)


class TypedError(ValueError):
    """What was typed cannot be read, in words for a person."""


@dataclass(frozen=True, kw_only=True)
class Load:
    """So many of a type, by the name it was given; `whole` is all that was typed, where a name may begin with a number."""

    count: int
    name: str
    whole: str


def far_read(text: str, *, imperial: bool = False) -> int | None:
    """Read a coordinate as millimetres; a bare number is in the company's unit, empty is None. Raises TypedError."""
    text = text.strip().replace("\u2212", "-").replace("\u2009", " ")
    if not text:
        return None
    read = _FAR.fullmatch(text)
    if read is None:
        raise TypedError("Write it as 3.5, or -2 in front of the stage.")
    unit = (read[2] or ("ft" if imperial else "m")).lower()
    return round(float(read[1].replace(",", ".")) * (MM_A_FOOT if unit == "ft" else 1000))


def factor_read(text: str) -> float | None:
    """Read how much longer a route is than straight across; empty is None. Raises TypedError."""
    text = text.strip().replace(",", ".")
    if not text:
        return None
    if not re.fullmatch(r"[0-9]{1,2}(\.[0-9]{1,3})?", text):
        raise TypedError("Write it as 1.3: a third longer than straight across.")
    return float(text)


def loads_read(text: str) -> list[Load]:
    """Read what is plugged in: 2 Stage monitor, Amplifier rack."""
    loads = []
    for part in (" ".join(piece.split()) for piece in re.split(r"[,;\n]", text)):
        if not part:
            continue
        read = _LOAD.fullmatch(part)
        loads.append(Load(count=int(read[1]) if read else 1, name=read[2] if read else part, whole=part))
    return loads


def figure(mm: int | None, *, imperial: bool = False) -> str:
    """Write millimetres as a field shows them: 3.5; empty where nobody said."""
    return "" if mm is None else f"{round(mm / (MM_A_FOOT if imperial else 1000), 2):g}"
