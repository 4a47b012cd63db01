"""QR symbols for labels: what the code carries, which version and level, how big a module prints, and what a lead can carry.

Version, level, capacity and side follow ISO/IEC 18004; the block table is the one in `qrcode`. No Micro QR: phone cameras
don't read it. Correction cannot save a finder pattern, so a level is chosen by what is left of a symbol with one blob over
a tenth of its area elsewhere.
"""

import math
import re
from dataclasses import dataclass, field
from functools import lru_cache

import qrcode
from qrcode import base, util
from qrcode.constants import ERROR_CORRECT_H, ERROR_CORRECT_L, ERROR_CORRECT_M, ERROR_CORRECT_Q

MM_PER_INCH = 25.4
QUIET_MODULES = 4  # ISO/IEC 18004
LEAST_DOTS = 4  # printer dots a module: qrcode.com/en/howto/cell.html
MOST_MODULE_MM = 0.99  # the widest of the retail scanning range, GS1 General Specifications 5.12.3.1
CARRY_DESIGN, CARRY_MOST = 0.7, 0.9  # symbol width over lead diameter: measured with zxing-cpp, wrapped symbols
READS_AT_SIDES = 10  # a phone reads from about ten times the symbol's side: help.info.link
ADDRESS_SHAPE = re.compile(r"https?://[A-Za-z0-9](?:[A-Za-z0-9.-]*[A-Za-z0-9])?(?::[0-9]{1,5})?\Z")
PRINTER_DPIS = (203, 300, 600)

_LEVELS = {"L": ERROR_CORRECT_L, "M": ERROR_CORRECT_M, "Q": ERROR_CORRECT_Q, "H": ERROR_CORRECT_H}
# A symbol is sturdy when it corrects this many times the codewords that a blob over a tenth of its area covers at the
# least. Measured on 200 symbols each, read by zxing-cpp, share read and factor: v1-Q 6 % 1.09, v3-M 48 % 1.24,
# v2-Q 87 % 1.41, v1-H 68 % 1.45, v3-Q 98 % 1.71, v2-H 100 % 1.79.
STURDY_FACTOR = 1.7
BLOB_SHARE = 0.1


class PayloadTooLongError(ValueError):
    """What the label should carry does not fit a QR symbol of a size anybody prints."""


@dataclass(frozen=True)
class Payload:
    """What a symbol carries, as segments: bytes are written as bytes, text in the alphanumeric set."""

    segments: tuple[bytes | str, ...]

    @property
    def text(self) -> str:
        return "".join(part.decode() if isinstance(part, bytes) else part for part in self.segments)


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One version and level a payload fits, and whether it stands a blob over a tenth of it."""

    version: int
    level: str
    sturdy: bool

    @property
    def modules(self) -> int:
        return 17 + 4 * self.version

    @property
    def modules_with_quiet(self) -> int:
        return self.modules + 2 * QUIET_MODULES


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A symbol as it will be printed: `dots` whole printer dots a module; `warnings` are sentences, empty when all is well."""

    choice: Choice
    dpi: int
    dots: int
    warnings: tuple[str, ...] = field(default=())

    @property
    def module_mm(self) -> float:
        return dots_mm(self.dots, self.dpi)

    @property
    def symbol_mm(self) -> float:
        return self.choice.modules * self.module_mm

    @property
    def side_mm(self) -> float:
        """The side with its quiet zone."""
        return self.choice.modules_with_quiet * self.module_mm

    @property
    def reads_from_cm(self) -> int:
        """From how far a phone reads it, rounded down to whole centimetres."""
        return int(self.symbol_mm * READS_AT_SIDES / 10)


def dots_mm(dots: float, dpi: int) -> float:
    """Return how long so many printer dots are, in millimetres."""
    return dots * MM_PER_INCH / dpi


