"""Scans carried by hand from a phone that finds no network to a machine of the shop: as a file, or as a row of QR codes.

A code says CARRY.<batch>.<number>.<of>.<part>: capitals, digits and dots, which QR packs tightest. The parts of a batch in
order are base32 (RFC 4648) of zlib's format (RFC 1950, which checks itself) of the same JSON that a file holds.
"""

import base64
import binascii
import json
import re
import zlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

MOST_BYTES = 4_000_000  # of JSON: some ten thousand scans
MOST_PARTS = 500
FORMAT = "knowngood scans 1"
_PART = re.compile(r"CARRY\.([A-Z0-9]{4,12})\.(\d{1,3})\.(\d{1,3})\.([A-Z2-7]*)")
_PER_CODE = 480


class CarryError(ValueError):
    """What was carried cannot be read, in words for a person."""


@dataclass(frozen=True, kw_only=True)
class Carried:
    """What one phone had: its name, how far its clock is off (ms to add), and its scans as it would have sent them."""

    device: str
    offset_ms: float
    scans: list[Any]


@dataclass(kw_only=True)
class Heap:
    """Codes read so far: batches that are whole, and of each other one which numbers are still missing."""

    whole: list[Carried] = field(default_factory=list)
    missing: dict[str, list[int]] = field(default_factory=dict)
    strange: list[str] = field(default_factory=list)


def carried_of(content: bytes) -> Carried:
    """Read a file."""
    if len(content) > MOST_BYTES:
        raise CarryError("That file is larger than any phone's scans.")
    try:
        held = json.loads(content)
    except (ValueError, RecursionError):
        raise CarryError("That is no file of scans from a phone.") from None
    if not isinstance(held, dict) or held.get("format") != FORMAT or not isinstance(held.get("scans"), list):
        raise CarryError("That is no file of scans from a phone.")
    offset = held.get("offset_ms")
    off = float(offset) if isinstance(offset, int | float) and not isinstance(offset, bool) and abs(offset) < 1e12 else 0.0
    return Carried(device=str(held.get("device") or "")[:64], offset_ms=off, scans=held["scans"])


def heap_of(texts: Iterable[str]) -> Heap:
    """Put codes together, in whatever order and however often each was read."""
    heap, parts, sizes = Heap(), dict[str, dict[int, str]](), dict[str, int]()
    for text in (line.strip().upper() for line in texts):
        if not text:
            continue
        read = _PART.fullmatch(text)
        if read is None or not 1 <= int(read[2]) <= int(read[3]) <= MOST_PARTS:
            heap.strange.append(text[:60])
            continue
        batch = read[1]
        if sizes.setdefault(batch, int(read[3])) != int(read[3]):
            heap.strange.append(text[:60])
            continue
        parts.setdefault(batch, {})[int(read[2])] = read[4]
    for batch, held in parts.items():
        if lacking := [number for number in range(1, sizes[batch] + 1) if number not in held]:
            heap.missing[batch] = lacking
        else:
            heap.whole.append(carried_of(_inflated("".join(held[number] for number in sorted(held)))))
    return heap


def codes_of(content: bytes, batch: str) -> list[str]:
    """Return a file as the texts of a row of codes: what a phone draws."""
    packer = zlib.compressobj(9)
    packed = base64.b32encode(packer.compress(content) + packer.flush()).decode().rstrip("=")
    cut = [packed[start : start + _PER_CODE] for start in range(0, len(packed), _PER_CODE)] or [""]
    return [f"CARRY.{batch}.{number}.{len(cut)}.{part}" for number, part in enumerate(cut, start=1)]


def _inflated(packed: str) -> bytes:
    try:
        packed_bytes = base64.b32decode(packed + "=" * (-len(packed) % 8))
        unpacker = zlib.decompressobj()
        content = unpacker.decompress(packed_bytes, MOST_BYTES)
    except (binascii.Error, zlib.error):
        raise CarryError("One of the codes was read wrong: scan them again.") from None
    if unpacker.unconsumed_tail or not unpacker.eof:
        raise CarryError("One of the codes was read wrong: scan them again.")
    return content
