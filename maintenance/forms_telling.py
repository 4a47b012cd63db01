"""Forms of how a person is told: their hours, and an address of one service."""

from typing import Any
from zoneinfo import available_timezones

from django import forms

from company.plain import Form, ModelForm
from maintenance.models import Telling
from maintenance.sending.services import Gap, NoSuchAddressError, Service, address_of


def _clock(label: str, help_text: str) -> forms.TimeField:
    return forms.TimeField(
        label=label,
        help_text=help_text,
        required=False,
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
        error_messages={"invalid": "Write a time, as 07:30."},
    )


class HoursForm(ModelForm):
    """When a person is told."""

    digest_at = _clock("The day's digest at", "One message with whatever can wait. Empty: no digest.")
    quiet_from = _clock("Quiet from", "Only what is urgent is told in these hours; the rest waits for their end.")
    quiet_until = _clock("Quiet until", "Empty: no quiet hours.")

    class Meta:
        model = Telling
        fields = ["digest_at", "quiet_from", "quiet_until", "time_zone"]
        labels = {"time_zone": "Your time zone"}
        help_texts = {"time_zone": "Empty: the company's. Else as Europe/London."}
        widgets = {"time_zone": forms.TextInput(attrs={"list": "zones", "autocomplete": "off"})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kwargs})

    def clean_time_zone(self) -> str:
        zone = str(self.cleaned_data["time_zone"]).strip()
        if zone and zone not in available_timezones():
            raise forms.ValidationError(f"{zone} is not a time zone this machine knows. Try Europe/London.")
        return zone

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if not self.errors and (given["quiet_from"] is None) != (given["quiet_until"] is None):
            self.add_error("quiet_until", "Quiet hours have a start and an end: give both, or neither.")
        elif not self.errors and given["quiet_from"] is not None and given["quiet_from"] == given["quiet_until"]:
            self.add_error("quiet_until", "They end when they start. Leave both empty for no quiet hours.")
        return given


class EmailForm(Form):
    """One more e-mail address."""

    email = forms.EmailField(
        label="E-mail", max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "off", "inputmode": "email"})
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kwargs})


class ServiceForm(Form):
    """The gaps of a service's address. `address` holds the whole once the form is valid."""

    def __init__(self, service: Service, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kwargs})
        self.service = service
        self.address = ""
        for gap in service.gaps:
            self.fields[gap.name] = _field_of(gap)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if not self.errors:
            try:
                self.address = address_of(self.service, given)
            except NoSuchAddressError as error:
                self.add_error(None, str(error))
        return given

    def masked(self) -> str:
        """Return enough of the address to know it by: what is no secret, and the last signs of what is."""
        seen = [self.cleaned_data[gap.name] for gap in self.service.gaps if not gap.secret]
        hidden = str(self.cleaned_data[self.service.gaps[-1].name])
        return f"{self.service.name}, {_tail(seen[-1] if seen else hidden)}"


def _tail(word: str) -> str:
    return f"…{word[-3:]}"


def _field_of(gap: Gap) -> forms.RegexField:
    return forms.RegexField(
        rf"\A{gap.shape}\Z",
        label=gap.label,
        help_text=gap.hint,
        max_length=120,
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false", "autocapitalize": "none"}),
        error_messages={"invalid": f"That has another shape. {gap.hint}"},
    )
