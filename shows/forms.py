"""Forms of shows, venues and rigs. Times are typed as a wall clock in the company's zone shows them."""

from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from company.plain import Form, ModelForm
from shows.calc.times import FIRST_YEAR, LAST_YEAR, Reading, ShowTimes, out_of_order, show_times, wall_read
from shows.models import Rig, Show, Venue, VenueFeed

TIMES = ["load_in", "line_check", "start", "end", "strike", "home_by"]
NEEDED = ["load_in", "start", "end"]
WHICH = [("first", "the first time round (before the clocks go back)"), ("second", "the second time round")]


class WallField(forms.Field):
    """A wall time as typed, naive: what instant it means depends on the zone and, twice a year, on a choice."""

    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")

    def to_python(self, value: Any) -> datetime | None:
        if not value:
            return None
        if isinstance(value, datetime):
            return value.replace(tzinfo=None)
        try:
            wall = datetime.fromisoformat(str(value).strip())
        except ValueError:
            raise ValidationError("Write it as a day and a time, such as 2026-09-25T18:30.") from None
        if wall.tzinfo is not None:
            raise ValidationError("Leave the offset out: times are in the company's zone.")
        if not FIRST_YEAR <= wall.year <= LAST_YEAR:
            raise ValidationError(f"The year must lie between {FIRST_YEAR} and {LAST_YEAR}.")
        return wall.replace(second=0, microsecond=0)


class NearDateField(forms.DateField):
    """A day within the years a show can be in."""

    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")

    def to_python(self, value: Any) -> date | None:
        day = super().to_python(value)
        if day is not None and not FIRST_YEAR <= day.year <= LAST_YEAR:
            raise ValidationError(f"The year must lie between {FIRST_YEAR} and {LAST_YEAR}.")
        return day


class ShowForm(Form):
    """A show: five things typed, everything else filled in; `times` holds the answer once it is valid."""

    name = forms.CharField(max_length=80)
    client = forms.CharField(
        max_length=80, required=False, widget=forms.TextInput(attrs={"list": "clients", "autocomplete": "off"})
    )
    venue = forms.CharField(
        max_length=80,
        required=False,
        help_text="Pick one or type a new one: it gets a record of its own.",
        widget=forms.TextInput(attrs={"list": "venues", "autocomplete": "off"}),
    )
    load_in = WallField(label="Load-in")
    start = WallField(label="Start")
    end = WallField(label="End")
    line_check = WallField(label="Line check", required=False, help_text="Empty: 2 h before the start.")
    strike = WallField(label="Strike", required=False, help_text="Empty: 30 min after the end.")
    home_by = WallField(label="Home by", required=False, help_text="Empty: 2 h after the strike.")
    hold_from = NearDateField(label="Hold gear from", required=False, help_text="Empty: the day of load-in.")
    hold_until = NearDateField(label="Hold gear until", required=False, help_text="Empty: the day it is home.")
    rehearsal = forms.BooleanField(
        label="A rehearsal", required=False, help_text="Nothing is lost when a channel dies: part-used cells will do."
    )
    notes = forms.CharField(max_length=4000, required=False, widget=forms.Textarea(attrs={"rows": 3}))
    load_in_which = forms.ChoiceField(label="Which", choices=[("", ""), *WHICH], required=False)
    line_check_which = forms.ChoiceField(label="Which", choices=[("", ""), *WHICH], required=False)
    start_which = forms.ChoiceField(label="Which", choices=[("", ""), *WHICH], required=False)
    end_which = forms.ChoiceField(label="Which", choices=[("", ""), *WHICH], required=False)
    strike_which = forms.ChoiceField(label="Which", choices=[("", ""), *WHICH], required=False)
    home_by_which = forms.ChoiceField(label="Which", choices=[("", ""), *WHICH], required=False)

    def __init__(self, *args: Any, zone: ZoneInfo, **kwargs: Any) -> None:
        self.zone = zone
        self.asked: set[str] = set()
        self.times: ShowTimes | None = None
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        for name in TIMES:
            wall = self.initial.get(name)
            if wall is not None and wall_read(wall, zone).reading is Reading.TWICE:
                self.asked.add(name)

    @staticmethod
    def initial_of(show: Show, zone: ZoneInfo) -> dict[str, Any]:
        """Return what the form shows of a show, as its company's wall clock shows it."""
        initial: dict[str, Any] = {
            "name": show.name,
            "client": show.client,
            "venue": show.venue.name if show.venue else "",
            "notes": show.notes,
            "rehearsal": show.rehearsal,
            "hold_from": show.hold_from,
            "hold_until": show.hold_until,
        }
        for name in TIMES:
            local = getattr(show, name).astimezone(zone)
            initial[name] = local.replace(tzinfo=None, fold=0)
            initial[f"{name}_which"] = "second" if local.fold else "first"
        return initial

    def needed_times(self) -> list[tuple[forms.BoundField, forms.BoundField | None]]:
        return self._pairs(NEEDED)

    def other_times(self) -> list[tuple[forms.BoundField, forms.BoundField | None]]:
        return self._pairs([name for name in TIMES if name not in NEEDED])

    def _pairs(self, names: list[str]) -> list[tuple[forms.BoundField, forms.BoundField | None]]:
        return [(self[name], self[f"{name}_which"] if name in self.asked else None) for name in names]

    @property
    def opens_more(self) -> bool:
        """Say whether the times nobody needs to type must be in sight: one is wrong, asked for or already typed."""
        others = [name for name in [*TIMES, "hold_from", "hold_until"] if name not in NEEDED]
        return any(name in self.errors or name in self.asked for name in others)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        instants: dict[str, datetime] = {}
        for name in TIMES:
            wall = cleaned.get(name)
            if wall is None:
                continue
            read = wall_read(wall, self.zone)
            if read.reading is Reading.NEVER:
                self.add_error(name, read.why)
            elif read.reading is Reading.TWICE:
                self.asked.add(name)
                which = cleaned.get(f"{name}_which")
                if which:
                    instants[name] = read.second if which == "second" else read.first
                else:
                    self.add_error(name, read.why)
            else:
                instants[name] = read.first
        if self.errors or not all(name in instants for name in NEEDED):
            return cleaned
        optional: dict[str, Any] = {n: instants.get(n) for n in TIMES if n not in NEEDED}
        times = show_times(
            **{n: instants[n] for n in NEEDED},
            **optional,
            hold_from=cleaned.get("hold_from"),
            hold_until=cleaned.get("hold_until"),
            zone=self.zone,
        )
        for field, sentence in out_of_order(times, self.zone, typed=instants).items():
            self.add_error(field, sentence)
        if not self.errors:
            self.times = times
        return cleaned

    def save_fields(self) -> dict[str, Any]:
        """Return what the service wants; a venue nobody knows yet is made."""
        data = self.cleaned_data
        venue, called = None, data["venue"]
        if called:
            venue = Venue.objects.filter(name__iexact=called).first() or Venue.objects.get_or_create(name=called)[0]
        return {
            "name": data["name"],
            "client": data["client"],
            "venue": venue,
            "notes": data["notes"],
            "rehearsal": data["rehearsal"],
            "times": self.times,
        }


