"""Names in lists that may be of things we do not have yet: gear types (with a guessed kind) and places."""

from collections.abc import Callable

from django.db import models

from inventory.calc.kinds import KIND_NAMES, KINDS_WITHOUT_STANDING, Kind
from inventory.calc.typed import Odd, read_text, shown, tidy
from inventory.models import GearType, Place
from inventory.transfer.base import Fresh, Plan

MOST_FRESH = 300

# The first that is found in the name, so "stand" in "microphone stand" comes before "microphone".
_KIND_WORDS: tuple[tuple[Kind, tuple[str, ...]], ...] = (
    (Kind.CASE, ("case", "bag", "trunk", "crate", "rack", "drawer")),
    (Kind.CONSUMABLE, ("tape", "cable tie", "gel", "velcro", "wipe", "battery", "batteries", "earplug")),
    (Kind.STAND, ("stand", "clip", "pole", "boom", "tripod", "bracket", "clamp", "mount")),
    (Kind.CELL_SET, ("rechargeable", "accu", "cell set")),
    (Kind.INSTRUMENT, ("multimeter", "tester", "meter", "oscilloscope", "generator")),
    (Kind.POWER, ("mains", "power", "extension", "distro", "distribution", "schuko", "16 a", "32 a", "63 a", "rcd")),
    (Kind.MULTICORE, ("multicore", "snake", "loom")),
    (Kind.STAGE_BOX, ("stage box", "stagebox")),
    (Kind.LEAD, ("lead", "cable", "adapter", "adaptor", "patch", "link", "cord")),
    (Kind.RECEIVER, ("receiver",)),
    (Kind.TRANSMITTER, ("transmitter", "beltpack", "bodypack", "body pack", "hand-held", "handheld", "wireless", "radio")),
    (Kind.INTERFACE_BOX, ("direct box", "di box", "di ", "di-box", "isolator", "interface", "splitter", "box")),
    (Kind.MICROPHONE, ("microphone", "mic", "condenser", "dynamic", "ribbon")),
    (Kind.AMPLIFIER, ("amplifier", "amp")),
    (Kind.DESK, ("desk", "console", "mixer")),
    (Kind.LOUDSPEAKER, ("loudspeaker", "speaker", "monitor", "wedge", "sub", "top", "array")),
)


def kind_guess(name: str) -> Kind:
    """Guess a kind from a type's name; an interface box where nothing is found, for a person to put right."""
    low = f"{name.casefold()} "
    return next((kind for kind, words in _KIND_WORDS if any(word in low for word in words)), Kind.INTERFACE_BOX)


def read_kind(text: str) -> str:
    """Return a kind from its key or its words."""
    low = text.casefold()
    for kind, words in KIND_NAMES.items():
        if low in (kind.value, words, kind.value.replace("-", " ")):
            return kind.value
    raise Odd(f"“{shown(text)}” is no kind of gear. One of: {', '.join(KIND_NAMES.values())}.")


class Names:
    """The names of one model's rows in one run: known ones by key, unknown ones noted to be made."""

    def __init__(self, plan: Plan, model: type[models.Model], what: str, longest: int) -> None:
        self.plan, self.model, self.what, self.longest = plan, model, what, longest
        self.exact: dict[str, int] = {}
        self.known: dict[str, int] = {}
        self.spelt: dict[int, str] = {}
        for pk, name in model._default_manager.order_by("pk").values_list("pk", "name"):
            self.exact[tidy(name)] = pk
            self.known.setdefault(_folded(name), pk)
            self.spelt[pk] = name

    def take(self, text: str) -> int | str:
        """Return the key of the one so named, or its name as a text while it is still to be made."""
        if text in self.exact:
            return self.exact[text]
        # a name that differs in its blanks or capitals alone is the same thing
        name = read_text(" ".join(text.split()), longest=self.longest)
        return self.known.get(_folded(name)) or name

    def note(self, value: int | str, *, kind: str = "") -> None:
        """Note that a row which will be written names this; raise Odd when a column is plainly something else."""
        if not isinstance(value, str):
            return
        key = f"{self.what}:{_folded(value)}"
        fresh = self.plan.fresh.get(key)
        if fresh is None:
            if sum(1 for f in self.plan.fresh.values() if f.what == self.what) >= MOST_FRESH:
                raise Odd(f"This list names more than {MOST_FRESH} new {self.what}s: is the right column matched?")
            fresh = self.plan.fresh[key] = Fresh(what=self.what, name=value, kind=kind)
        fresh.lines += 1

    def make(self, build: Callable[[Fresh], models.Model]) -> list[int]:
        """Make what is still to be made, and know it from now on."""
        made: list[int] = []
        for fresh in [f for f in self.plan.fresh.values() if f.what == self.what]:
            if _folded(fresh.name) not in self.known:
                row = build(fresh)
                row.save(force_insert=True)
                self.known[_folded(fresh.name)] = row.pk
                self.spelt[row.pk] = fresh.name
                made.append(row.pk)
        return made

    def key(self, value: int | str | None) -> int | None:
        """Return the key of a taken value once everything has been made."""
        return self.known.get(_folded(value)) if isinstance(value, str) else value


def _folded(name: str) -> str:
    return " ".join(name.split()).casefold()


def type_built(plan: Plan, fresh: Fresh, *, counted: bool) -> GearType:
    """Build a gear type from its name and chosen, given or guessed kind."""
    kind = Kind(plan.order.kinds.get(fresh.name) or fresh.kind or kind_guess(fresh.name))
    return GearType(
        name=fresh.name,
        kind=kind,
        has_standing=kind not in KINDS_WITHOUT_STANDING,
        counted_at_first=counted and kind is Kind.LEAD,
    )


def place_built(fresh: Fresh) -> Place:
    """Build a shelf."""
    return Place(name=fresh.name)
