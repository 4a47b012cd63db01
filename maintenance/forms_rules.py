"""The form of a type's rule: the target in bad ones a show, the clamps, the first guesses, the costs."""

from typing import Any

from django import forms

from company.models import Company
from company.plain import Form
from inventory.forms_gear import MoneyField
from maintenance.calc.retest import Rule
from maintenance.forms_limits import ScaledField

PLAIN = ("least_days", "most_days", "least_shows", "most_shows", "after_repair", "after_wet", "after_symptom")
GUESSES = ("median_shows", "pessimistic_shows", "storage_shows_a_month", "minutes_a_test")
MONEY = ("line_check_cents", "show_cents")


def whole(label: str, least: int, most: int, help_text: str = "", *, required: bool = True) -> forms.IntegerField:
    return forms.IntegerField(
        label=label,
        min_value=least,
        max_value=most,
        required=required,
        help_text=help_text,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )


class RuleForm(Form):
    """A type's rule. `target()` gives the chance for each one; it stays as it was where the number typed was not changed."""

    bad_a_show = ScaledField(label="Bad ones a show, at most", least=0.0001, most=100)
    a_show = ScaledField(label="of so many on a show", least=0.1, most=100_000, required=False)
    shows_a_month = ScaledField(label="at so many shows a month", least=0, most=1_000, required=False)
    least_days = whole("Not sooner than, days", 0, 3650)
    most_days = whole("Not later than, days", 1, 3650, "Empty: no such limit.", required=False)
    least_shows = whole("Not before so many shows", 0, 1000)
    most_shows = whole("Not after more shows than", 1, 1000, "Empty: no such limit.", required=False)
    after_repair = forms.BooleanField(label="after a repair", required=False)
    after_wet = forms.BooleanField(label="after it got wet", required=False)
    after_symptom = forms.BooleanField(label="after somebody said something is wrong, or it was dropped", required=False)
    median_shows = ScaledField(label="Half of them last, shows", least=0.1, most=1e6)
    pessimistic_shows = ScaledField(label="The worst 1 in 20 last, shows", least=0.05, most=1e6)
    storage_shows_a_month = ScaledField(
        label="A month on the shelf wears like, shows", least=0, most=30, help_text="0: lying still does it no harm."
    )
    minutes_a_test = ScaledField(label="One test takes, minutes", least=0.1, most=480)
    line_check_cents = MoneyField(label="One found bad at line check")
    show_cents = MoneyField(label="One failing in the show")

    def __init__(self, *args: Any, rule: Rule, company: Company, bad_a_show: float, a_show: float, monthly: float, **kw: Any):
        shown = {name: getattr(rule, name) for name in (*PLAIN, *GUESSES, *MONEY)}
        shown |= {"bad_a_show": float(f"{bad_a_show:.3g}"), "a_show": a_show, "shows_a_month": monthly}
        super().__init__(*args, **{"label_suffix": "", "initial": shown, **kw})
        for name in MONEY:
            self.fields[name].label = f"{self.fields[name].label}, {company.currency}"
        self.rule = rule

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        for name in MONEY:
            if name in given:
                given[name] = given[name] or 0
        self._in_order(given, "least_days", "most_days", "The latest day comes before the soonest.")
        self._in_order(given, "least_shows", "most_shows", "The most shows are fewer than the least.")
        low, high = given.get("pessimistic_shows"), given.get("median_shows")
        if low is not None and high is not None and low >= high:
            self.add_error(
                "pessimistic_shows", "The worst last less than half of them do: this must be below the figure above."
            )
        return given

    def _in_order(self, given: dict[str, Any], low: str, high: str, words: str) -> None:
        if given.get(low) is not None and given.get(high) is not None and given[low] > given[high]:
            self.add_error(high, words)

    @property
    def target_typed(self) -> bool:
        """Say whether another target was typed than the one shown."""
        return "bad_a_show" in self.changed_data

    def columns(self) -> dict[str, Any]:
        """Return what the rule has columns for, but for the target."""
        return {name: self.cleaned_data[name] for name in (*PLAIN, *GUESSES, *MONEY)}
