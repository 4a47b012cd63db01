"""Forms for items. They check shapes; what must hold is in the services and the database."""

import uuid
from datetime import date
from decimal import Decimal
from itertools import groupby
from typing import Any

from django import forms

from company.calc.roles import Role
from company.models import Company, Person
from company.plain import Form
from inventory.calc.kinds import KIND_NAMES, Kind
from inventory.calc.names import NameStyle
from inventory.calc.typed import Odd, read_money, shown
from inventory.models import GearType, Item, Place
from inventory.services.items import MOST_ADDED

MM_PER_FOOT = Decimal("304.8")


class DayInput(forms.DateInput):
    input_type = "date"

    def __init__(self, **attrs: Any) -> None:
        super().__init__(format="%Y-%m-%d", attrs=attrs)


class LengthField(forms.DecimalField):
    """A length in the company's own unit, kept in whole millimetres."""

    def __init__(self, **kw: Any) -> None:
        super().__init__(min_value=Decimal(0), max_value=Decimal(4000), max_digits=8, decimal_places=3, required=False, **kw)
        self.mm_per_unit = Decimal(1000)

    def use(self, company: Company) -> None:
        feet = company.units == "imperial"
        self.mm_per_unit = MM_PER_FOOT if feet else Decimal(1000)
        self.label = f"Length, {'feet' if feet else 'metres'}"

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, int):
            return (Decimal(value) / self.mm_per_unit).normalize().quantize(Decimal("0.001")).normalize() if value else ""
        return value

    def clean(self, value: Any) -> int:
        number = super().clean(value)
        length_mm = int((number * self.mm_per_unit).to_integral_value()) if number else 0
        if length_mm > 1_000_000:
            raise forms.ValidationError("A length lies between 0 and 1000 m.")
        return length_mm


class MoneyField(forms.CharField):
    """An amount as people write it (149.50, £149,50), kept in whole cents."""

    def __init__(self, **kw: Any) -> None:
        super().__init__(required=False, widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}), **kw)

    def prepare_value(self, value: Any) -> Any:
        return f"{value // 100}.{value % 100:02d}" if isinstance(value, int) else value

    def clean(self, value: Any) -> int | None:
        text = super().clean(value)
        if not text:
            return None
        try:
            read = read_money(text)
        except Odd as odd:
            raise forms.ValidationError(str(odd)) from None
        if read.note:  # 1,234: a thousand, or one and a bit
            raise forms.ValidationError(f"“{shown(text)}” can be read two ways. Write it as 1234.00.")
        return read.value


def type_choices() -> list[tuple[str, Any]]:
    """Return every gear type as choices grouped by kind, in one query."""
    order = {kind.value: rank for rank, kind in enumerate(Kind)}
    rows = sorted(GearType.objects.values_list("kind", "pk", "name"), key=lambda r: (order[r[0]], r[2].lower()))
    groups = [
        (KIND_NAMES[Kind(kind)], [(str(pk), name) for _kind, pk, name in members])
        for kind, members in groupby(rows, key=lambda r: r[0])
    ]
    return [("", "Choose"), *groups]


class TypeField(forms.ChoiceField):
    """Choose a gear type, grouped by kind; cleans to the type itself."""

    def __init__(self, **kw: Any) -> None:
        super().__init__(label=kw.pop("label", "What is it"), choices=type_choices, **kw)

    def clean(self, value: Any) -> GearType | None:
        chosen = super().clean(value)
        return GearType.objects.get(pk=int(chosen)) if chosen else None

    def prepare_value(self, value: Any) -> Any:
        return str(value.pk) if isinstance(value, GearType) else value


def place_field(label: str = "Where it stays", **kw: Any) -> forms.ModelChoiceField:
    kw.setdefault("required", False)
    return forms.ModelChoiceField(Place.objects.all(), label=label, empty_label="Nowhere yet", **kw)


class PlainForm(Form):
    """A form whose labels are words, without a colon after them."""

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kw})


class GearForm(PlainForm):
    """What every form about an item shares: the company's unit, and prices for owners only."""

    def __init__(self, *args: Any, company: Company, person: Person, **kw: Any) -> None:
        super().__init__(*args, **kw)
        for field in self.fields.values():
            if isinstance(field, LengthField):
                field.use(company)
        if "price_cents" in self.fields:
            self.fields["price_cents"].label = f"Price, {company.currency}"
            if not person.is_at_least(Role.OWNER):
                del self.fields["price_cents"]


