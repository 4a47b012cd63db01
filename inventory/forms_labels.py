"""The labels page's form: what to print, on which sheet, on which printer."""

import re
from typing import Any

from django import forms
from django.db.models import QuerySet

from company.plain import Form, ModelForm
from inventory.calc import codes
from inventory.calc.label_sheets import STOCKS, Order, StockError, own_roll, stock_of
from inventory.calc.labels import PRINTER_DPIS
from inventory.labelled import label_missing, without_label
from inventory.models import CountedLine, GearType, Item, PrinterTrim
from inventory.services.label_runs import MOST_AT_ONCE, Wanted

OWN = "own"
WHATS = [
    ("new", "things that have no label yet"),
    ("gone", "things whose label is gone"),
    ("codes", "things I scan or type here"),
    ("type", "all of one type"),
    ("case", "a case and what is in it"),
    ("counted", "shelf labels of counted lines"),
    ("blank", "blank labels: stick, scan, say what it is"),
]
FORMS = [("", "as suits the thing"), ("box", "box labels"), ("flag", "flags, A and B"), ("case", "large labels")]
STOCK_GROUPS = [
    (title, [(stock.key, stock.name) for stock in STOCKS.values() if stock.paper == paper])
    for title, paper in (("A4", "a4"), ("US Letter", "letter"), ("Rolls", "roll"))
]


