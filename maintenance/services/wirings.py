"""Wirings: load the shipped ones, save and delete a technician's."""

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.text import slugify

from inventory.models import GearType
from maintenance.models import BenchTest, Wiring

SHIPPED = Path(settings.BASE_DIR) / "fixtures" / "wirings.json"
_COLUMNS = ("name", "ends", "nets", "per_channel", "notes", "source")


class WiringRefused(ValueError):  # noqa: N818 (a word of the house)
    """A wiring cannot be kept as written; `field` names where, and the words say why."""

    def __init__(self, words: str, field: str = "") -> None:
        super().__init__(words)
        self.field = field


@dataclass(kw_only=True)
class Loaded:
    """What loading the shipped wirings did; `kept` names those the shop has changed, which stay as the shop has them."""

    added: list[str] = field(default_factory=list)
    renewed: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)

    @property
    def words(self) -> str:
        """Say it in a sentence."""
        said = f"{len(self.added)} wirings added, {len(self.renewed)} brought up to date."
        if self.kept:
            said += f" Left as the shop has changed them: {', '.join(self.kept)}."
        return said


def wirings_shipped() -> list[dict[str, Any]]:
    """Read the shipped wirings."""
    held = json.loads(SHIPPED.read_text(encoding="utf-8"))
    return held["wirings"] if isinstance(held, dict) else held


@transaction.atomic
def wirings_load(*, entries: Iterable[dict[str, Any]]) -> Loaded:
    """Add shipped wirings that are not there yet and renew those nobody has changed; loading again changes nothing.

    One that a technician has changed, or entered under the same name, stays as it is and is named in the answer.
    """
    entries = list(entries)
    there = {wiring.key: wiring for wiring in Wiring.objects.all()}
    names = {wiring.name: wiring.key for wiring in there.values()}
    loaded = Loaded()
    for entry in entries:
        values = {name: entry[name] for name in _COLUMNS if name in entry}
        wiring = there.get(entry["key"])
        if wiring is None and names.get(entry["name"]) is None:
            Wiring.objects.create(key=entry["key"], shipped=True, **values)
            loaded.added.append(entry["name"])
            continue
        if wiring is None:
            loaded.kept.append(entry["name"])
            continue
        changed = [name for name, value in values.items() if getattr(wiring, name) != value]
        if not changed:
            continue
        if not wiring.shipped or names.get(values["name"], wiring.key) != wiring.key:
            loaded.kept.append(wiring.name)
            continue
        for name in changed:
            setattr(wiring, name, values[name])
        wiring.save(update_fields=changed)
        loaded.renewed.append(wiring.name)
    return loaded


def wiring_save(
    *,
    wiring: Wiring | None,
    name: str,
    ends: str,
    nets: str,
    per_channel: bool = False,
    notes: str = "",
    source: str = "",
) -> tuple[Wiring, list[GearType]]:
    """Add a wiring or change one; answers it and the gear types that use it, whose next tests are held against it.

    Raises WiringRefused with a sentence where ends and nets contradict themselves. A shipped wiring that was changed is the
    shop's from then on: loading the catalogue leaves it alone.
    """
    from maintenance.calc.wirings import WiringError, wiring_read

    name, ends, nets = " ".join(name.split()), _lines(ends), _lines(nets)
    if not name:
        raise WiringRefused("Give the wiring a name.", "name")
    try:
        wiring_read(ends=ends, nets=nets, channels=1 if per_channel else None)
    except WiringError as wrong:
        raise WiringRefused(str(wrong), "nets") from wrong
    values = {
        "name": name,
        "ends": ends,
        "nets": nets,
        "per_channel": per_channel,
        "notes": notes.strip(),
        "source": " ".join(source.split()),
    }
    with transaction.atomic():
        row = Wiring(key=_free_key(name)) if wiring is None else Wiring.objects.select_for_update().filter(pk=wiring.pk).first()
        if row is None:
            raise WiringRefused("That wiring is gone: somebody has just deleted it.")
        if Wiring.objects.filter(name__iexact=name).exclude(pk=row.pk).exists():
            raise WiringRefused("There is a wiring of that name already.", "name")
        changed = [column for column, value in values.items() if getattr(row, column) != value or row.pk is None]
        for column in changed:
            setattr(row, column, values[column])
        if changed:
            row.shipped = False
            try:
                row.full_clean()
            except ValidationError as wrong:
                where, words = next(iter(wrong.message_dict.items()))
                raise WiringRefused(" ".join(words), where) from wrong
            row.save(update_fields=[*changed, "shipped"] if row.pk else None)
    return row, list(wiring_types(row))


def wiring_delete(*, wiring: Wiring) -> None:
    """Delete a wiring nothing is wired by and no test was held against; one in use stays."""
    with transaction.atomic():
        used = [type_.name for type_ in wiring_types(wiring)]
        if used:
            few = ", ".join(used[:5]) + (f" and {len(used) - 5} more" if len(used) > 5 else "")
            raise WiringRefused(f"{wiring} stays: {few} {'is' if len(used) == 1 else 'are'} wired like that.")
        tests = BenchTest.objects.filter(wiring=wiring.key).count()
        if tests:
            one = "1 test was" if tests == 1 else f"{tests} tests were"
            raise WiringRefused(f"{wiring} stays: {one} held against it, and could not be read without it.")
        wiring.delete()


def wiring_types(wiring: Wiring) -> Iterable[GearType]:
    """Return the gear types that name a wiring, by name."""
    from django.db.models import Q

    named = Q(lead_facts__wiring=wiring.key) | Q(multicore_facts__wiring=wiring.key)
    return GearType.objects.filter(named).order_by("name")


def _free_key(name: str) -> str:
    stem = slugify(name)[:34] or "wiring"
    taken = set(Wiring.objects.filter(key__startswith=stem).values_list("key", flat=True))
    return next(key for key in (stem, *(f"{stem}-{n}" for n in range(2, 10_000))) if key not in taken)


def _lines(text: str) -> str:
    return "\n".join(line.strip() for line in text.splitlines() if line.strip())
