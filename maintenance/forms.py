"""Forms about faults: sentences, and which item it was."""

from typing import Any

from django import forms

from company.plain import Form
from inventory.calc import codes
from inventory.models import Item
from inventory.search import item_of_code


class HowField(forms.CharField):
    """One sentence, asked for."""

    def __init__(self, label: str, missing: str) -> None:
        super().__init__(
            label=label,
            max_length=500,
            error_messages={"required": missing, "max_length": "Keep it under 500 characters."},
            widget=forms.Textarea(attrs={"rows": 2}),
        )


class CloseForm(Form):
    how = HowField("What was found, and what was done", "Say what was done before closing it.")
    taken_as_good = forms.BooleanField(
        label="Note that it was taken as good without a test",
        help_text="Either way this fault is closed, and the thing stands as its last test left it. Ticked: its page "
        "also says that it was taken as good today. Not ticked: its page says only what was done.",
        required=False,
    )


class GoodForm(Form):
    how = HowField("Why it may be taken as good", "Say why it may be taken as good.")


class WhichForm(Form):
    """Which item a channel's report was about."""

    code = forms.CharField(label="Scan or type the code of what was on it", max_length=4096, strip=True)

    def clean_code(self) -> Item:
        read = codes.parse(self.cleaned_data["code"])
        found: Any = item_of_code(read.code) if read.read is codes.Read.CODE else None
        if found is None:
            raise forms.ValidationError(read.why or "Nothing has that label.")
        return found
