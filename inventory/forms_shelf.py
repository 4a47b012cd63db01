"""Forms of counted lines, cases, strays and places."""

import uuid
from typing import Any, cast

from django import forms
from django.http import HttpRequest

from company.models import Person
from company.plain import Form, ModelForm
from inventory.calc.kinds import Kind
from inventory.models import CountedLine, GearType, Item, Place, Stray
from inventory.services.counted import MOST


def form_uid(request: HttpRequest) -> uuid.UUID:
    """Return the uid hidden in a form, so that the same form sent twice counts once; a mangled one gets a fresh uid."""
    try:
        return uuid.UUID(request.POST.get("uid", ""))
    except ValueError:
        return uuid.uuid4()


def who(request: HttpRequest) -> Person:
    """Return who is signed in; the middleware lets nobody else this far."""
    return cast(Person, request.user)


def length_from_metres(metres: Any) -> int:
    return round(float(metres) * 1000) if metres else 0


class LengthField(forms.FloatField):
    """A length in metres; the cleaned value is whole millimetres, 0 where length means nothing."""

    def __init__(self, **kw: Any) -> None:
        kw = {"label": "Length in metres", "required": False, "min_value": 0, "max_value": 1000, **kw}
        super().__init__(**kw)
        self.widget.attrs.setdefault("step", "any")
        self.widget.attrs.setdefault("inputmode", "decimal")

    def clean(self, value: Any) -> int:
        return length_from_metres(super().clean(value))


class CountField(forms.IntegerField):
    """A whole number of things."""

    def __init__(self, **kw: Any) -> None:
        super().__init__(**{"min_value": 1, "max_value": MOST, "label": "How many", **kw})
        self.widget.attrs.update({"inputmode": "numeric", "autocomplete": "off"})


class CountedLineForm(Form):
    """A new counted line."""

    type = forms.ModelChoiceField(GearType.objects.none(), label="What", empty_label="Choose a type")
    length_mm = LengthField(help_text="Leave empty where length means nothing.")
    count = CountField(min_value=0, help_text="What you have now, out and home together.")
    home = forms.ModelChoiceField(
        Place.objects.all(), required=False, label="Where it lies", empty_label="Nowhere in particular"
    )
    notes = forms.CharField(required=False, max_length=200, label="Notes")

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        types = GearType.objects.exclude(kind=Kind.CASE).order_by("-counted_at_first", "name")
        self.fields["type"].queryset = types


class LineDetailsForm(ModelForm):
    class Meta:
        model = CountedLine
        fields = ["home", "notes"]
        labels = {"home": "Where it lies"}


class ShowCountForm(Form):
    """A count that goes with a show."""

    show = forms.TypedChoiceField(coerce=int, label="Show")

    def __init__(self, *args: Any, shows: list[tuple[int, str]], **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["show"].choices = shows


class OutForm(ShowCountForm):
    """So many out to a show; more than the record has on the shelf are asked about once (`sure` says how many were)."""

    prefix = "out"
    count = CountField()
    sure = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, on_shelf: int, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.on_shelf = max(on_shelf, 0)
        self.asks = ""

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        sure, count = cleaned.pop("sure", None), cleaned.get("count")
        if count is not None and count > self.on_shelf and sure != count:
            are = "is" if self.on_shelf == 1 else "are"
            self.asks = f"Send {count} all the same"
            data: Any = self.data.copy()
            data[self.add_prefix("sure")] = str(count)
            self.data = data
            raise forms.ValidationError(f"There {are} {self.on_shelf} on the shelf by the record. Send {count} all the same?")
        return cleaned


class BackForm(ShowCountForm):
    """How many came back, and how many of those are bad; the cleaned data says good and bad."""

    prefix = "back"
    came = CountField(min_value=0, label="How many came back")
    bad = CountField(min_value=0, label="of which bad", required=False, initial=0)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if "came" not in cleaned or "bad" not in cleaned:
            return cleaned
        came, bad = cleaned.pop("came"), cleaned["bad"] or 0
        if bad > came:
            raise forms.ValidationError(f"{bad} bad of {came} that came back cannot be: count both again.")
        return {**cleaned, "good": came - bad, "bad": bad}


class LostForm(ShowCountForm):
    prefix = "lost"
    count = CountField()


class ChangeForm(Form):
    """What else happened to a line."""

    prefix = "change"
    what = forms.ChoiceField(
        label="What happened",
        choices=[
            ("bought", "Bought"),
            ("found-bad", "Found bad on the shelf"),
            ("mended", "Mended at the bench"),
            ("thrown-away", "Thrown away: bad ones"),
            ("thrown-away-good", "Thrown away: good ones"),
        ],
    )
    count = CountField()
    note = forms.CharField(required=False, max_length=200, label="Note")


class RecountForm(Form):
    prefix = "recount"
    on_shelf = CountField(min_value=0, label="On the shelf")
    bad = CountField(min_value=0, label="Bad, at the bench", required=False)


class LabelOneForm(Form):
    prefix = "label"
    code = forms.CharField(
        required=False, max_length=200, label="The label’s code", help_text="Scan the label you stuck on it. Empty: a new code."
    )
    bad = forms.BooleanField(required=False, label="It is one of the bad ones")


class PlanLineForm(Form):
    """One line of a case's plan."""

    type = forms.ModelChoiceField(GearType.objects.all(), label="What", empty_label="Choose a type")
    length_mm = LengthField()
    count = CountField(min_value=0, max_value=10_000, initial=1)


class PlanCopyForm(Form):
    source = forms.ModelChoiceField(Item.objects.none(), label="Copy the plan of", empty_label="Choose a case")

    def __init__(self, *args: Any, case: Item, **kw: Any) -> None:
        super().__init__(*args, **kw)
        cases = Item.objects.owned().filter(type__kind=Kind.CASE, plan__isnull=False).exclude(pk=case.pk)
        self.fields["source"].queryset = cases.select_related("type").distinct()


class StrayForm(ModelForm):
    show = forms.TypedChoiceField(coerce=int, empty_value=None, required=False, label="Came back from")
    found_at = forms.DateTimeField(widget=forms.HiddenInput, required=False)

    class Meta:
        model = Stray
        fields = ["what", "code_text", "show", "where", "whose"]
        labels = {
            "what": "What is it",
            "code_text": "What its label says",
            "where": "Where it lies now",
            "whose": "Whose it may be",
        }

    def __init__(self, *args: Any, shows: list[tuple[int, str]], **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["show"].choices = [("", "Nobody knows"), *shows]
        if not shows:
            del self.fields["show"]


class PlaceForm(ModelForm):
    class Meta:
        model = Place
        fields = ["name", "sort"]
        labels = {"sort": "What it is"}
        error_messages = {"name": {"unique": "There is a place of that name already."}}


class SendForm(Form):
    place = forms.ModelChoiceField(Place.objects.none(), label="Send it to", empty_label=None)

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["place"].queryset = Place.objects.exclude(sort=Place.Sort.SHELF)
