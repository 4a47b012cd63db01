"""The form of a repair: what was done, at which end, with what, how long, what it cost."""

from datetime import date
from typing import Any

from django import forms

from company.plain import Form
from inventory.forms_gear import DayInput, MoneyField
from maintenance.models import Fault
from maintenance.services.repairs import LONGEST_DID, LONGEST_END, LONGEST_PARTS, MOST_CENTS, MOST_MINUTES

NO_FAULT = ""


class RepairForm(Form):
    did = forms.CharField(
        label="What was done",
        max_length=LONGEST_DID,
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Say what was done."},
    )
    end = forms.CharField(
        label="At which end", max_length=LONGEST_END, required=False, help_text="A or B, as on its labels; empty for a box."
    )
    parts = forms.CharField(label="Parts used", max_length=LONGEST_PARTS, required=False)
    minutes = forms.IntegerField(label="Minutes", required=False, min_value=0, max_value=MOST_MINUTES)
    cost_cents = MoneyField(label="What the parts cost")
    as_new = forms.BooleanField(
        label="It is as good as new",
        help_text="Rebuilt or replaced inside: its record of failures starts over from here.",
        required=False,
    )
    fault = forms.ChoiceField(label="For which fault", required=False)
    done_on = forms.DateField(label="Done on", widget=DayInput())

    def __init__(self, *args: Any, faults: list[tuple[Fault, str]], day: date, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.day, self.faults = day, {str(fault.pk): fault for fault, _said in faults}
        self.fields["done_on"].initial = day
        if faults:
            self.fields["fault"].choices = [  # type: ignore[attr-defined]
                *((str(fault.pk), said) for fault, said in faults),
                (NO_FAULT, "none of these"),
            ]
            self.fields["fault"].initial = str(faults[0][0].pk)
        else:
            del self.fields["fault"]

    def clean_cost_cents(self) -> int | None:
        cents = self.cleaned_data["cost_cents"]
        if cents is not None and not 0 <= cents <= MOST_CENTS:
            raise forms.ValidationError("That cost cannot be.")
        return cents

    def clean_done_on(self) -> date:
        done_on: date = self.cleaned_data["done_on"]
        if done_on > self.day:
            raise forms.ValidationError("That day is still to come. Check the date.")
        if done_on.year < 1950:
            raise forms.ValidationError("That is too long ago. Check the date.")
        return done_on

    def clean_fault(self) -> Fault | None:
        return self.faults.get(self.cleaned_data["fault"])
