"""Films for a fake camera: labels on a noisy ground, dark, tilted, round a cable. Made in the test, never kept."""

from collections.abc import Iterable
from pathlib import Path

import numpy as np
from PIL import Image

from inventory.calc.qr import matrix_of

WIDTH, HEIGHT = 1280, 720
FPS = 10


def label(text: str, module: int = 7) -> Image.Image:
    """Draw a label as a picture in grey, with its quiet zone."""
    matrix = np.array(matrix_of(text), dtype=bool)
    side = np.pad(~matrix, 4, constant_values=True)
    return Image.fromarray((side.repeat(module, 0).repeat(module, 1) * 215 + 25).astype(np.uint8))


def ground(seed: int = 1) -> Image.Image:
    """Return what a phone's sensor makes of a dim floor: noise, no two frames alike."""
    noise = np.random.default_rng(seed).normal(105, 18, (HEIGHT, WIDTH))
    return Image.fromarray(np.clip(noise, 0, 255).astype(np.uint8))


def laid(picture: Image.Image, *, at: tuple[int, int] | None = None, seed: int = 1) -> Image.Image:
    """Lay a picture on the floor, in the middle unless told where."""
    frame = ground(seed)
    x, y = at or ((WIDTH - picture.width) // 2, (HEIGHT - picture.height) // 2)
    frame.paste(picture, (x, y))
    return frame


def dark(frame: Image.Image) -> Image.Image:
    """Return a frame with an eighth of its contrast, and dim."""
    grey = np.asarray(frame, dtype=float)
    return Image.fromarray(
        np.clip(28 + (grey - grey.mean()) * 0.12 + np.random.default_rng(2).normal(0, 2, grey.shape), 0, 255).astype(np.uint8)
    )


def tilted(picture: Image.Image) -> Image.Image:
    """Return a picture seen from the side: its far edge is a third shorter."""
    w, h = picture.size
    shrink = h / 6
    # what lies in the square comes from this quadrilateral: the inverse of what the eye sees
    return picture.transform(
        (w, h), Image.Transform.QUAD, (0, -shrink, 0, h + shrink, w, h, w, 0), Image.Resampling.BICUBIC, fillcolor=120
    )


def wrapped(picture: Image.Image, half_angle: float = 50.0) -> Image.Image:
    """Return a picture laid round a cable, seen from the front: towards the edges it grows narrow."""
    w = picture.width
    edge = np.sin(np.radians(half_angle))
    across = np.linspace(-1, 1, w)
    source = np.degrees(np.arcsin(across * edge)) / half_angle  # -1..1 on the flat label
    columns = np.clip(((source + 1) / 2 * (w - 1)).round().astype(int), 0, w - 1)
    return Image.fromarray(np.asarray(picture)[:, columns])


def sheet(texts: list[str]) -> Image.Image:
    """Lay twelve labels out as in a case laid open: four by three."""
    frame = ground(3)
    for n, text in enumerate(texts):
        picture = label(text, 5)
        frame.paste(picture, (40 + n % 4 * 310, 20 + n // 4 * 235))
    return frame


def film(path: Path, frames: Iterable[Image.Image], *, each: int = 6) -> Path:
    """Write a film (YUV4MPEG2, 4:2:0, grey) of these frames, each held for a moment; the fake camera plays it over and over."""
    half = bytes([128]) * (WIDTH * HEIGHT // 4)
    with path.open("wb") as out:
        out.write(f"YUV4MPEG2 W{WIDTH} H{HEIGHT} F{FPS}:1 Ip A1:1 C420mpeg2\n".encode())
        for frame in frames:
            plane = np.asarray(frame.convert("L"), dtype=np.uint8).tobytes()
            for _ in range(each):
                out.write(b"FRAME\n" + plane + half + half)
    return path
