"""Drawing tape in templates: marks, strips, five-bar gates, codes, days and hours. Loaded everywhere as a builtin."""

import random
import re
from datetime import date, datetime
from typing import Any

from django import template
from django.utils import timezone
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString, mark_safe

from company.marks import MARKS, STANDING_MARKS

register = template.Library()

_UNIT = re.compile(r"(\u2009[^\s:;,.]+)")  # a thin space and what follows it to the word's end

_CROSS = mark_safe(
    '<svg class="cross" preserveAspectRatio="none" viewBox="0 0 100 100" aria-hidden="true"><path d="M3 88C30 62 68 36 98 9'
    'M4 12C34 34 66 66 97 90" fill="none" stroke="currentColor" stroke-width="4" vector-effect="non-scaling-stroke"/></svg>'
)


@register.simple_tag
def mark(name: str) -> SafeString:
    """Draw one mark; an unknown name draws nothing, since its word stands beside it."""
    strokes = MARKS.get(name, "")
    if not strokes:
        return mark_safe("")
    return format_html('<svg class="mark" viewBox="0 0 24 24" aria-hidden="true">{}</svg>', mark_safe(strokes))


@register.simple_tag
def standing_mark(standing: str, lifted: str = "") -> SafeString:
    """Draw the mark of a standing, or of being away: `lifted` is an arrow's name, `question` for missing."""
    return mark(lifted or STANDING_MARKS.get(standing, ""))


@register.simple_tag
def cross_out(standing: str) -> SafeString:
    """Draw the two strokes across a retired strip."""
    return _CROSS if standing == "retired" else mark_safe("")


@register.filter
def code(value: str | None) -> str:
    """Print a code in its two halves: 4H2K70AB as 4H2K-70AB."""
    value = value or ""
    return f"{value[:4]}-{value[4:]}" if len(value) == 8 else value


@register.filter
def day(value: date | datetime | None) -> str:
    """Write a day as Fri 4 Dec; the year only when it is not this one."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        value = timezone.localtime(value).date() if timezone.is_aware(value) else value.date()
    year = "" if value.year == timezone.localdate().year else f" {value.year}"
    return f"{value:%a} {value.day} {value:%b}{year}"


@register.filter
def clock(value: datetime | None) -> str:
    """Write a time as 18:30."""
    if value is None:
        return ""
    return f"{timezone.localtime(value) if timezone.is_aware(value) else value:%H:%M}"


@register.filter
def moment(value: datetime | None) -> str:
    """Write an instant as Fri 4 Dec, 18:30."""
    return f"{day(value)}, {clock(value)}" if value else ""


@register.filter
def metres(value_mm: int | None, units: str = "metric") -> str:
    """Write a length in millimetres as 10 m, 0.5 m or 33 ft, with a thin space before the unit."""
    if not value_mm:
        return ""
    if units == "imperial":
        return f"{round(value_mm / 304.8)}\u2009ft"
    return f"{value_mm / 1000:g}\u2009m"


@register.filter
def money(cents: int | None, currency: str = "") -> str:
    """Write whole cents as 12.50, with the currency behind it if given."""
    if cents is None:
        return ""
    return f"{cents // 100}.{cents % 100:02d} {currency}".rstrip()


@register.simple_tag
def gates(done: int, total: int) -> SafeString:
    """Draw a hand's tally: five-bar gates inked for what was scanned, dots for what is still to come (at most 100)."""
    total = min(max(total, done), 100)
    wobble = random.Random(f"{total}")  # noqa: S311 (a drawing, not a secret)
    drawings: list[str] = []
    for start in range(0, total, 5):
        strokes: list[str] = []
        for place in range(min(5, total - start)):
            x = 3 + 7 * place
            if start + place >= done:
                strokes.append(f'<path class="todo" d="M{x} 21.5v.3"/>')
            elif place == 4:
                strokes.append(f'<path d="M{-2 + wobble.uniform(-1.2, 1.2):.1f} 19.5L29 {5 + wobble.uniform(-1, 1):.1f}"/>')
            else:
                top, foot = wobble.uniform(0.8, 3), wobble.uniform(20.5, 23)
                strokes.append(
                    f'<path d="M{x + wobble.uniform(-1, 1):.1f} {top:.1f}L{x + wobble.uniform(-1, 1):.1f} {foot:.1f}"/>'
                )
        drawings.append(f'<svg viewBox="0 0 30 24">{"".join(strokes)}</svg>')
    return format_html('<span class="gates" aria-hidden="true">{}</span>', mark_safe("".join(drawings)))


@register.inclusion_tag("_strip.html")
def strip(
    name: str, url: str = "", code: str = "", standing: str = "", lifted: str = "", mark: str = "", end: str = "", css: str = ""
) -> dict[str, Any]:
    """Draw one strip. `lifted` is the mark of being away (out, back, question): with it only the outline stays."""
    return {
        "name": name,
        "url": url,
        "code": code,
        "standing": standing,
        "lifted": lifted,
        "mark_name": mark or lifted or STANDING_MARKS.get(standing, ""),
        "end": end,
        "css": css,
    }


@register.filter
def strip_name(value: str) -> SafeString:
    """Keep units out of the capitals a name is lettered in, also in the middle of one: 10 m, never 10 M."""
    # split by a group, every second part is a unit with its thin space
    parts = _UNIT.split(str(value))
    return format_html_join("", "{}", ((format_html('<i class="u">{}</i>', p) if n % 2 else p,) for n, p in enumerate(parts)))


@register.simple_tag(takes_context=True)
def query(context: template.Context, **changes: Any) -> str:
    """Return this page's query string with some values changed, so that filters survive sorting and paging."""
    fields = context["request"].GET.copy()
    for key, value in changes.items():
        if value in (None, ""):
            fields.pop(key, None)
        else:
            fields[key] = value
    return f"?{fields.urlencode()}" if fields else "?"


@register.filter
def may(person: Any, role: str) -> bool:
    """Say whether a person may do what `role` may do."""
    return bool(person and person.is_authenticated and person.is_at_least(role))
