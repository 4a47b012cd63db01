"""What the cells of an input list mean, and what is wrong with them: lines, and sentences by row and column.

A sentence that `stops` keeps the list from being saved: what it is about cannot be kept as a line. The others are told and
saved: a guess, a stage box with more lines than inputs, two lines on one desk input.
"""

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from inventory.calc.typed import Odd, checked, shown
from shows.calc.input_list import BY_KEY, KEYS, MOST_LINES, Grid, GridError, Row, part_of
from shows.calc.line_cells import (
    GENERIC,
    NUMBER,
    NUMBER_GLUED,
    SIDE_AT_END,
    WAYS,
    WORDS,
    halves,
    number_of,
    or_words,
    part_word,
    stereo_of,
    way_word,
)
from shows.calc.lines import LineWay, PhantomWish, Side, Whose
from shows.calc.source_words import SourceWords, kind_guess, kind_named, kinds_near, names_near, words_of
from shows.calc.words import Critical, Feed

MOST_NUMBER = 999


@dataclass(frozen=True, kw_only=True)
class BoxKnown:
    """A stage box on the plan. None: nobody has said how many it has."""

    name: str
    inputs: int | None = None
    outputs: int | None = None

    def has(self, way: LineWay) -> int | None:
        return self.inputs if way == LineWay.IN else self.outputs


