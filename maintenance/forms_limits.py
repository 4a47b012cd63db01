"""Forms of what the bench can measure and what its readings are held against: figures in the units people say them in."""

from dataclasses import dataclass
from typing import Any

from django import forms
from django.core.validators import BaseValidator, MaxValueValidator, MinValueValidator

from company.plain import Form, ModelForm
from maintenance.calc.bench import Capability
from maintenance.calc.instruments import ABILITIES
from maintenance.models import BenchSettings


class ScaledField(forms.FloatField):
    """A number said in one unit and kept in another: 10 Mohm, kept as 10 000 000 ohm; 75 of 100, kept as 0.75."""

    def __init__(self, *, scale: float = 1.0, least: float | None = None, most: float | None = None, **kw: Any) -> None:
        self.scale = scale
        bounds: dict[str, Any] = {
            name: _tidy(bound / scale) for name, bound in (("min_value", least), ("max_value", most)) if bound is not None
        }
        super().__init__(**bounds, widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}), **kw)

    def prepare_value(self, value: Any) -> Any:
        return f"{value / self.scale:.10g}" if isinstance(value, (int, float)) else value

    def to_python(self, value: Any) -> Any:
        if isinstance(value, str) and value.count(",") == 1 and "." not in value:
            value = value.replace(",", ".")
        return super().to_python(value)

    def clean(self, value: Any) -> float | None:
        number = super().clean(value)
        return None if number is None else float(f"{number * self.scale:.10g}")

    def has_changed(self, initial: Any, data: Any) -> bool:
        try:
            return self.to_python(self.prepare_value(initial)) != self.to_python(data)
        except forms.ValidationError:
            return True


def _tidy(value: float) -> float | int:
    return int(value) if value == int(value) else float(f"{value:.6g}")


def _bound(name: str, sort: type[BaseValidator]) -> float | None:
    """Return the least or most a column may hold, so that the form says it in its own unit."""
    column: Any = BenchSettings._meta.get_field(name)
    return next((v.limit_value for v in column.validators if type(v) is sort), None)


@dataclass(frozen=True, kw_only=True)
class Told:
    """How a column is asked for: its label with the unit, what it means, and what one unit of the form is in the column's."""

    name: str
    label: str
    means: str = ""
    scale: float = 1.0


@dataclass(frozen=True, kw_only=True)
class Group:
    """Figures that belong together, with what they are for; `key` names the example worked out beside them."""

    key: str
    heading: str
    says: str
    told: tuple[Told, ...]
    source: str = ""


