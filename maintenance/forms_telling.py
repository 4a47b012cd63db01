"""Forms of how a person is told: the hours, and an address to add."""

from datetime import time
from typing import Any

from django import forms

from company.models import check_time_zone
from company.plain import Form
from maintenance.models import Telling
from maintenance.sending.services import SERVICES, Service
from maintenance.services.address_book import EMAIL


def clock(label: str, help_text: str = "") -> forms.TimeField:
    return forms.TimeField(
        label=label,
        required=False,
        help_text=help_text,
        input_formats=["%H:%M", "%H:%M:%S"],
        widget=forms.TimeInput(attrs={"type": "time"}, format="%H:%M"),
    )


class HoursForm(Form):
    """When a person is told."""

    digest_at = clock("The daily digest, at", "Empty: no digest.")
    quiet_from = clock("Quiet from")
    quiet_until = clock("until", "What is urgent comes at any hour.")
    time_zone = forms.CharField(
        label="Your time zone",
        required=False,
        max_length=64,
        validators=[check_time_zone],
        help_text="As Europe/London. Empty: the company's.",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )

    def __init__(self, *args: Any, telling: Telling, **kw: Any) -> None:
        names = ("digest_at", "quiet_from", "quiet_until", "time_zone")
        super().__init__(*args, **{"label_suffix": "", "initial": {name: getattr(telling, name) for name in names}, **kw})

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        start, end = given.get("quiet_from"), given.get("quiet_until")
        if (start is None) != (end is None) and not self.errors:
            raise forms.ValidationError("Quiet hours have a beginning and an end: fill in both, or neither.")
        if isinstance(start, time) and start == end:
            raise forms.ValidationError("Quiet hours that begin and end together are none: leave both empty.")
        return given


class AddressForm(Form):
    """The gaps of one service's address, or an e-mail address."""

    def __init__(self, *args: Any, service: Service | None, **kw: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kw})
        if service is None:
            self.fields["email"] = forms.CharField(
                label="E-mail address", max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "email"})
            )
            return
        for gap in service.gaps:
            self.fields[gap.name] = forms.CharField(
                label=gap.label, help_text=gap.hint, max_length=200, widget=forms.TextInput(attrs={"autocomplete": "off"})
            )


def service_named(key: str) -> tuple[str, Service | None] | None:
    """Return what a name on the page stands for: e-mail, or a service; None for neither."""
    if key == EMAIL:
        return EMAIL, None
    return (key, SERVICES[key]) if key in SERVICES else None
