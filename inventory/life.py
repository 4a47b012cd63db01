"""An item's life as a strip: what is ahead, today, and what has been, long quiet runs told in one line."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from zoneinfo import ZoneInfo

from inventory.registries import LifeEntry

SHOW, GOOD = "back", "tick"  # came back and nothing was said against it; passed a test
QUIET_MARKS = frozenset({SHOW, GOOD})


@dataclass(frozen=True, kw_only=True)
class LifeRow:
    """One line of the strip: an entry, or a run of quiet shows and good tests."""

    entry: LifeEntry | None = None
    when: str = ""
    did: str = ""
    small: str = ""


def life_rows(entries: Iterable[LifeEntry], *, day: date, zone: ZoneInfo) -> tuple[list[LifeRow], list[LifeRow]]:
    """Return what is ahead (the furthest first) and what has been (the newest first)."""
    ordered = sorted(entries, key=lambda e: _instant(e.at, zone), reverse=True)
    ahead = [LifeRow(entry=e) for e in ordered if e.ahead]
    return ahead, _grouped([e for e in ordered if not e.ahead], day=day, zone=zone)


def _grouped(past: list[LifeEntry], *, day: date, zone: ZoneInfo) -> list[LifeRow]:
    rows: list[LifeRow] = []
    run: list[LifeEntry] = []
    newest_proof = next((e for e in past if e.mark == GOOD), None)  # what its standing rests on is never folded away

    def finish() -> None:
        if len(run) < 3:
            rows.extend(LifeRow(entry=e) for e in run)
        else:
            days = [_day(e.at, zone) for e in run]
            rows.append(LifeRow(when=_span(min(days), max(days), day), did=_counted(run), small=_names(run)))
        run.clear()

    for entry in past:
        quiet = entry.mark in QUIET_MARKS and not entry.bad and not entry.patched and entry is not newest_proof
        when = _day(entry.at, zone)
        if not quiet or (when.year, when.month) == (day.year, day.month):
            finish()
            rows.append(LifeRow(entry=entry))
            continue
        if run and _day(run[-1].at, zone).year != when.year:
            finish()
        run.append(entry)
    finish()
    return rows


def _counted(run: list[LifeEntry]) -> str:
    """Say what a run holds: 6 shows, 4 tests, all good."""
    shows = sum(e.mark == SHOW for e in run)
    tests = len(run) - shows
    parts = [f"{shows} show{'s' if shows > 1 else ''}"] if shows else []
    parts += [f"{tests} tests, all good" if tests > 1 else "1 good test"] if tests else []
    return ", ".join(parts)


def _names(run: list[LifeEntry]) -> str:
    names = list(dict.fromkeys(e.did for e in run if e.mark == SHOW))
    shown = ", ".join(names[:3])
    return f"{shown} and {len(names) - 3} more" if len(names) > 3 else shown


def _span(first: date, last: date, day: date) -> str:
    year = "" if last.year == day.year else f" {last.year}"
    if (first.year, first.month) == (last.year, last.month):
        return f"{last:%B}{year}"
    return f"{first:%b} to {last:%b}{year}"


def _day(at: datetime | date, zone: ZoneInfo) -> date:
    return at.astimezone(zone).date() if isinstance(at, datetime) else at


def _instant(at: datetime | date, zone: ZoneInfo) -> datetime:
    return at if isinstance(at, datetime) else datetime.combine(at, time(), tzinfo=zone)
