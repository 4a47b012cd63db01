"""Forms of the bench: what a sitting is begun with."""

from typing import Any

from django import forms

from company.plain import Form
from inventory.calc.kinds import Kind
from inventory.models import Item
from maintenance.calc.bench import DEPTH_WORDS, Depth
from maintenance.models import Sitting

DEPTH_CHOICES = [(depth.value, DEPTH_WORDS[depth].capitalize()) for depth in Depth]


def own_instruments() -> Any:
    """Return the shop's own bench instruments that are in use."""
    return Item.objects.owned().filter(type__kind=Kind.INSTRUMENT).select_related("type").order_by("type__name", "name", "code")


class SittingForm(Form):
    """With what, how deep, the null of its leads, how warm, how long: asked once an evening."""

    instrument = forms.ModelChoiceField(
        Item.objects.none(),
        label="Instrument",
        required=False,
        empty_label="None of ours",
        help_text="Its calibration date is kept with each test.",
    )
    depth = forms.ChoiceField(label="How deep", choices=DEPTH_CHOICES, widget=forms.RadioSelect)
    null_ohms = forms.FloatField(
        label="Null of the test leads, in ohms",
        min_value=0,
        max_value=100,
        required=False,
        help_text="What the meter shows with its tips held together. It comes off every reading. 0 if the meter nulls itself.",
    )
    temperature_c = forms.FloatField(label="How warm it is, in °C", min_value=-40, max_value=60, required=False)
    minutes = forms.IntegerField(label="Minutes you have", min_value=1, max_value=1440, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, label_suffix="", **kwargs)
        self.fields["instrument"].queryset = own_instruments()  # type: ignore[attr-defined]

    def given(self) -> dict[str, Any]:
        """Return the columns of a sitting, what was left empty at its usual figure."""
        given = dict(self.cleaned_data)
        for name, usual in (("null_ohms", 0.0), ("temperature_c", 20.0), ("minutes", 90)):
            given[name] = usual if given[name] is None else given[name]
        return given


def first_guess(last: Sitting | None) -> dict[str, Any]:
    """Return what a sitting begins with: as the last one, or the usual."""
    if last is None:
        return {"depth": Depth.OHMS, "null_ohms": 0, "temperature_c": 20, "minutes": 90}
    return {
        "instrument": last.instrument_id,
        "depth": last.depth,
        "null_ohms": last.null_ohms,
        "temperature_c": last.temperature_c,
        "minutes": last.minutes,
    }