class VenueForm(ModelForm):
    """A venue; stage sizes are typed in metres."""

    stage_width = forms.DecimalField(label="Stage width, m", min_value=0, max_value=200, decimal_places=2, required=False)
    stage_depth = forms.DecimalField(label="Stage depth, m", min_value=0, max_value=200, decimal_places=2, required=False)
    stage_to_mix = forms.DecimalField(label="Stage to mix, m", min_value=0, max_value=500, decimal_places=2, required=False)

    class Meta:
        model = Venue
        fields = ["name", "town", "address", "contact", "access", "house_desk", "house_desk_type", "remarks"]
        labels = {"house_desk_type": "A desk of that kind in our catalogue"}
        widgets = {
            "access": forms.Textarea(attrs={"rows": 3}),
            "remarks": forms.Textarea(attrs={"rows": 5}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)
        for name in ("stage_width", "stage_depth", "stage_to_mix"):
            value = getattr(self.instance, f"{name}_mm")
            self.fields[name].initial = value / 1000 if value is not None else None

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for name in ("stage_width", "stage_depth", "stage_to_mix"):
            value = cleaned.get(name)
            setattr(self.instance, f"{name}_mm", None if value is None else int(value * 1000))
        return cleaned


class VenueFeedForm(ModelForm):
    """A supply at a venue."""

    class Meta:
        model = VenueFeed
        fields = ["name", "where", "phase", "amps", "residual", "residual_ma", "remarks"]
        labels = {
            "amps": "What it gives, A",
            "residual": "Residual-current device",
            "residual_ma": "It trips at, mA",
        }

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        name = cleaned.get("name")
        others = VenueFeed.objects.filter(venue=self.instance.venue, name__iexact=name or "").exclude(pk=self.instance.pk)
        if name and others.exists():
            self.add_error("name", "The venue has a feed of that name.")
        return cleaned


class RigForm(ModelForm):
    class Meta:
        model = Rig
        fields = ["name", "notes"]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        kwargs.setdefault("label_suffix", "")
        super().__init__(*args, **kwargs)


class WhenForm(Form):
    """When something on paper happened: a wall time, now at the latest."""

    when = WallField(label="When it was ticked", required=False, help_text="Empty: now.", label_suffix="")

    def instant(self, at: datetime, zone: ZoneInfo) -> datetime:
        """Return the instant meant, never later than now; nothing typed means now."""
        wall = self.cleaned_data.get("when")
        return min(wall_read(wall, zone).first, at) if wall else at


def local_wall(at: datetime) -> datetime:
    """Return an instant as the company's wall clock shows it."""
    return timezone.localtime(at).replace(tzinfo=None, second=0, microsecond=0)
