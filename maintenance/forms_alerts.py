"""Forms of alerts: how a rule goes, and until when something is put off."""

from datetime import datetime, timedelta
from typing import Any

from django import forms

from company.calc.roles import Role
from company.models import Person
from company.plain import Form
from company.registries import AlertRule
from maintenance.alert_terms import MOST_STAGES, Effective
from maintenance.calc.alert_spans import SpanError, span_read, span_words

AT_ONCE, DIGEST = "once", "digest"
LONGEST = timedelta(days=366)


class SpanField(forms.CharField):
    """A length of time in words: 30 min, 48 h, 7 days."""

    def __init__(self, **kw: Any) -> None:
        super().__init__(max_length=40, **kw)
        self.widget.attrs |= {"autocomplete": "off"}

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            return span_read(text)
        except SpanError as error:
            raise forms.ValidationError(str(error)) from None


class RuleForm(Form):
    """One rule. `terms_changed` says what to keep."""

    on = forms.BooleanField(label="Speak up about this", required=False)
    how = forms.ChoiceField(
        label="Told",
        choices=[(AT_ONCE, "by itself, at once"), (DIGEST, "in the daily digest, with the rest")],
        widget=forms.Select,
    )
    urgent = forms.BooleanField(label="Urgent: told at any hour, also in quiet hours", required=False)
    role = forms.ChoiceField(label="Tell everybody who is at least", choices=[(r.value, r.value) for r in Role])
    people = forms.ModelMultipleChoiceField(
        label="Or only these people",
        queryset=Person.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="Nobody ticked: everybody of the role above.",
    )
    lead = SpanField(label="Lead", required=False)
    stages = forms.CharField(
        label="Again, if still undone", required=False, max_length=120, help_text="As 12 h, 2 h. Empty: told once."
    )

    def __init__(self, *args: Any, rule: AlertRule, effective: Effective, **kw: Any) -> None:
        shown = {
            "on": effective.on,
            "how": DIGEST if effective.digest else AT_ONCE,
            "urgent": effective.urgent,
            "role": effective.role,
            "people": [person.pk for person in effective.people],
            "lead": span_words(effective.terms.lead),
            "stages": ", ".join(span_words(stage) for stage in effective.terms.stages),
        }
        super().__init__(*args, **{"label_suffix": "", "initial": shown, **kw})
        self.fields["people"].queryset = Person.objects.filter(is_active=True)  # type: ignore[attr-defined]
        if rule.lead_means is None:
            del self.fields["lead"], self.fields["stages"]
        else:
            self.fields["lead"].label = f"Speak up, {rule.lead_means}"
            self.fields["lead"].help_text = "As 30 min, 48 h or 7 days."
        self.rule = rule

    def clean_stages(self) -> list[timedelta]:
        words = [one.strip() for one in self.cleaned_data["stages"].split(",") if one.strip()]
        if len(words) > MOST_STAGES:
            raise forms.ValidationError(f"At most {MOST_STAGES} further times.")
        try:
            return [span_read(word) for word in words]
        except SpanError as error:
            raise forms.ValidationError(str(error)) from None


class SnoozeForm(Form):
    """Until when something is put off, in the company's time."""

    until = forms.DateTimeField(
        label="Put off until",
        input_formats=["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M"],
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"),
    )

    def __init__(self, *args: Any, at: datetime, **kw: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kw})
        self.at = at

    def clean_until(self) -> datetime:
        until: datetime = self.cleaned_data["until"]
        if until <= self.at:
            raise forms.ValidationError("Put it off until later than now.")
        if until > self.at + LONGEST:
            raise forms.ValidationError("That is over a year: it would be forgotten.")
        return until