class LabelsForm(Form):
    """Everything has a default, so that a bare address shows the page; what is wrong is said beside its field."""

    what = forms.ChoiceField(label="Print", choices=WHATS, required=False)
    codes = forms.CharField(
        label="Codes", required=False, max_length=20_000, widget=forms.Textarea(attrs={"rows": 4, "spellcheck": "false"})
    )
    type = forms.ModelChoiceField(GearType.objects.none(), label="Type", required=False, empty_label="Choose a type")
    case = forms.CharField(label="The case's code", required=False, max_length=200)
    line = forms.ModelChoiceField(
        CountedLine.objects.none(), label="Counted line", required=False, empty_label="All counted lines"
    )
    count = forms.IntegerField(label="How many", required=False, min_value=1, max_value=MOST_AT_ONCE)
    form = forms.ChoiceField(label="Kind of label", choices=FORMS, required=False)
    sheet = forms.ChoiceField(
        label="Sheet or roll", required=False, choices=[*STOCK_GROUPS, ("Your own", [(OWN, "A roll of my own measures")])]
    )
    wide = forms.DecimalField(label="Wide, mm", required=False, min_value=10, max_value=200, decimal_places=1)
    high = forms.DecimalField(label="High, mm", required=False, min_value=8, max_value=300, decimal_places=1)
    gap = forms.DecimalField(label="Gap, mm", required=False, min_value=0, max_value=20, decimal_places=1)
    start = forms.IntegerField(label="Start at place", required=False, min_value=1, max_value=500)
    order = forms.ChoiceField(
        label="Fill the sheet",
        choices=[(Order.ACROSS, "row by row"), (Order.DOWN, "column by column")],
        required=False,
    )
    printer = forms.ModelChoiceField(PrinterTrim.objects.none(), label="Printer", required=False, empty_label="Not trimmed")
    dpi = forms.TypedChoiceField(
        label="Dots an inch",
        choices=[(dpi, f"{dpi}") for dpi in PRINTER_DPIS],
        coerce=int,
        required=False,
        empty_value="300",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, label_suffix="", **kwargs)
        self.fields["type"].queryset = GearType.objects.all()
        self.fields["line"].queryset = CountedLine.objects.select_related("type")
        self.fields["printer"].queryset = PrinterTrim.objects.all()
        for name in ("count", "start"):
            self.fields[name].widget.attrs["inputmode"] = "numeric"
        for name in ("wide", "high", "gap"):
            self.fields[name].widget.attrs.update({"inputmode": "decimal", "step": "0.1"})

    def clean_codes(self) -> list[str]:
        """Return the codes of a text, one after another; what is no code is named."""
        found: list[str] = []
        wrong: list[str] = []
        for word in re.split(r"[\s,;]+", self.cleaned_data["codes"]):
            if not word:
                continue
            read = codes.parse(word)
            if read.read is codes.Read.CODE:
                found.append(read.code)
            else:
                wrong.append(f"{word[:20]}: {read.why or 'that is a card.'}")
        if wrong:
            raise forms.ValidationError(wrong[:5])
        if len(found) > MOST_AT_ONCE:
            raise forms.ValidationError(f"At most {MOST_AT_ONCE} codes at a time.")
        return list(dict.fromkeys(found))

    def clean_case(self) -> str:
        text = self.cleaned_data["case"].strip()
        read = codes.parse(text)
        if text and read.read is not codes.Read.CODE:
            raise forms.ValidationError(read.why or "That is a card, not a case.")
        return read.code

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if given.get("sheet") == OWN:
            try:
                measures = [float(given.get(name) or fallback) for name, fallback in (("wide", 50), ("high", 25), ("gap", 3))]
                given["stock"] = own_roll(*measures)
            except StockError as error:
                self.add_error("wide", str(error))
        elif given.get("sheet"):
            given["stock"] = stock_of(given["sheet"])
        start, stock = given.get("start"), given.get("stock")
        if stock and start and start > stock.per_page:
            self.add_error("start", f"This sheet has places 1 to {stock.per_page}.")
        return given

    def items(self) -> QuerySet[Item]:
        """Return the items asked for; none for counted lines and blank labels."""
        given = self.cleaned_data
        match given.get("what") or "new":
            case "new":
                return without_label()
            case "gone":
                return label_missing()
            case "codes":
                return Item.objects.filter(labels__code__in=given.get("codes") or []).distinct()
            case "type" if given.get("type"):
                return Item.objects.owned().filter(type=given["type"])
            case "case" if given.get("case"):
                case = Item.objects.filter(labels__code=given["case"]).first()
                return (
                    Item.objects.owned().filter(pk=case.pk) | Item.objects.owned().filter(in_case=case)
                    if case
                    else Item.objects.none()
                )
        return Item.objects.none()

    def lines(self) -> list[int]:
        if self.cleaned_data.get("what") != "counted":
            return []
        if self.cleaned_data.get("line"):
            return [self.cleaned_data["line"].pk]
        return list(CountedLine.objects.values_list("pk", flat=True)[:MOST_AT_ONCE])

    def wanted(self, *, codes: list[str], start: int, stock: str) -> Wanted:
        """Return what is to be printed, of the items with these codes."""
        given = self.cleaned_data
        printer: PrinterTrim | None = given.get("printer")
        trim = (printer.right_mm, printer.down_mm, printer.scale_percent) if printer else (0, 0, 100)
        return Wanted(
            codes=tuple(codes),
            counted=tuple(self.lines()),
            blank=(given.get("count") or 24) if given.get("what") == "blank" else 0,
            form=given.get("form") or "",
            stock=stock,
            start=start,
            order=given.get("order") or Order.ACROSS,
            dpi=printer.dpi if printer else int(given.get("dpi") or 300),
            right_mm=float(trim[0]),
            down_mm=float(trim[1]),
            scale_percent=float(trim[2]),
            printer=printer.name if printer else "",
        )


class TrimForm(ModelForm):
    """How far a printer is off, kept under its name."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        # the labels' own form stands on the same page and has fields of the same names
        super().__init__(*args, **{"label_suffix": "", "auto_id": "trim_%s", **kwargs})

    class Meta:
        model = PrinterTrim
        fields = ["name", "dpi", "right_mm", "down_mm", "scale_percent"]
        labels = {
            "name": "Printer's name",
            "dpi": "Dots an inch",
            "right_mm": "Move right, mm",
            "down_mm": "Move down, mm",
            "scale_percent": "Scale, %",
        }
        help_texts = {
            "right_mm": "In steps of 0.1. Below zero moves left.",
            "down_mm": "Below zero moves up.",
            "scale_percent": "100 divided by what the 100 mm rule measures, times 100.",
        }
