"""Forms of what is done at a device's cells: swap, read, hours, the metered draw."""

from datetime import datetime
from typing import Any

from django import forms

from company.plain import Form
from maintenance.calc.cell_words import Pool, SwapReason
from maintenance.forms_limits import ScaledField
from maintenance.models import HoursNote

UNKNOWN = "unknown"
MIXED = "mixed"
LABELLED = "set"
REASONS = [
    (SwapReason.PRECAUTION, "as a precaution"),
    (SwapReason.DIED, "it died"),
    (SwapReason.POLICY, "policy: fresh every show"),
    (SwapReason.LEAKED, "it leaked, or is swollen"),
]
OUT_TO = [
    ("", "where such cells go"),
    (Pool.RECYCLE, "the recycling tub"),
    (Pool.REHEARSAL, "the rehearsal pool, tested"),
    (Pool.NEW, "back to its lot: never used"),
    (Pool.CHARGE, "on charge"),
    (Pool.QUARANTINE, "quarantine: leaking or swollen"),
]
LOADS = [("on", "in the device, switched on"), ("test", "on a test load"), ("none", "on nothing: the cells alone")]


class VoltsField(ScaledField):
    """Volts as people type them: 8.4, 8,4, 8.4 V."""

    default_error_messages = {"invalid": "A reading is a number of volts, such as 8.4."}

    def to_python(self, value: Any) -> Any:
        if isinstance(value, str):
            value = value.strip()
            if value.lower().endswith("v") and not value.lower().endswith("mv"):
                value = value[:-1].rstrip()
        return super().to_python(value)


class WhenField(forms.DateTimeField):
    """A day and a time in the company's zone; empty: now."""

    def __init__(self, **kw: Any) -> None:
        widget = forms.DateTimeInput(format="%Y-%m-%dT%H:%M", attrs={"type": "datetime-local"})
        super().__init__(**{"label": "When", "required": False, "help_text": "Empty: now.", "widget": widget, **kw})


class _AtBay(Form):
    """A form about one of a device's places for cells; where there is one only it is not asked for."""

    def __init__(self, *args: Any, bays: int, **kw: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kw})
        self.bays = bays
        if "bay" in self.fields and bays <= 1:
            del self.fields["bay"]
        elif "bay" in self.fields:
            self.fields["bay"].choices = self.bay_choices(bays)  # type: ignore[attr-defined]

    def bay_choices(self, bays: int) -> list[tuple[str, str]]:
        return [(str(n), f"bay {n}") for n in range(1, bays + 1)]

    def instant(self, at: datetime) -> datetime:
        return self.cleaned_data.get("when") or at


class SwapForm(_AtBay):
    bay = forms.ChoiceField(label="Where")
    what = forms.ChoiceField(label="What goes in", widget=forms.RadioSelect)
    set_code = forms.CharField(
        label="Label of the set",
        required=False,
        max_length=60,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
        help_text="Scan it, or type its code.",
    )
    reason = forms.ChoiceField(
        label="Why the old ones come out", choices=REASONS, required=False, widget=forms.RadioSelect, initial="precaution"
    )
    out_volts = VoltsField(label="What came out reads, V", required=False, help_text="Under load, if you have a meter at hand.")
    out_to = forms.ChoiceField(label="What came out goes to", choices=OUT_TO, required=False)
    when = WhenField()
    note = forms.CharField(label="Note", required=False, max_length=300)

    def __init__(self, *args: Any, what: list[tuple[str, str]], fitted: bool, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["what"].choices = what  # type: ignore[attr-defined]
        self.fields["what"].initial = what[0][0] if what else None
        if not fitted:
            for name in ("reason", "out_volts", "out_to"):
                del self.fields[name]

    def bay_choices(self, bays: int) -> list[tuple[str, str]]:
        return [("", "all of them"), *super().bay_choices(bays)]

    def __getitem__(self, name: str) -> Any:
        field = super().__getitem__(name)
        if name == "bay":
            field.field.required = False
        return field

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("what") == LABELLED and not given.get("set_code"):
            self.add_error("set_code", "Scan the set's label, or type its code.")
        return given


class ReadingForm(_AtBay):
    bay = forms.ChoiceField(label="Where")
    volts = VoltsField(
        label="It reads, V",
        help_text="The whole set: all its cells in a row.",
        error_messages={"required": "Say what it reads."},
    )
    load = forms.ChoiceField(label="Read", choices=LOADS, widget=forms.RadioSelect, initial="on")
    load_ohm = ScaledField(label="Test load, ohm", required=False, help_text="On a test load alone.")
    minutes_off = ScaledField(
        label="Minutes since it was switched off", required=False, help_text="A cell rests and rises again."
    )
    when = WhenField()

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("load") == "test" and given.get("load_ohm") is None and "load_ohm" not in self.errors:
            self.add_error("load_ohm", "Say how many ohms the test load has.")
        return given

    def circumstances(self) -> tuple[float | None, float | None]:
        """Return (load in ohm, minutes off) as the record keeps them: none and 0 is the device itself, switched on."""
        given = self.cleaned_data
        if given["load"] == "on":
            return None, 0.0
        off = given.get("minutes_off")
        if given["load"] == "test":
            return given["load_ohm"], off
        return None, None if off is None else max(off, 1.0) if off >= 0 else off


class HoursForm(_AtBay):
    why = forms.ChoiceField(
        label="What for",
        widget=forms.RadioSelect,
        initial=HoursNote.Why.LOGGED,
        choices=[
            (HoursNote.Why.LOGGED, "it was on so long"),
            (HoursNote.Why.LEFT_IN, "left plugged in: it ran on"),
            (HoursNote.Why.UNUSED, "it was not used at that show after all"),
        ],
    )
    hours = ScaledField(label="Hours", required=False, help_text="6.5 is six and a half.")
    occasion = forms.ChoiceField(label="At which show", required=False)
    when = WhenField(label="When it was switched off")

    def __init__(self, *args: Any, occasions: list[tuple[str, str]], **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["occasion"].choices = [("", "none of them: beside the shows"), *occasions]  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if given.get("why") != HoursNote.Why.UNUSED and given.get("hours") is None and "hours" not in self.errors:
            self.add_error("hours", "Say how long, in hours.")
        return given

    def minutes(self) -> int:
        return round((self.cleaned_data.get("hours") or 0) * 60)


class DrawForm(Form):
    draw = ScaledField(label="It draws", required=False, error_messages={"invalid": "Write a number, as 4.6."})

    def __init__(self, *args: Any, unit: str, **kw: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kw})
        self.fields["draw"].label = f"It draws, {unit}"
        self.fields["draw"].help_text = "Empty: not metered after all."
