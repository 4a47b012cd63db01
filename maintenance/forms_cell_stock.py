"""Forms of what is bought and kept: lots, counts, cell types, plans of gear types, capacity tests."""

from datetime import date
from typing import Any

from django import forms

from company.plain import Form
from inventory.forms_gear import DayInput, MoneyField
from inventory.models import Place
from maintenance.calc.cell_words import LOAD_UNITS, Load, Pool, System
from maintenance.forms_cells import WhenField
from maintenance.forms_limits import ScaledField
from maintenance.models import CellPlan, CellType

WHOLE = {"inputmode": "numeric", "autocomplete": "off"}


def whole(label: str, least: int, most: int, **kw: Any) -> forms.IntegerField:
    return forms.IntegerField(label=label, min_value=least, max_value=most, widget=forms.TextInput(attrs=WHOLE), **kw)


class LotForm(Form):
    type = forms.ChoiceField(label="Which cells")
    count = whole("How many", 1, 100_000)
    bought_on = forms.DateField(label="Bought on", required=False, widget=DayInput())
    price_cents = MoneyField(label="One costs")
    expires_on = forms.DateField(
        label="Printed date", required=False, widget=DayInput(), help_text="Month alone: its last day."
    )
    make = forms.CharField(
        label="Make", required=False, max_length=40, help_text="A word that tells makes apart: they are not mixed."
    )
    place = forms.ModelChoiceField(
        label="Where", queryset=Place.objects.order_by("name"), required=False, empty_label="not said"
    )
    note = forms.CharField(label="Note", required=False, max_length=200)

    def __init__(self, *args: Any, types: list[CellType], day: date, **kw: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kw})
        self.types = {str(row.pk): row for row in types}
        self.fields["type"].choices = [(str(row.pk), row.name) for row in types]  # type: ignore[attr-defined]
        self.fields["bought_on"].initial = day

    def clean_type(self) -> CellType:
        return self.types[self.cleaned_data["type"]]


class CountForm(Form):
    count = whole("Counted", 0, 100_000)


class OutForm(Form):
    count = whole("How many", 1, 100_000)
    to = forms.ChoiceField(
        label="Where to",
        choices=[(Pool.RECYCLE, "the recycling tub"), (Pool.QUARANTINE, "quarantine: leaking or swollen")],
    )


class PairsField(forms.CharField):
    """Pairs of numbers, one pair a line: 0 9.48."""

    def __init__(self, **kw: Any) -> None:
        super().__init__(required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 8, "spellcheck": "false"}), **kw)

    def prepare_value(self, value: Any) -> Any:
        return "\n".join(" ".join(f"{n:g}" for n in pair) for pair in value) if isinstance(value, list) else value

    def clean(self, value: Any) -> list[list[float]]:
        pairs = []
        for number, line in enumerate((super().clean(value) or "").splitlines(), 1):
            if not line.strip():
                continue
            try:
                one, two = (float(part.replace(",", ".")) for part in line.replace(";", " ").split())
            except ValueError:
                raise forms.ValidationError(f"Line {number}: write two numbers, such as 50 450.") from None
            pairs.append([one, two])
        return pairs

    def has_changed(self, initial: Any, data: Any) -> bool:
        return str(self.prepare_value(initial or [])).split() != str(data or "").split()


