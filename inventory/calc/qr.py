"""QR codes of printed cards: the modules of a short text, and the same as an SVG path."""

import qrcode
from qrcode.constants import ERROR_CORRECT_Q

QUIET_MODULES = 4  # ISO/IEC 18004: an empty border of four modules


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
