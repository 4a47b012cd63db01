"""Forms of planning: a kind of source with its figures."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.text import slugify

from company.plain import ModelForm
from shows.models import SourceType

_LABELS = {
    "also": "Other words for it",
    "way": "How it comes to the stage",
    "sort": "What it is electrically",
    "lines": "Lines it usually takes",
    "ohm": "Source impedance, Ω",
    "least_ohm": "from, Ω",
    "most_ohm": "to, Ω",
    "henry": "Inductance, H",
    "own_pf": "Its own capacitance, pF",
    "across_ohm": "Controls across it, Ω",
    "typical_dbu": "Typical level, dBu",
    "peak_dbu": "Peak level, dBu",
    "spl_db": "Sound level at its microphone, dB",
    "balanced": "Balanced output",
    "stereo_jack": "Stereo in one three-pole jack",
    "mains_a": "Amps from the mains",
    "is_mains": "Plugged into the mains",
    "wants_phantom": "Wants phantom power",
    "draw_ma": "Milliamps it draws from phantom",
    "phantom_harm": "What phantom would harm",
    "source": "Where the figures are from",
}


class SourceForm(ModelForm):
    """A kind of source; its key is made from its name once, and a changed one is no longer the shipped one."""

    class Meta:
        model = SourceType
        fields = (
            "name", "family", "also", "way", "sort", "lines", "ohm", "least_ohm", "most_ohm", "henry", "own_pf", "across_ohm",
            "typical_dbu", "peak_dbu", "spl_db", "balanced", "stereo_jack", "is_mains", "mains_a", "wants_phantom", "draw_ma",
            "phantom_harm", "notes", "source",
        )  # fmt: skip
        labels = _LABELS
        widgets = {"notes": forms.Textarea(attrs={"rows": 2}), "lines": forms.NumberInput(attrs={"min": 1, "max": 2})}

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        least, most, typical = given.get("least_ohm"), given.get("most_ohm"), given.get("ohm")
        if least is not None and most is not None and least > most:
            self.add_error("most_ohm", "The range ends below where it begins.")
        if typical is not None and ((least is not None and typical < least) or (most is not None and typical > most)):
            self.add_error("ohm", "The typical figure lies outside its own range.")
        if not self.instance.key and given.get("name"):
            self.instance.key = self._free_key(given["name"])
        return given

    def _free_key(self, name: str) -> str:
        base = slugify(name)[:34] or "source"
        taken = set(SourceType.objects.filter(key__startswith=base).values_list("key", flat=True))
        tries = (base, *(f"{base}-{n}" for n in range(2, 1000)))
        try:
            return next(key for key in tries if key not in taken)
        except StopIteration:
            raise ValidationError("There are too many kinds of that name.") from None

    def save(self, commit: bool = True) -> SourceType:
        if self.has_changed():
            self.instance.shipped = False
        return super().save(commit)
