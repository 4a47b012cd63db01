"""Lists that were brought but not yet applied: kept beside the media under a name nobody can guess, forgotten after two days.

Nothing here touches the database: a preview that writes nothing writes nothing.
"""

import json
import re
import secrets
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import IO, Any

from django.conf import settings

from company.models import Person

KEPT = timedelta(days=2)
_TOKEN = re.compile(r"^[A-Za-z0-9_-]{32}$")


@dataclass(kw_only=True)
class Upload:
    """One list brought by one person, and what has been decided about it so far."""

    token: str
    what: str
    name: str
    person: int
    headers: list[str] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    matching: dict[int, str] = field(default_factory=dict)
    empties_clear: bool = False
    alike_are_new: bool = False
    kinds: dict[str, str] = field(default_factory=dict)

    @property
    def path(self) -> Path:
        return _folder() / f"{self.token}.list"

    def keep(self) -> None:
        """Write what was decided, whole or not at all."""
        target = _folder() / f"{self.token}.json"
        draft = target.with_suffix(f".{secrets.token_hex(4)}.tmp")
        draft.write_text(json.dumps(asdict(self)))
        draft.replace(target)

    @property
    def given(self) -> dict[str, Any]:
        """Return what a job must know to do the same again."""
        return {
            "what": self.what,
            "token": self.token,
            "name": self.name,
            "matching": {str(place): key for place, key in self.matching.items()},
            "empties_clear": self.empties_clear,
            "alike_are_new": self.alike_are_new,
            "kinds": self.kinds,
        }


def upload_keep(*, file: IO[bytes], name: str, what: str, person: Person, at: datetime) -> Upload:
    """Keep a list until it is applied; lists older than two days are forgotten by the way."""
    _forget(at)
    upload = Upload(token=secrets.token_urlsafe(24), what=what, name=name[-120:], person=person.pk)
    with upload.path.open("xb") as kept:
        while block := file.read(1024 * 1024):
            kept.write(block)
    return upload


def upload_of(token: str, person: Person) -> Upload | None:
    """Return a person's own upload; None if it is somebody else's, forgotten or made up."""
    if not _TOKEN.match(token):
        return None
    try:
        kept = json.loads((_folder() / f"{token}.json").read_text())
    except (OSError, ValueError):
        return None
    kept["matching"] = {int(place): key for place, key in kept["matching"].items()}
    upload = Upload(**kept)
    return upload if upload.person == person.pk and upload.path.exists() else None


def upload_drop(upload: Upload) -> None:
    """Forget an upload."""
    for path in (upload.path, _folder() / f"{upload.token}.json"):
        path.unlink(missing_ok=True)


def _folder() -> Path:
    folder = Path(settings.MEDIA_ROOT) / "lists"
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _forget(at: datetime) -> None:
    oldest = (at - KEPT).timestamp()
    for path in _folder().iterdir():
        try:
            if path.stat().st_mtime < oldest:
                path.unlink(missing_ok=True)
        except OSError:  # somebody else has just forgotten it
            continue
