"""Writes to input lists: save a whole grid as one change, with the way back, and without overwriting anybody silently."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from django.core.exceptions import ValidationError
from django.db import transaction

from company.models import Person
from inventory.models import GearType
from shows.calc.input_list import MOST_LINES, Row
from shows.calc.line_changes import changes_said, digest, line_row, lines_match, needs_the_same
from shows.calc.line_judging import Line
from shows.calc.lines import LineWay, PhantomWish, PlaceSort, Side, Whose
from shows.calc.words import Critical, Feed
from shows.models import InputLine, ListSave, ListTemplate, Promised, Show, SourceType, StageLoad, StagePlace
from shows.planning.input_list import line_of, lines_of

KEPT_SAVES = 30  # the way back is for a slip of the hand, not an archive
_FREE_NUMBERS = range(1, 1000)
# every column a line's row has but its keys
_WRITTEN = (
    "number", "way", "source", "type", "side", "player", "place", "pickup", "stand", "desk_input", "box", "box_input",
    "phantom", "feed", "whose", "critical", "notes",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Saved:
    """What a save did: how many lines were added, changed and removed, promises let go, places made."""

    added: int = 0
    changed: int = 0
    removed: int = 0
    let_go: int = 0
    places: tuple[str, ...] = ()
    became: str = ""

    @property
    def words(self) -> str:
        """Say it in one sentence."""
        parts = [f"{count} {word}" for count, word in self._counts() if count]
        said = f"Saved: {', '.join(parts)}." if parts else "Nothing was different: it is saved as it was."
        if self.places:
            one = len(self.places) == 1
            said += f" New on the stage: {', '.join(self.places[:6])}{' and more' if len(self.places) > 6 else ''}"
            said += f"; say on the stage plan where {'it stands' if one else 'they stand'}."
        if self.let_go:
            one = self.let_go == 1
            said += f" {self.let_go} {'thing is' if one else 'things are'} no longer promised, because the line changed."
        return said

    def _counts(self) -> tuple[tuple[int, str], ...]:
        return (
            (self.added, "line added" if self.added == 1 else "lines added"),
            (self.changed, "changed"),
            (self.removed, "removed"),
        )


class StaleError(ValidationError):
    """The list is not as it was when the page was opened: who changed it, when, and what is different."""

    def __init__(self, *, save: ListSave | None, changes: Sequence[str], became: str) -> None:
        self.save, self.changes, self.became = save, list(changes), became
        super().__init__("The list was changed while you were writing. What you typed is kept below and not saved yet.")


@transaction.atomic
def lines_save(
    *, show: Show, rows: Sequence[Line], person: Person | None, at: datetime, seen: str | None = None, did: str = ""
) -> Saved:
    """Make a show's list exactly these lines, as one change that can be undone.

    `seen` is the mark (`digest`) of the list they were written over: where it has changed since, StaleError says how and
    nothing is written. Places named are made; what was promised to a line stays while the line needs the same.
    """
    Show.objects.select_for_update().get(pk=show.pk)
    if len(rows) > MOST_LINES:
        raise ValidationError(f"An input list holds at most {MOST_LINES} lines.")
    stored = lines_of(show)
    before = [line_of(line) for line in stored]
    was = digest(before)
    if seen is not None and seen != was:
        raise _stale(show, seen=seen, was=was, now=before)
    writing = _Writing.begun(show, rows)
    rows = [writing.spelled(row) for row in rows]
    became = digest(rows)
    if became == was:
        return Saved(became=was)
    saved = writing.write(stored, before, rows)
    ListSave.objects.create(
        show=show,
        at=at,
        person=person,
        did=did[:120],
        before=[line_row(line) for line in before],
        was=was,
        became=became,
    )
    old = ListSave.objects.filter(show=show).values_list("pk", flat=True)[KEPT_SAVES:]
    ListSave.objects.filter(pk__in=list(old)).delete()
    return Saved(added=saved[0], changed=saved[1], removed=saved[2], let_go=saved[3], places=tuple(writing.made), became=became)


def _stale(show: Show, *, seen: str, was: str, now: Sequence[Line]) -> StaleError:
    saves = list(ListSave.objects.filter(show=show).select_related("person"))
    last = saves[0] if saves and saves[0].became == was else None
    base = next((save for save in reversed(saves) if save.was == seen), None)
    changes = changes_said([line_read(row) for row in base.before], now) if base else []
    return StaleError(save=last, changes=changes, became=was)


def line_read(row: Row) -> Line:
    """Return a line as a save kept it."""
    return Line(
        number=int(row["number"]),
        way=LineWay(row["way"]),
        source=row["source"],
        kind=row.get("kind", ""),
        side=Side(row.get("side", "")),
        player=row.get("player", ""),
        where=row.get("where", ""),
        pickup=row.get("pickup", ""),
        stand=row.get("stand", ""),
        desk=int(row["desk"]) if "desk" in row else None,
        box=row.get("box", ""),
        box_input=int(row["box_input"]) if "box_input" in row else None,
        phantom=PhantomWish(row.get("phantom", "")),
        feed=Feed(row.get("feed", "")),
        whose=Whose(row.get("whose", "ours")),
        critical=Critical(row.get("critical", "normal")),
        notes=row.get("notes", ""),
    )


@dataclass(kw_only=True)
class _Writing:
    """One save under way: what names mean here, and which places were made for it."""

    show: Show
    kinds: dict[str, int]
    types: dict[str, int]
    places: dict[str, StagePlace]
    made: list[str]

    @classmethod
    def begun(cls, show: Show, rows: Sequence[Line]) -> "_Writing":
        names = {name for row in rows for name in (row.pickup, row.stand) if name}
        writing = cls(
            show=show,
            kinds=dict(SourceType.objects.filter(key__in={row.kind for row in rows}).values_list("key", "pk")),
            types=dict(GearType.objects.filter(name__in=names).values_list("name", "pk")),
            places={place.name.casefold(): place for place in StagePlace.objects.filter(show=show)},
            made=[],
        )
        writing._make_places(rows)
        return writing

    def _make_places(self, rows: Sequence[Line]) -> None:
        wanted = {row.box.casefold(): (row.box, PlaceSort.BOX) for row in rows if row.box}
        for row in rows:
            if row.where:
                wanted.setdefault(row.where.casefold(), (row.where, PlaceSort.SOURCE))
        fresh = [
            StagePlace(show=self.show, name=name, sort=sort) for key, (name, sort) in wanted.items() if key not in self.places
        ]
        for place in fresh:
            place.clean_fields(exclude=["show", "feed", "type"])
        StagePlace.objects.bulk_create(fresh)
        self.made = [place.name for place in fresh]
        self.places |= {place.name.casefold(): place for place in fresh}

    def spelled(self, line: Line) -> Line:
        """Return a line with its places spelled as the stage spells them, and without kinds and types the record has lost."""
        where, box = (self.places[name.casefold()].name if name else "" for name in (line.where, line.box))
        return replace(
            line,
            where=where,
            box=box,
            kind=line.kind if line.kind in self.kinds else "",
            pickup=line.pickup if line.pickup in self.types else "",
            stand=line.stand if line.stand in self.types else "",
        )

    def fields(self, line: Line) -> dict[str, object]:
        """Return a line's columns."""
        place = self.places.get(line.where.casefold()) if line.where else None
        box = self.places.get(line.box.casefold()) if line.box else None
        if box is not None and box.sort != PlaceSort.BOX:
            raise ValidationError(f"“{line.box}” is a place for sources: a stage box needs a name of its own.")
        return {
            "number": line.number,
            "way": line.way.value,
            "source": line.source,
            "type_id": self.kinds.get(line.kind),
            "side": line.side.value,
            "player": line.player,
            "place_id": place.pk if place else None,
            "pickup_id": self.types.get(line.pickup),
            "stand_id": self.types.get(line.stand),
            "desk_input": line.desk,
            "box_id": box.pk if box else None,
            "box_input": line.box_input,
            "phantom": line.phantom.value,
            "feed": line.feed.value,
            "whose": line.whose.value,
            "critical": line.critical.value,
            "notes": line.notes,
        }

    def write(self, stored: list[InputLine], before: list[Line], rows: Sequence[Line]) -> tuple[int, int, int, int]:
        matched = lines_match(before, rows)
        kept = {n for n in matched if n is not None}
        gone = [line.pk for n, line in enumerate(stored) if n not in kept]
        InputLine.objects.filter(pk__in=gone).delete()
        fresh, changed, other = [], [], []
        for row, n in zip(rows, matched, strict=True):
            if n is None:
                fresh.append(InputLine(show=self.show, **self.fields(row)))
                continue
            if before[n] == row:
                continue
            line = stored[n]
            if not needs_the_same(before[n], row):
                other.append(line.pk)
            for name, value in self.fields(row).items():
                setattr(line, name, value)
            changed.append(line)
        for line in [*fresh, *changed]:
            # its keys were looked up just now: asking for each of them again would be a query a cell
            line.clean_fields(exclude=["show", "type", "place", "pickup", "stand", "box"])
        self._out_of_the_way(stored, changed)
        # one statement for all: bulk_update writes a CASE a cell, and takes half a second over 48 lines
        InputLine.objects.bulk_create(
            changed, update_conflicts=True, unique_fields=["id"], update_fields=_WRITTEN, batch_size=100
        )
        InputLine.objects.bulk_create(fresh, batch_size=100)
        let_go, _ = Promised.objects.filter(line__in=other).delete() if other else (0, {})
        self._tidy_places(before, rows)
        return len(fresh), len(changed), len(gone), let_go

    def _out_of_the_way(self, stored: list[InputLine], moved: list[InputLine]) -> None:
        """Give lines that change numbers nobody has or wants, because the database holds numbers apart row by row."""
        if not moved:
            return
        wanted = {line.number for line in stored}
        taken = set(InputLine.objects.filter(show=self.show).values_list("number", flat=True))
        free = (number for number in reversed(_FREE_NUMBERS) if number not in wanted | taken)
        aside = [InputLine(pk=line.pk, number=next(free)) for line in moved]
        InputLine.objects.bulk_update(aside, ["number"], batch_size=200)

    def _tidy_places(self, before: Sequence[Line], rows: Sequence[Line]) -> None:
        """Forget places the list alone had made and no longer names, on which nobody has said anything."""
        now = {name.casefold() for row in rows for name in (row.where, row.box)}
        left = {name.casefold() for line in before for name in (line.where, line.box) if name} - now
        keys = [self.places[name].pk for name in left if name in self.places]
        if keys:
            busy = StageLoad.objects.filter(place__in=keys).values("place")
            StagePlace.objects.filter(pk__in=keys, x_mm=None, y_mm=None, feed=None, type=None).exclude(pk__in=busy).exclude(
                sort=PlaceSort.MIX
            ).delete()


def lines_undo(*, show: Show, person: Person | None, at: datetime, seen: str | None = None) -> Saved:
    """Put a list back as it was before its last save; doing it again puts it forth. Raises where nothing was saved yet."""
    last = ListSave.objects.filter(show=show).first()
    if last is None:
        raise ValidationError("Nothing was saved yet, so nothing can be undone.")
    did = "Put back" if last.did == "Undone" else "Undone"
    return lines_save(show=show, rows=[line_read(row) for row in last.before], person=person, at=at, seen=seen, did=did)


def list_keep(*, name: str, notes: str, lines: Sequence[Line]) -> ListTemplate:
    """Keep a list to start others from: who played and what was plugged in where are left out."""
    left_out = {"player", "desk", "box", "box_input"}
    rows = [{key: value for key, value in line_row(line).items() if key not in left_out} for line in lines]
    kept = ListTemplate(name=name, notes=notes, lines=rows)
    kept.full_clean()
    kept.save()
    return kept
