"""Forms for gear types; the form for the facts is made from the facts table of the kind."""

from decimal import Decimal
from typing import Any

from django import forms

from company.calc.roles import Role
from company.models import Company, Person
from company.plain import ModelForm
from inventory.calc.fact_words import words_of
from inventory.calc.kinds import Kind
from inventory.forms_gear import LengthField, MoneyField, PlainForm, TypeField
from inventory.models import FACTS_OF_KIND, GearType
from inventory.registries import WIRING_CHOICES

LONGEST_STOCK = 20


class TypeForm(ModelForm):
    """What every kind of gear has."""

    replacement_cents = MoneyField(label="Replacement value")

    class Meta:
        model = GearType
        fields = [
            "name",
            "counted_at_first",
            "replacement_cents",
            "mass_g",
            "bays",
            "cell_size",
            "label_diameter_mm",
            "notes",
        ]
        labels = {
            "counted_at_first": "Counted, not labelled one by one",
            "mass_g": "Mass, g",
            "bays": "Places for cells",
            "cell_size": "Cell it takes",
            "label_diameter_mm": "A label wraps around, mm",
        }
        help_texts = {
            "mass_g": "",
            "bays": "",
            "label_diameter_mm": "Outer diameter, for flags on leads.",
            "counted_at_first": "",
        }
        widgets = {"notes": forms.Textarea(attrs={"rows": 3})}

    def __init__(self, *args: Any, company: Company, person: Person, **kw: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kw})
        self.fields["bays"].required = False
        self.fields["replacement_cents"].label = f"Replacement value, {company.currency}"
        if not person.is_at_least(Role.OWNER):
            del self.fields["replacement_cents"]

    def clean_bays(self) -> int:
        return self.cleaned_data["bays"] or 0


class LengthsField(forms.CharField):
    """Several lengths in metres, kept as a list of whole millimetres."""

    def prepare_value(self, value: Any) -> Any:
        return ", ".join(f"{v / 1000:g}" for v in value) if isinstance(value, list) else value

    def clean(self, value: Any) -> list[int]:
        text = super().clean(value)
        lengths: set[int] = set()
        for part in text.replace(";", ",").split(","):
            if not part.strip():
                continue
            try:
                metres = Decimal(part.strip().removesuffix("m").strip())
                fits = 0 < metres <= 1000
            except ArithmeticError as error:
                raise forms.ValidationError(f"“{part.strip()[:20]}” is no length. Write 3, 6, 10.") from error
            if not fits:
                raise forms.ValidationError("A length lies between 0 and 1000 m.")
            lengths.add(int(metres * 1000))
        if len(lengths) > LONGEST_STOCK:
            raise forms.ValidationError(f"At most {LONGEST_STOCK} lengths.")
        return sorted(lengths)


def wiring_field(kind: Kind, now: str) -> forms.Field:
    """Ask for one of the wirings the floor above knows; what is on record stays choosable though nobody knows it."""
    known = [choice for answer in WIRING_CHOICES for choice in answer(kind)]
    if now and now not in dict(known):
        known.append((now, f"{now}: not one that is written down"))
    return forms.ChoiceField(
        label="Wiring",
        choices=[("", "not said"), *known],
        required=False,
        help_text="Which pin goes to which. The bench asks and judges by it.",
    )


class FactsFormBase(ModelForm):
    """Facts of one kind; every label carries its unit."""

    kind: Kind

    def __init__(self, *args: Any, **kw: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kw})
        for name, field in self.fields.items():
            words, unit = words_of(name)
            if name == "stock_lengths_mm":
                field.label, field.help_text = "Stock lengths, m", "As 3, 6, 10."
                continue
            if name == "wiring":
                self.fields[name] = wiring_field(self.kind, getattr(self.instance, name, ""))
                continue
            if name == "source":
                field.help_text = ""
            field.label = f"{words[:1].upper()}{words[1:]}{f', {unit}' if unit else ''}"
            if isinstance(field, forms.NullBooleanField):
                field.widget = forms.Select(choices=[("unknown", "not known"), ("true", "yes"), ("false", "no")])


def facts_form_of(kind: Kind) -> type[forms.ModelForm]:
    """Return the form for the facts of a kind, made from its table."""
    model = FACTS_OF_KIND[kind]
    extra = {"stock_lengths_mm": LengthsField(required=False)} if kind is Kind.LEAD else {}
    meta = type("Meta", (), {"model": model, "exclude": ["type"]})
    return type(f"{model.__name__}Form", (FactsFormBase,), {"Meta": meta, "kind": kind, **extra})


class GoesWithForm(PlainForm):
    """So many of another type go with this one."""

    needs = TypeField(label="Goes with it")
    count = forms.IntegerField(label="How many", min_value=1, max_value=100, initial=1)
    length_mm = LengthField()

    def __init__(self, *args: Any, company: Company, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.fields["length_mm"].use(company)