_JUDGED = "Engineering judgement, a proposal: change it to what your own gear teaches you."
GROUPS = (
    Group(
        key="core",
        heading="a core of a lead",
        says="A core may have the resistance of its copper, a little more because real wire is thinner than its label, and "
        "that of the contacts in between.",
        source=f"The resistance of copper comes from published wire tables. The allowances: {_JUDGED[0].lower()}{_JUDGED[1:]}",
        told=(
            Told(
                name="core_factor",
                label="Copper, times",
                means="Where the table gives ideal copper, as gauges do: real wire is a little worse.",
            ),
            Told(name="contact_ohm", label="Each contact, Ω", means="A plug in a socket, clean, with a firm grip."),
            Told(name="guard_ohm", label="Added for safety, Ω", means="So that a good lead is not failed by the last digit."),
            Told(
                name="watch_extra_ohm",
                label="Fails so far over copper, Ω",
                means="Between pass and this it is watched: still in use, tested again sooner.",
            ),
        ),
    ),
    Group(
        key="joined",
        heading="open, short, leak",
        says="What counts as joined and what does not.",
        source=_JUDGED,
        told=(
            Told(name="open_ohm", label="Open above, Ω", means="Pins that should be joined."),
            Told(name="short_ohm", label="Shorted below, Ω", means="Pins that should not be joined."),
            Told(
                name="leak_ohm", label="Leaks below, MΩ", means="Pins that should not be joined: damp, or a strand.", scale=1e6
            ),
            Told(
                name="insulation_ohm",
                label="Insulation bad below, MΩ",
                means="Tried at a high voltage. Passive cables only, both ends free; never into electronics.",
                scale=1e6,
            ),
            Told(name="insulation_good_ohm", label="Insulation good from, MΩ", means="In between it is watched.", scale=1e6),
        ),
    ),
    Group(
        key="legs",
        heading="two legs alike",
        says="The two signal cores of a balanced lead should match: if they do not, it hums where others are quiet.",
        source=_JUDGED,
        told=(
            Told(name="legs_factor", label="May differ by, in 100", scale=0.01),
            Told(name="legs_ohm", label="and by, Ω", means="So that a short lead is not failed for a speck of dirt."),
        ),
    ),
    Group(
        key="loudspeaker",
        heading="loudspeaker leads",
        says="A loudspeaker lead carries power: what it swallows the loudspeaker does not get.",
        source=_JUDGED,
        told=(
            Told(name="loudspeaker_leg_ohm", label="Each leg over copper, Ω"),
            Told(name="loudspeaker_loss_db", label="Loss into the load, dB"),
        ),
    ),
    Group(
        key="boxes",
        heading="boxes, microphones, phantom",
        says="A box is held against its own first readings, its label and what its ratio predicts; a microphone against the "
        "reference one.",
        source=f"Legs of a phantom output: 0.4 in 100, IEC 61938. The rest: {_JUDGED[0].lower()}{_JUDGED[1:]}",
        told=(
            Told(name="golden_share", label="A winding drifts by, in 100", scale=0.01),
            Told(name="gain_db", label="Gain may be off by, dB"),
            Told(name="pad_db", label="A pad may be off by, dB"),
            Told(name="level_db", label="Levels may differ by, dB", means="A microphone, an input, against its neighbour."),
            Told(name="phantom_match_share", label="Phantom legs differ by, in 100", scale=0.01),
        ),
    ),
    Group(
        key="sees",
        heading="how much each test sees",
        says="Of a hundred bad leads, how many does such a test find? The less it sees, the sooner the next test.",
        source="Judgement of the trade, from memory: lamps 60, lamps while flexed 90, ohms while flexed 97. Ohms without "
        "flexing lies in between, and what a show shows is a proposal of ours.",
        told=(
            Told(name="sees_lamps", label="Lamps or beeps, of 100", scale=0.01),
            Told(name="sees_ohms", label="Ohms, of 100", scale=0.01),
            Told(name="sees_lamps_flexed", label="Lamps while flexed, of 100", scale=0.01),
            Told(name="sees_ohms_flexed", label="Ohms while flexed, of 100", scale=0.01),
            Told(name="sees_show", label="An uneventful show, of 100", means="It counts as a small test.", scale=0.01),
        ),
    ),
    Group(
        key="mains",
        heading="mains: your own limits",
        says="Take these from the code that holds where you work, with a competent person. Empty: the figure is recorded and "
        "compared with nothing.",
        told=(
            Told(name="earth_ohm", label="Protective earth at most, Ω"),
            Told(name="mains_insulation_mohm", label="Insulation at least, MΩ"),
            Told(name="leakage_ma", label="Leakage at most, mA"),
            Told(
                name="residual_trip_ms",
                label="Residual device trips in, ms",
                means="A residual-current device, tried with its own test current.",
            ),
        ),
    ),
)
TOLD = {told.name: told for group in GROUPS for told in group.told}


class LimitsForm(ModelForm):
    """Every figure of the bench, in groups."""

    class Meta:
        model = BenchSettings
        fields = list(TOLD)

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kw})
        for name, told in TOLD.items():
            asked = self.fields[name]
            self.fields[name] = ScaledField(
                scale=told.scale,
                least=_bound(name, MinValueValidator),
                most=_bound(name, MaxValueValidator),
                label=told.label,
                help_text=told.means,
                required=asked.required,
            )

    @property
    def groups(self) -> list[tuple[Group, list[forms.BoundField]]]:
        """Return each group with its fields."""
        return [(group, [self[told.name] for told in group.told]) for group in GROUPS]

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        self._in_order(given, "short_ohm", "leak_ohm", "A leak reads more than a short: this must be above “shorted below”.")
        self._in_order(given, "insulation_ohm", "insulation_good_ohm", "Good insulation reads at least what is not rejected.")
        self._in_order(given, "sees_lamps", "sees_lamps_flexed", "Flexing finds more, never less.")
        self._in_order(given, "sees_ohms", "sees_ohms_flexed", "Flexing finds more, never less.")
        return given

    def _in_order(self, given: dict[str, Any], low: str, high: str, words: str) -> None:
        if given.get(low) is not None and given.get(high) is not None and given[low] > given[high]:
            self.add_error(high, words)


class InstrumentsForm(Form):
    """What the shop's instruments can do, one tick each."""

    measures = forms.MultipleChoiceField(
        choices=[(ability.capability.value, ability.name) for ability in ABILITIES],
        required=False,
        error_messages={"invalid_choice": "One of those is not an ability the program knows."},
    )

    def clean_measures(self) -> list[Capability]:
        return [Capability(value) for value in self.cleaned_data["measures"]]
