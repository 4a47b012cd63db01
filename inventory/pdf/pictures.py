"""One label as a picture: SVG for the screen and for print shops, PNG on exactly whole printer dots for thermal printers."""

from functools import lru_cache
from io import BytesIO
from xml.sax.saxutils import escape, quoteattr

from PIL import Image, ImageDraw, ImageFont

from inventory.calc import label_drawings as d
from inventory.calc import labels
from inventory.calc.labels import MM_PER_INCH
from inventory.pdf import fonts

FAMILIES = {"marker": "Marker, 'Caveat Brush', cursive", "stamp": "Stamp, 'Martian Mono', monospace"}


@lru_cache(maxsize=512)
def symbol_path(payload: labels.Payload, choice: labels.Choice) -> str:
    """Return a symbol's dark runs as SVG path data, a module to the unit."""
    return "".join(f"M{x} {y}h{n}v1h-{n}z" for x, y, n in labels.runs(labels.matrix(payload, choice)))


def parts_svg(drawing: d.Drawing) -> str:
    """Return a drawing's parts as SVG elements in millimetres."""
    return "".join(_element(part) for part in drawing.parts)


def _element(part: d.Part) -> str:
    match part:
        case d.Symbol():
            path = symbol_path(part.payload, part.fit.choice)
            move = f"translate({part.x:.4f} {part.y:.4f}) scale({part.fit.module_mm:.6f})"
            return f'<path shape-rendering="crispEdges" transform="{move}" d="{path}"/>'
        case d.Words():
            anchor = ' text-anchor="middle"' if part.anchor == "middle" else ""
            return (
                f'<text x="{part.x:.3f}" y="{part.y:.3f}" font-family={quoteattr(FAMILIES[part.face])}'
                f' class="{part.face}" font-size="{part.size_mm:.3f}"{anchor} textLength="{part.width_mm:.3f}"'
                f' lengthAdjust="spacingAndGlyphs">{escape(part.text)}</text>'
            )
        case d.Ring():
            return (
                f'<circle cx="{part.x:.3f}" cy="{part.y:.3f}" r="{part.radius:.3f}" fill="none" stroke="#000"'
                f' stroke-width="{part.stroke}"/>'
            )
        case d.Frame():
            return (
                f'<rect x="{part.x:.3f}" y="{part.y:.3f}" width="{part.width:.3f}" height="{part.height:.3f}" fill="none"'
                f"{_stroke(part)}/>"
            )
        case d.Line():
            return f'<path d="M{part.x1:.3f} {part.y1:.3f}L{part.x2:.3f} {part.y2:.3f}"{_stroke(part)}/>'


def _stroke(part: d.Frame | d.Line) -> str:
    dashes = ' stroke-dasharray="1.2 1"' if part.dashed else ""
    return f' stroke="{"#8c8c8c" if part.quiet else "#000"}" stroke-width="{part.stroke}"{dashes}'


def label_svg(drawing: d.Drawing, *, title: str) -> str:
    """Return a label as a free-standing SVG in real millimetres, on white."""
    width, height = drawing.width_mm, drawing.height_mm
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" viewBox="0 0 {width:g} {height:g}"'
        f' role="img"><title>{escape(title)}</title><rect width="100%" height="100%" fill="#fff"/>{parts_svg(drawing)}</svg>'
    )


@lru_cache(maxsize=256)
def _font(face: str, pixels: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(fonts.FILES[face]), pixels)


def label_png(drawing: d.Drawing, *, dpi: int) -> bytes:
    """Return a label in black and white at a printer's dots: a module is exactly so many whole dots, nothing is smoothed.

    Whoever prints it must print it at 100 %: a head can't print 2.6 dots.
    """
    size = _dots(drawing.width_mm, dpi), _dots(drawing.height_mm, dpi)
    image = Image.new("1", size, 1)
    pen = ImageDraw.Draw(image)
    pen.fontmode = "1"
    for part in drawing.parts:
        _paint(image, pen, part, dpi)
    return _png(image, dpi)


def symbol_png(payload: labels.Payload, choice: labels.Choice, *, dots: int, dpi: int) -> bytes:
    """Return a symbol alone with its quiet zone, `dots` whole dots a module."""
    return _png(_symbol_image(payload, choice, dots, labels.QUIET_MODULES), dpi)


def _symbol_image(payload: labels.Payload, choice: labels.Choice, dots: int, quiet: int) -> Image.Image:
    modules = labels.matrix(payload, choice)
    side = len(modules) + 2 * quiet
    image = Image.new("1", (side, side), 1)
    for y, row in enumerate(modules):
        for x, dark in enumerate(row):
            if dark:
                image.putpixel((x + quiet, y + quiet), 0)
    return image.resize((side * dots, side * dots), Image.Resampling.NEAREST)


def _png(image: Image.Image, dpi: int) -> bytes:
    out = BytesIO()
    image.save(out, "PNG", dpi=(dpi, dpi), optimize=True)
    return out.getvalue()


def _dots(mm: float, dpi: int) -> int:
    return round(mm / MM_PER_INCH * dpi)


def _paint(image: Image.Image, pen: ImageDraw.ImageDraw, part: d.Part, dpi: int) -> None:
    match part:
        case d.Symbol():
            symbol = _symbol_image(part.payload, part.fit.choice, part.fit.dots, 0)
            image.paste(symbol, (_dots(part.x, dpi), _dots(part.y, dpi)))
        case d.Words():
            font = _font(part.face, max(1, _dots(part.size_mm, dpi)))
            at = _dots(part.x, dpi), _dots(part.y, dpi)
            pen.text(at, part.text.replace("\u2009", " "), font=font, fill=0, anchor="ms" if part.anchor == "middle" else "ls")
        case d.Ring():
            box = [
                _dots(v, dpi) for v in (part.x - part.radius, part.y - part.radius, part.x + part.radius, part.y + part.radius)
            ]
            pen.ellipse(box, outline=0, width=max(1, _dots(part.stroke, dpi)))
        case d.Frame():
            box = [_dots(v, dpi) for v in (part.x, part.y, part.x + part.width, part.y + part.height)]
            pen.rectangle(box, outline=0, width=max(1, _dots(part.stroke, dpi)))
        case d.Line():
            ends = [_dots(v, dpi) for v in (part.x1, part.y1, part.x2, part.y2)]
            if part.dashed:
                _dashes(pen, ends, dpi)
            else:
                pen.line(ends, fill=0, width=max(1, _dots(part.stroke, dpi)))


def _dashes(pen: ImageDraw.ImageDraw, ends: list[int], dpi: int) -> None:
    """Dash a line that stands upright: the only kind that is dashed."""
    step, dash = max(2, _dots(2.2, dpi)), max(1, _dots(1.2, dpi))
    for y in range(ends[1], ends[3], step):
        pen.line([ends[0], y, ends[0], min(y + dash, ends[3])], fill=0)
