"""The form of a wiring: its notation is read as the bench will read it, and what contradicts is said at the field."""

from typing import Any

from django import forms

from company.plain import ModelForm
from maintenance.calc.wirings import Wiring as ReadWiring
from maintenance.calc.wirings import WiringError
from maintenance.models import Wiring
from maintenance.wiring_words import read

_NOTHING_JOINED = "Nothing is joined"


class WiringForm(ModelForm):
    """Name, ends, nets, notes; `as_read` is the wiring once both texts make sense together."""

    class Meta:
        model = Wiring
        fields = ["name", "per_channel", "ends", "nets", "notes", "source"]
        labels = {
            "name": "What it is called",
            "per_channel": "These are the ends and nets of one channel of a multicore",
            "ends": "Its ends, one a line",
            "nets": "What is joined",
            "notes": "What to know about it",
            "source": "Where you know it from",
        }
        help_texts = {
            "per_channel": "",
            "ends": "A letter, the plug, its pins: A: three-pin socket: 1 2 3 sh. “1..25” counts up; sh is the shell.",
            "nets": "A1=B1 screen | A2=B2 hot | A3=B3 cold. Whatever is not named must be open.",
            "source": "A published pinout, a drawing of your own, “measured”.",
        }
        widgets = {
            "ends": forms.Textarea(attrs={"rows": 4, "spellcheck": "false", "autocapitalize": "off", "class": "notation"}),
            "nets": forms.Textarea(attrs={"rows": 5, "spellcheck": "false", "autocapitalize": "off", "class": "notation"}),
            "notes": forms.Textarea(attrs={"rows": 3}),
        }

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kw})
        self.as_read: ReadWiring | None = None

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        ends, nets = given.get("ends"), given.get("nets")
        if ends and nets:
            try:
                self.as_read = read(ends=ends, nets=nets)
            except WiringError as wrong:
                self.add_error("ends" if _ends_are_wrong(ends) else "nets", str(wrong))
        return given


def _ends_are_wrong(ends: str) -> bool:
    """Say whether the ends cannot be read whatever is joined: with good ends, joining nothing is all that is wrong."""
    try:
        read(ends=ends, nets="")
    except WiringError as wrong:
        return not str(wrong).startswith(_NOTHING_JOINED)
    return False