class CellTypeForm(Form):
    key = forms.SlugField(label="Letters", max_length=24, help_text="By IEC 60086 where it has them: 6LR61, LR6, HR6.")
    name = forms.CharField(label="Name", max_length=80)
    size = forms.CharField(
        label="Size", max_length=16, help_text="9 V, AA, AAA, coin 2032, pack. Cells of one size fit the same place."
    )
    system = forms.ChoiceField(label="System", choices=[(s.value, s.value) for s in System])
    rechargeable = forms.BooleanField(label="It is recharged", required=False)
    units = whole("Cells in one block", 1, 100, help_text="6 in a 9 V block.")
    nominal_v = ScaledField(label="Nominal, V", least=0.5, most=60)
    fresh_most_v = ScaledField(label="A fresh one reads at most, V", least=0.5, most=60)
    end_v = ScaledField(label="Empty at, V", least=0, most=60)
    floor_v = ScaledField(
        label="Not for a show below, V", least=0, most=60, required=False, help_text="Under load; empty: no such rule."
    )
    curve = PairsField(label="Curve", help_text="Share used, then volts near no load; a pair a line, from 0 to 1.")
    capacity = PairsField(label="Capacity", help_text="Drain in mA, then mAh; a pair a line.")
    r_fresh_ohm = ScaledField(label="Resistance fresh, ohm", least=0, most=1000)
    r_empty_ohm = ScaledField(label="Resistance empty, ohm", least=0, most=1000)
    loss_per_year = ScaledField(label="Lost on the shelf, of 100 a year", scale=0.01, least=0, most=12)
    sigma_v = ScaledField(label="Spread of the curve, V a cell", least=0, most=5)
    flat = forms.BooleanField(label="Its volts say little until it is nearly empty", required=False)
    regulated = forms.BooleanField(label="Its volts say nothing: a regulator is inside", required=False)
    needs_taped = forms.BooleanField(label="Tape its terminals before it is thrown away", required=False)
    price_cents = MoneyField(label="One costs")
    keep_at_least = whole("Keep at least", 0, 100_000, help_text="Fewer new ones than this, and they are on the shopping list.")
    source = forms.CharField(label="Where the figures are from", required=False, max_length=300)
    notes = forms.CharField(label="Notes", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, row: CellType, **kw: Any) -> None:
        initial = {name: getattr(row, name) for name in self.base_fields}
        super().__init__(*args, **{"label_suffix": "", "initial": initial, **kw})
        self.row = row
        if row.pk is not None:
            del self.fields["key"]

    def clean_key(self) -> str:
        key: str = self.cleaned_data["key"]
        if CellType.objects.filter(key=key).exists():
            raise forms.ValidationError("There is a type of these letters already.")
        return key

    def clean_price_cents(self) -> int | None:
        cents = self.cleaned_data["price_cents"]
        if cents is not None and not 0 <= cents <= 1_000_000:
            raise forms.ValidationError("That price cannot be.")
        return cents


class PlanForm(Form):
    load = forms.ChoiceField(
        label="It draws like",
        choices=[
            (Load.CURRENT, "a steady current, mA"),
            (Load.RESISTOR, "a resistor, ohm"),
            (Load.POWER, "steady power, mW: a switching regulator"),
        ],
        widget=forms.RadioSelect,
    )
    draw = ScaledField(
        label="So much", least=0.001, most=1e6, required=False, help_text="Empty: nobody knows, and nothing is reckoned."
    )
    sigma = forms.ChoiceField(label="How well that is known")
    stops_below_v = ScaledField(label="It stops below, V", least=0, most=60, required=False, help_text="The whole set.")
    sounds_poor_below_v = ScaledField(label="Sounds poor below, V", least=0, most=60, required=False)
    standby_ma = ScaledField(label="Draws when off, mA", least=0, most=1000)
    cells_a_bay = whole("Cells in a set", 1, 24)
    transmitter = forms.BooleanField(label="It is a transmitter or receiver of radio", required=False)
    fresh_every_show = forms.BooleanField(label="Fresh, or charged, every show", required=False)
    stored_weeks = whole("Cells may stay in when put away, weeks", 0, 520, help_text="0: any time.")
    full_charge_h = ScaledField(
        label="A full charge lasts, h", least=0.1, most=1000, required=False, help_text="A pack of its own alone."
    )

    SIGMAS = ((0.45, "a guess by its class"), (0.15, "the maker's figure"), (0.08, "metered"))

    def __init__(self, *args: Any, plan: CellPlan, **kw: Any) -> None:
        initial = {name: getattr(plan, name) for name in self.base_fields}
        initial["sigma"] = f"{plan.sigma:g}"
        super().__init__(*args, **{"label_suffix": "", "initial": initial, **kw})
        known = [(f"{value:g}", words) for value, words in self.SIGMAS]
        if initial["sigma"] not in dict(known):
            known.insert(0, (initial["sigma"], f"as now: give or take a factor of {2.718281828**plan.sigma:.2f}"))
        self.fields["sigma"].choices = known  # type: ignore[attr-defined]

    def clean_sigma(self) -> float:
        return float(self.cleaned_data["sigma"])

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        poor, stops = given.get("sounds_poor_below_v"), given.get("stops_below_v")
        if poor is not None and stops is not None and poor < stops:
            self.add_error("sounds_poor_below_v", "It sounds poor before it stops: this is above the figure where it stops.")
        return given


class CapacityForm(Form):
    mah = ScaledField(label="The test gave, mAh", error_messages={"required": "Say what the test gave."})
    rate_ma = ScaledField(label="Discharged at, mA", required=False)
    when = WhenField(label="Tested")


def unit_of(load: str) -> str:
    """Return the unit of a load's draw."""
    return LOAD_UNITS[Load(load)]