def payload_of(code: str, site_address: str = "") -> Payload:
    """Return what the label of a code carries: the bare code, or the item's address once the site has one.

    The scheme stays in small letters, since some phones don't take HTTPS:// for a link; host, path and code are capitals,
    which pack tighter. An address that is more than scheme and host goes in as bytes, unchanged.
    """
    address = site_address.strip().rstrip("/")
    if not address:
        return Payload((code,))
    if ADDRESS_SHAPE.match(address):
        scheme, host = address.split("://", 1)
        return Payload((f"{scheme.lower()}://".encode(), f"{host.upper()}/A/{code}"))
    return Payload((f"{address}/a/{code}".encode(),))


def bits_needed(payload: Payload, version: int) -> int:
    """Return how many bits a payload takes in a version, before the terminator."""
    bits = 0
    for part in payload.segments:
        mode = util.MODE_8BIT_BYTE if isinstance(part, bytes) else util.MODE_ALPHA_NUM
        bits += 4 + util.length_in_bits(mode, version)
        bits += 8 * len(part) if isinstance(part, bytes) else 11 * (len(part) // 2) + 6 * (len(part) % 2)
    return bits


def bits_held(version: int, level: str) -> int:
    """Return how many data bits a version holds at a level."""
    return 8 * sum(block.data_count for block in base.rs_blocks(version, _LEVELS[level]))


def is_sturdy(version: int, level: str) -> bool:
    """Say whether a symbol is likely to read with one blob over a tenth of its area, away from the finder patterns."""
    corrects = sum((block.total_count - block.data_count) // 2 for block in base.rs_blocks(version, _LEVELS[level]))
    covered = BLOB_SHARE * (17 + 4 * version) ** 2 / 8
    return corrects >= STURDY_FACTOR * covered


@lru_cache(maxsize=4096)
def _choices_for(shape: tuple[tuple[bool, int], ...]) -> tuple[Choice, ...]:
    """Work out the choices for segments of a shape (bytes or not, how long): the same for every code of a site."""
    payload = Payload(tuple(b"x" * length if is_bytes else "X" * length for is_bytes, length in shape))
    compact = sturdy = None
    for version in range(1, 11):
        fitting = [level for level in "MQH" if bits_needed(payload, version) <= bits_held(version, level)]
        if not fitting:
            continue
        best = fitting[-1]  # the highest level that fits this version costs no space
        choice = Choice(version=version, level=best, sturdy=is_sturdy(version, best))
        compact = compact or choice
        if choice.sturdy:
            sturdy = choice
            break
    if compact is None:
        raise PayloadTooLongError("The site's address is too long for a label: choose a shorter one.")
    return tuple(dict.fromkeys(choice for choice in (sturdy, compact) if choice))


def choices(payload: Payload) -> tuple[Choice, ...]:
    """Return the sturdy choice first, then the one for short space where that is smaller.

    An address of 31 signs: v3-Q, then v2-M. A bare code: v2-H, then v1-H.
    """
    for part in payload.segments:
        if isinstance(part, str) and not set(part.encode()) <= set(util.ALPHA_NUM):
            raise PayloadTooLongError("A label carries capitals, figures and - . / : alone.")
    return _choices_for(tuple((isinstance(part, bytes), len(part)) for part in payload.segments))


def matrix(payload: Payload, choice: Choice) -> tuple[tuple[bool, ...], ...]:
    """Return the symbol's modules, row by row, without the quiet zone; the mask is scored as the standard says."""
    maker = qrcode.QRCode(version=choice.version, error_correction=_LEVELS[choice.level], border=0)
    for part in payload.segments:
        mode = util.MODE_8BIT_BYTE if isinstance(part, bytes) else util.MODE_ALPHA_NUM
        maker.add_data(util.QRData(part, mode=mode))
    maker.make(fit=False)
    return tuple(tuple(map(bool, row)) for row in maker.modules)


def runs(modules: tuple[tuple[bool, ...], ...]) -> list[tuple[int, int, int]]:
    """Return the dark runs as (column, row, length)."""
    found = []
    for y, row in enumerate(modules):
        x, width = 0, len(row)
        while x < width:
            if row[x]:
                end = x + 1
                while end < width and row[end]:
                    end += 1
                found.append((x, y, end - x))
                x = end
            x += 1
    return found


def fit_symbol(payload: Payload, *, room_mm: float, dpi: int) -> Fit:
    """Fit a symbol with its quiet zone into a square of `room_mm`: the sturdy choice, or the smaller one where the sturdy
    one's modules would fall under four printer dots; as many whole dots a module as there is room for."""
    offered = choices(payload)
    fits = [(choice, _dots_in(choice, room_mm, dpi)) for choice in offered]
    choice, dots = next(((c, d) for c, d in fits if d >= LEAST_DOTS), fits[-1])
    warnings = []
    if dots < LEAST_DOTS:
        need = offered[-1].modules_with_quiet * dots_mm(LEAST_DOTS, dpi)
        printed = f"{max(dots, 1)} printer dot{'s' if dots > 1 else ''}"
        warnings.append(
            f"A module would be {printed} ({dots_mm(max(dots, 1), dpi):.2f}\u2009mm) at {dpi} dots an inch, and phones want"
            f" {LEAST_DOTS}: the code needs a label with {_up(need)}\u2009mm of height and width for it."
        )
    elif not choice.sturdy:
        warnings.append("The smaller code had to be taken: it stands less dirt than the usual one.")
    return Fit(choice=choice, dpi=dpi, dots=max(dots, 1), warnings=tuple(warnings))


def _dots_in(choice: Choice, room_mm: float, dpi: int) -> int:
    room = int(room_mm / choice.modules_with_quiet / MM_PER_INCH * dpi + 1e-9)
    return min(room, int(MOST_MODULE_MM / MM_PER_INCH * dpi))


def wrap_mm(diameter_mm: float) -> float:
    """Return how much of a flag goes once around a lead, in whole millimetres, rounded up."""
    return float(math.ceil(math.pi * diameter_mm - 1e-9))


def carried_on_the_round(symbol_mm: float, diameter_mm: float) -> str:
    """Say whether a symbol stuck on a lead's round still reads: an empty text, or a sentence with what would fit."""
    if symbol_mm <= CARRY_DESIGN * diameter_mm:
        return ""
    carries = f"a lead of {diameter_mm:g}\u2009mm carries {CARRY_DESIGN * diameter_mm:.1f}\u2009mm well"
    if symbol_mm <= CARRY_MOST * diameter_mm:
        return f"The code is {symbol_mm:.1f}\u2009mm wide and {carries}: it reads only when held straight. A flag is safer."
    return (
        f"The code is {symbol_mm:.1f}\u2009mm wide, {carries} and {CARRY_MOST * diameter_mm:.1f}\u2009mm at the most:"
        f" take a flag of {flag_length_mm(diameter_mm):g} × {FLAG_HEIGHT_MM:g}\u2009mm."
    )


FLAG_FACE_MM, FLAG_HEIGHT_MM, FLAG_LEAST_FACE_MM = 29.0, 18.0, 20.0


def flag_length_mm(diameter_mm: float) -> float:
    """Return how long a flag for a lead is: two faces of 29 mm, and once around the lead between them."""
    return 2 * FLAG_FACE_MM + wrap_mm(diameter_mm)


def flag_fits(length_mm: float, diameter_mm: float) -> str:
    """Say whether a flag is long enough for a lead: an empty text, or a sentence with what would fit."""
    face = (length_mm - wrap_mm(diameter_mm)) / 2
    if face >= FLAG_LEAST_FACE_MM:
        return ""
    return (
        f"{length_mm:g}\u2009mm is too short to fold around a lead of {diameter_mm:g}\u2009mm: it takes"
        f" {wrap_mm(diameter_mm):g}\u2009mm to go around and two faces of {FLAG_LEAST_FACE_MM:g}\u2009mm at the least."
        f" A flag of {flag_length_mm(diameter_mm):g} × {FLAG_HEIGHT_MM:g}\u2009mm would fit."
    )


def _up(value: float) -> str:
    return f"{math.ceil(value * 10 - 1e-9) / 10:g}"