class ItemAddForm(GearForm):
    """Add one, or twenty-four at once."""

    uid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    type = TypeField()
    count = forms.IntegerField(label="How many", min_value=1, max_value=MOST_ADDED, initial=1)
    length_mm = LengthField(help_text="Leads and multicores; leave empty where length means nothing.")
    home = place_field()
    style = forms.ChoiceField(
        label="Tell them apart by",
        required=False,
        choices=[
            ("", "what is usual"),
            (NameStyle.LETTERS.value, "letters: A, B, C"),
            (NameStyle.NUMBERS.value, "numbers: 1, 2, 3"),
            (NameStyle.NONE.value, "their codes alone"),
        ],
        help_text="Going on after the highest there is.",
    )
    code = forms.CharField(
        label="Its label",
        required=False,
        max_length=200,
        help_text="Scan or type a label that is stuck on already; empty: it gets a new code. For one thing only.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}),
    )
    name = forms.CharField(label="Name", required=False, max_length=40, help_text="Empty: the next free one. For one only.")
    serial = forms.CharField(label="Serial", required=False, max_length=60, help_text="For one only.")
    maker = forms.CharField(label="Maker", required=False, max_length=60)
    bought_on = forms.DateField(label="Bought on", required=False, widget=DayInput())
    price_cents = MoneyField(label="Price")
    borrowed_from = forms.CharField(label="Borrowed from", required=False, max_length=80, help_text="Empty: it is ours.")
    give_back_by = forms.DateField(label="Give back by", required=False, widget=DayInput())
    notes = forms.CharField(label="Notes", required=False, max_length=4000, widget=forms.Textarea(attrs={"rows": 3}))

    MAIN = ("type", "count", "length_mm", "home")
    LABEL = ("code", "style")

    def clean(self) -> dict[str, Any]:
        given = super().clean() or {}
        if "uid" in self.errors:
            self.add_error(None, "The form was broken on its way here. Open it again.")
        if given.get("count", 1) > 1:
            for name in ("code", "name", "serial"):
                if given.get(name):
                    self.add_error(name, "That is for one thing; add them one by one, or leave it empty.")
        if given.get("give_back_by") and not given.get("borrowed_from"):
            self.add_error("borrowed_from", "Say whose it is.")
        return given


class ItemCopyForm(GearForm):
    """Add more like one there is."""

    uid = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    count = forms.IntegerField(label="How many more", min_value=1, max_value=MOST_ADDED, initial=1)


class ItemEditForm(GearForm):
    """Change what is written about an item."""

    type = TypeField()
    name = forms.CharField(label="Name", required=False, max_length=40, help_text="What tells it from its kind: A, 3, red.")
    length_mm = LengthField()
    home = place_field()
    serial = forms.CharField(label="Serial", required=False, max_length=60)
    maker = forms.CharField(label="Maker", required=False, max_length=60)
    bought_on = forms.DateField(label="Bought on", required=False, widget=DayInput())
    price_cents = MoneyField(label="Price")
    calibrated_on = forms.DateField(label="Calibrated on", required=False, widget=DayInput())
    calibration_due_on = forms.DateField(label="Calibrate by", required=False, widget=DayInput())
    notes = forms.CharField(label="Notes", required=False, max_length=4000, widget=forms.Textarea(attrs={"rows": 4}))

    def __init__(self, *args: Any, item: Item, **kw: Any) -> None:
        self.item = item
        kw["initial"] = {name: getattr(item, name) for name in self.base_fields}
        super().__init__(*args, **kw)
        if item.type.kind != Kind.INSTRUMENT:
            del self.fields["calibrated_on"], self.fields["calibration_due_on"]

    def clean_type(self) -> GearType:
        chosen = self.cleaned_data["type"]
        if chosen.kind != self.item.type.kind and self.item.type.kind == Kind.CASE and self.item.contents.exists():
            raise forms.ValidationError("There are things in this case: take them out before it becomes something else.")
        return chosen


class RetireForm(PlainForm):
    because = forms.CharField(
        label="Why", max_length=200, help_text="Beyond repair, sold, lost at the quarry. Its history stays and can be found."
    )


class LendForm(PlainForm):
    to = forms.CharField(label="Who has it", max_length=80)
    home_by = forms.DateField(label="Home by", required=False, widget=DayInput())

    def __init__(self, *args: Any, day: date, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.day = day

    def clean_home_by(self) -> date | None:
        home_by = self.cleaned_data["home_by"]
        if home_by and home_by < self.day:
            raise forms.ValidationError("That day is past.")
        return home_by


class BorrowForm(PlainForm):
    borrowed_from = forms.CharField(label="Whose it is", max_length=80)
    give_back_by = forms.DateField(label="Give back by", required=False, widget=DayInput())


class PlaceForm(PlainForm):
    place = forms.ModelChoiceField(
        Place.objects.all(),
        label="Where",
        required=False,
        empty_label="At its own shelf",
        help_text="A shelf becomes where it stays. At the bench or a repairer it keeps its shelf.",
    )


class PhotoForm(PlainForm):
    photo = forms.FileField(
        label="Photo",
        widget=forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
        help_text="JPEG, PNG or WebP up to 20 MB. Place and camera data are removed.",
    )