@dataclass(frozen=True, kw_only=True)
class Known:
    """What a list may name: kinds of sources, types that pick up and stands by every name they go by, places, stage boxes."""

    kinds: tuple[SourceWords, ...] = ()
    pickups: Mapping[str, str] = field(default_factory=dict)  # name or catalogue key, small: the name
    stands: Mapping[str, str] = field(default_factory=dict)
    places: tuple[str, ...] = ()  # of any sort
    boxes: tuple[BoxKnown, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line as it would be kept. `kind` is a SourceType's key; `pickup`, `stand` names of types; empty: nothing said."""

    number: int
    source: str
    way: LineWay = LineWay.IN
    kind: str = ""
    side: Side = Side.WHOLE
    player: str = ""
    where: str = ""
    pickup: str = ""
    stand: str = ""
    desk: int | None = None
    box: str = ""
    box_input: int | None = None
    phantom: PhantomWish = PhantomWish.AS_NEEDED
    feed: Feed = Feed.NOTHING
    whose: Whose = Whose.OURS
    critical: Critical = Critical.NORMAL
    notes: str = ""


@dataclass(frozen=True, kw_only=True)
class Said:
    """A sentence about one cell. `take` names what could stand there instead."""

    row: int
    key: str
    words: str
    stops: bool = True
    take: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Judged:
    """A list as understood: its rows as the grid shows them (a stereo source is two), the lines, and what is to be said.

    `lines` has None where a row cannot be a line; `empty` are the numbers of rows that held a number alone and are no lines.
    """

    rows: tuple[Row, ...]
    lines: tuple[Line | None, ...]
    said: tuple[Said, ...]
    empty: tuple[str, ...] = ()

    @property
    def wrong(self) -> tuple[Said, ...]:
        """Return what keeps the list from being saved."""
        return tuple(one for one in self.said if one.stops)

    @property
    def told(self) -> tuple[Said, ...]:
        return tuple(one for one in self.said if not one.stops)


def lines_judge(grid: Grid, known: Known, *, strangers_to_notes: bool = False) -> Judged:
    """Read a grid's rows as lines and say what is wrong, cell by cell.

    `strangers_to_notes`: a mic/DI, stand or kind we do not know moves to the notes instead of stopping the list.
    """
    return _Reading(known=known, strangers_to_notes=strangers_to_notes).judge(grid)


@dataclass(kw_only=True)
class _Reading:
    known: Known
    strangers_to_notes: bool
    rows: list[Row] = field(default_factory=list)
    said: list[Said] = field(default_factory=list)
    ways: list[LineWay] = field(default_factory=list)
    numbers: list[int | None] = field(default_factory=list)
    empty: list[str] = field(default_factory=list)

    def stop(self, row: int, key: str, words: str, take: tuple[str, ...] = ()) -> None:
        self.said.append(Said(row=row, key=key, words=words, take=take))

    def tell(self, row: int, key: str, words: str, take: tuple[str, ...] = ()) -> None:
        self.said.append(Said(row=row, key=key, words=words, stops=False, take=take))

    def judge(self, grid: Grid) -> Judged:
        self._spread(grid)
        if len(self.rows) > MOST_LINES:
            raise GridError(
                f"With its stereo sources that is {len(self.rows)} lines; an input list holds at most {MOST_LINES}."
            )
        self._number()
        lines = tuple(self._line(n) for n in range(len(self.rows)))
        self._numbers_once()
        self._together(lines)
        order = {key: n for n, key in enumerate(KEYS)}
        said = tuple(sorted(self.said, key=lambda one: (one.row, order.get(one.key, 99))))
        return Judged(rows=tuple(self.rows), lines=lines, said=said, empty=tuple(filter(None, self.empty)))

    # Rows: parts, ways, stereo

    def _spread(self, grid: Grid) -> None:
        """Lay the rows out as the grid shows them: part headings become the way of what follows, a stereo source two rows."""
        part, laid = "", []
        for given in grid.rows:
            if heading := part_of(given):
                part = heading
                continue
            if set(given) <= {"number", "way"}:
                self.empty.append(given.get("number", ""))
                continue
            row, found = dict(given), number_of(given)
            if "way" not in row and (way := part or (part_word(found[1]) if found and found[1] else "")):
                row["way"] = way
            laid.append((row, found))
        taken = {(way_word(row), int(found[2])) for row, found in laid if found and not found[3]}
        for row, found in laid:
            base = stereo_of(row)
            if base is None:
                self.rows.append(row)
            else:
                self._two_rows(row, base, found, taken)

    def _two_rows(self, row: Row, base: str, found: re.Match[str] | None, taken: set[tuple[str, int]]) -> None:
        numbers = ("", "")
        if found:
            first = int(found[2])
            numbers = (str(first), found[3] or str(first + 1))
            if not found[3] and (way_word(row), first + 1) in taken:
                self.rows.append(row)
                says = f"A stereo source takes two lines, and {numbers[1]} is taken. Give it two free numbers, as 5/6."
                self.stop(len(self.rows) - 1, "number", says)
                return
        desks, boxes = halves(row.get("desk", "")), halves(row.get("box_input", ""))
        for n, side in enumerate((Side.LEFT, Side.RIGHT)):
            half = {**row, "source": f"{base} {'LR'[n]}".strip(), "side": side.value}
            for key, value in (("number", numbers[n]), ("desk", desks[n]), ("box_input", boxes[n])):
                if value:
                    half[key] = value
                else:
                    half.pop(key, None)
            self.rows.append(half)

    def _number(self) -> None:
        """Read ways and numbers; a row without a number takes the next free one after the row above it."""
        for n in range(len(self.rows)):
            way = self._word(n, "way")
            self.ways.append(LineWay(way) if way else LineWay.IN)
        self._outputs_by_kind()
        used: dict[LineWay, set[int]] = defaultdict(set)
        for n in range(len(self.rows)):
            self.numbers.append(self._whole(n, "number", f"A line's number is 1 to {MOST_NUMBER}."))
            if (number := self.numbers[n]) is not None:
                used[self.ways[n]].add(number)
        last: dict[LineWay, int] = defaultdict(int)
        for n, row in enumerate(self.rows):
            way = self.ways[n]
            if self.numbers[n] is None and not row.get("number"):
                free = last[way] + 1
                while free in used[way]:
                    free += 1
                if free > MOST_NUMBER:
                    self.stop(n, "number", f"There is no number left after {MOST_NUMBER}.")
                else:
                    self.numbers[n] = free
                    used[way].add(free)
            last[way] = self.numbers[n] or last[way]
            if self.numbers[n] is not None:
                row["number"] = str(self.numbers[n])
            row["way"] = self.ways[n].value if row.get("way", "").casefold() in {*WAYS, ""} else row["way"]

    def _outputs_by_kind(self) -> None:
        """A kind of output says itself that its line runs out, where nobody has said the way."""
        for n, row in enumerate(self.rows):
            if "way" not in row and (kind := kind_named(row.get("kind", ""), self.known.kinds)) is not None:
                self.ways[n] = kind.way

    # Cells

    def _text(self, n: int, key: str) -> str:
        text = self.rows[n].get(key, "")
        longest = BY_KEY[key].longest
        try:
            text = checked(text)
        except Odd as odd:
            self.stop(n, key, str(odd))
            return ""
        if len(text) > longest:
            self.stop(n, key, f"“{shown(text)}” has {len(text)} characters; {longest} fit.")
            return ""
        return text

    def _word(self, n: int, key: str) -> str:
        """Read a cell that holds one of a few words, and write it back as we write it."""
        words, allowed = WORDS[key]
        text = self._text(n, key)
        if not text:
            return ""
        found = words.get(text.casefold())
        if found is None:
            near = names_near(text, [word for word in dict.fromkeys(words.values()) if word])
            self.stop(n, key, f"“{shown(text)}” says nothing here: write {allowed}.", near)
            return ""
        self.rows[n][key] = found
        if not found:
            self.rows[n].pop(key)
        return found

    def _whole(self, n: int, key: str, says: str) -> int | None:
        text = self.rows[n].get(key, "")
        if not text:
            return None
        found = NUMBER.match(text) or NUMBER_GLUED.match(text)
        if not found:
            self.stop(n, key, f"“{shown(text)}” is no number. {says}")
            return None
        if found[3]:
            self.stop(n, key, f"“{shown(text)}” is two numbers, and the source is one line. Write L/R after it to make it two.")
            return None
        number = int(found[2])
        if not 1 <= number <= MOST_NUMBER:
            self.stop(n, key, f"{number} is out of range. {says}")
            return None
        self.rows[n][key] = str(number)
        return number

    def _type(self, n: int, key: str, names: Mapping[str, str], what: str) -> str:
        text = self._text(n, key)
        if not text:
            return ""
        if found := names.get(text.casefold()):
            self.rows[n][key] = found
            return found
        if self.strangers_to_notes or (key == "pickup" and text.casefold() in GENERIC):
            self._to_notes(n, key, text)
            return ""
        words = set(words_of(text))
        fits = [name for name in dict.fromkeys(names.values()) if words and words <= set(words_of(name))]
        if len(fits) == 1:
            self.rows[n][key] = fits[0]
            self.tell(n, key, f"“{shown(text)}” was taken as {fits[0]}, the only one with {_those(words)} in its name.")
            return fits[0]
        near = names_near(text, dict.fromkeys(names.values()))
        self.stop(n, key, f"“{shown(text)}” is no {what} of ours{or_words(near)}", near)
        return ""

    def _to_notes(self, n: int, key: str, text: str) -> None:
        row = self.rows[n]
        row.pop(key, None)
        notes = row.get("notes", "")
        if text.casefold() not in notes.casefold():
            row["notes"] = f"{notes}; {text}" if notes else text
        left = "the numbers choose one" if key == "pickup" else "left empty"
        self.tell(n, key, f"“{shown(text)}” names nothing of ours: {left}, and what was written is in the notes.")

    def _kind(self, n: int) -> SourceWords | None:
        text, way = self._text(n, "kind"), self.ways[n]
        of_way = [kind for kind in self.known.kinds if kind.way == way]
        if text:
            kind = kind_named(text, of_way) or kind_named(text, self.known.kinds)
            if kind is None and self.strangers_to_notes:
                self._to_notes(n, "kind", text)
            elif kind is None:
                near = kinds_near(text, of_way)
                self.stop(n, "kind", f"“{shown(text)}” is no kind of source we know{or_words(near)}", near)
                return None
            elif kind.way != way:
                runs = "out of" if kind.way == LineWay.OUT else "into"
                self.stop(n, "way", f"{kind.name} runs {runs} the desk: write {kind.way.value}.", (kind.way.value,))
                return None
            else:
                self.rows[n]["kind"] = kind.name
                return kind
        source = self.rows[n].get("source", "")
        guess = kind_guess(source, self.known.kinds, way)
        if guess is None:
            if source:
                self.tell(n, "kind", f"No kind is known for “{shown(source)}”: say one, or nothing can be worked out for it.")
            return None
        self.rows[n]["kind"] = guess.name
        self.tell(n, "kind", f"Taken as {guess.name}, from the name “{shown(source)}”. Say another kind if that is wrong.")
        return guess

    def _line(self, n: int) -> Line | None:
        row = self.rows[n]
        before = sum(1 for one in self.said if one.stops and one.row == n)
        if not row.get("source", "").strip():
            kind = kind_named(row.get("kind", ""), self.known.kinds)
            self.stop(
                n, "source", "A line needs a source: what is plugged in or stands before it.", (kind.name,) if kind else ()
            )
        kind = self._kind(n)
        self._side_by_name(n)
        texts = {key: self._text(n, key) for key in ("source", "player", "where", "box")}
        desk = self._whole(n, "desk", f"A desk input is 1 to {MOST_NUMBER}.")
        box_input = self._whole(n, "box_input", f"A box input is 1 to {MOST_NUMBER}.")
        if box_input is not None and not texts["box"]:
            self.stop(n, "box", f"Input {box_input} of which stage box?", tuple(box.name for box in self.known.boxes[:3]))
        side, phantom, feed, whose, critical = (self._word(n, key) for key in ("side", "phantom", "feed", "whose", "critical"))
        pickup = self._type(n, "pickup", self.known.pickups, "mic/DI")
        stand = self._type(n, "stand", self.known.stands, "stand")
        notes = self._text(n, "notes")
        number = self.numbers[n]
        if number is None or sum(1 for one in self.said if one.stops and one.row == n) > before:
            return None
        return Line(
            number=number,
            way=self.ways[n],
            kind=kind.key if kind else "",
            side=Side(side),
            pickup=pickup,
            stand=stand,
            desk=desk,
            box_input=box_input,
            phantom=PhantomWish(phantom),
            feed=Feed(feed),
            whose=Whose(whose or Whose.OURS),
            critical=Critical(critical or Critical.NORMAL),
            notes=notes,
            **texts,
        )

    def _side_by_name(self, n: int) -> None:
        """Overhead L beside Overhead R: the names say the sides where nobody has."""
        found = SIDE_AT_END.match(self.rows[n].get("source", ""))
        if not found or "side" in self.rows[n]:
            return
        side = found[2][0].casefold()
        beside = n + 1 if side == "l" else n - 1
        other = SIDE_AT_END.match(self.rows[beside].get("source", "")) if 0 <= beside < len(self.rows) else None
        if other and other[1].casefold() == found[1].casefold() and other[2][0].casefold() != side:
            self.rows[n]["side"] = "left" if side == "l" else "right"

    # Lines beside each other

    def _numbers_once(self) -> None:
        same: dict[tuple[LineWay, int], list[int]] = defaultdict(list)
        for n, number in enumerate(self.numbers):
            if number is not None:
                same[(self.ways[n], number)].append(n)
        for (_way, number), rows in same.items():
            for n in rows if len(rows) > 1 else ():
                others = " and ".join(f"“{shown(self.rows[m].get('source', ''))}”" for m in rows if m != n)
                out = " If one is an output, say out." if self.ways[n] == LineWay.IN and not self.rows[n].get("box") else ""
                self.stop(n, "number", f"Number {number} is on {others} too: a number stands on one line.{out}")

    def _together(self, lines: Sequence[Line | None]) -> None:
        there = [(n, line) for n, line in enumerate(lines) if line is not None]
        self._boxes(there)
        inputs = [(n, line) for n, line in there if line.way == LineWay.IN]
        self._shared(inputs, "desk", lambda line: line.desk or line.number, "Desk input {0}")
        for way in LineWay:
            on_boxes = [(n, line) for n, line in there if line.way == way and line.box and line.box_input]
            self._shared(on_boxes, "box_input", lambda line: (line.box.casefold(), line.box_input), "{1} of {0}")
        sides = {(line.way, line.number): (line.side, line.kind) for _n, line in there}
        for n, line in there:
            beside = {Side.LEFT: (1, Side.RIGHT), Side.RIGHT: (-1, Side.LEFT)}.get(line.side)
            if beside and sides.get((line.way, line.number + beside[0])) != (beside[1], line.kind):
                which = "after" if beside[0] > 0 else "before"
                self.tell(
                    n, "side", f"Half a pair: the line {which} it should be the {beside[1].value} half, of the same kind."
                )

    def _boxes(self, there: Sequence[tuple[int, Line]]) -> None:
        boxes = {box.name.casefold(): box for box in self.known.boxes}
        places = {name.casefold() for name in self.known.places} - set(boxes)
        on: Counter[tuple[str, LineWay]] = Counter()
        total = Counter((line.box.casefold(), line.way) for _n, line in there if line.box)
        for n, line in there:
            name = line.box.casefold()
            if not name:
                continue
            if name in places:
                self.stop(
                    n, "box", f"“{shown(line.box)}” is a place for sources on this stage: a stage box needs a name of its own."
                )
                continue
            on[(name, line.way)] += 1
            box = boxes.get(name)
            most = box.has(line.way) if box else None
            word = "inputs" if line.way == LineWay.IN else "outputs"
            if box is None or most is None:
                continue
            if line.box_input is not None and line.box_input > most:
                self.tell(n, "box_input", f"{box.name} has {most} {word}: there is no {line.box_input}.")
            elif on[(name, line.way)] > most:
                self.tell(n, "box", f"{box.name} has {most} {word}, and {total[(name, line.way)]} lines come to it.")

    def _shared(self, there: Sequence[tuple[int, Line]], key: str, of: Callable[[Line], object], says: str) -> None:
        same: dict[object, list[tuple[int, Line]]] = defaultdict(list)
        for n, line in there:
            same[of(line)].append((n, line))
        for value, sharing in same.items():
            if len(sharing) < 2 or len({line.number for _n, line in sharing}) < 2:
                continue
            for n, line in sharing:
                others = ", ".join(f"line {other.number} {shown(other.source)}" for m, other in sharing if m != n)
                what = says.format(line.box, line.box_input) if key == "box_input" else says.format(value)
                own = " (its own number)" if key == "desk" and line.desk is None else ""
                self.tell(n, key, f"{what}{own} is taken by {others} too.")


def _those(words: set[str]) -> str:
    return "that word" if len(words) == 1 else "those words"
