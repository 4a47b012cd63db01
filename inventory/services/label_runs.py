"""Printings: what goes on which sheet, logged so that it can be printed again just so."""

import uuid
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, field
from datetime import datetime
from typing import Any, BinaryIO

from django.db import IntegrityError, transaction

from company.models import Company, Person
from company.templatetags.tape import metres
from inventory.calc import label_drawings as d
from inventory.calc.kinds import Kind
from inventory.calc.label_sheets import Order, StockError, Trim, stock_of
from inventory.calc.labels import PayloadTooLongError, choices, payload_of
from inventory.models import CountedLine, Item, Label, LabelRun
from inventory.pdf.sheets import sheets_pdf
from inventory.services.labels import LabelRefused, labels_mint

MOST_AT_ONCE = 1000
MOST_IN_A_REQUEST = 200
ENDS = ("A", "B")
COUNT_NOTE = "Counted: scan, then say how many."
# What a flag goes around where nobody has entered a diameter: the catalogue's guesses, millimetres.
USUAL_DIAMETER_MM = {Kind.LEAD: 6.0, Kind.POWER: 10.0, Kind.MULTICORE: 20.0}
FACTS_WITH_DIAMETER = ("type__lead_facts", "type__multicore_facts", "type__power_facts")


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """What is to be printed and how. `form` empty: chosen by kind. Blank labels are minted when it is printed."""

    codes: tuple[str, ...] = ()
    counted: tuple[int, ...] = ()
    blank: int = 0
    form: str = ""
    stock: str = "a4-boxes"
    start: int = 1
    order: str = Order.ACROSS
    dpi: int = 300
    right_mm: float = 0.0
    down_mm: float = 0.0
    scale_percent: float = 100.0
    printer: str = ""

    @property
    def trim(self) -> Trim:
        return Trim(right_mm=self.right_mm, down_mm=self.down_mm, scale_percent=self.scale_percent)

    def to_json(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_json(cls, given: dict[str, Any]) -> "Wanted":
        known = {name: value for name, value in given.items() if name in cls.__dataclass_fields__}
        return cls(**{**known, "codes": tuple(known.get("codes", ())), "counted": tuple(known.get("counted", ()))})


@dataclass(frozen=True, kw_only=True)
class Planned:
    """The labels of a printing, in order, and what to say about it."""

    texts: list[d.LabelText]
    flags: int = 0
    others: int = 0
    unknown: list[str] = field(default_factory=list)


def form_of(item: Item, wish: str = "") -> d.Form:
    """Return the kind of label an item takes: a flag for leads, a large one for cases, else a box label."""
    if wish:
        return d.Form(wish)
    kind = Kind(item.type.kind)
    if kind is Kind.CASE:
        return d.Form.CASE
    if kind is Kind.MULTICORE or (kind in USUAL_DIAMETER_MM and (item.length_mm or item.type.label_diameter_mm)):
        return d.Form.FLAG
    return d.Form.BOX


def diameter_of(item: Item) -> float:
    """Return what a flag goes around, in millimetres: the type's own figure, its facts', or what is usual."""
    if item.type.label_diameter_mm:
        return float(item.type.label_diameter_mm)
    kind = Kind(item.type.kind)
    if kind not in USUAL_DIAMETER_MM:
        return 6.0  # no facts of such a kind hold a diameter, and to look for them is a query a thing
    return float(getattr(item.type.facts, "outer_diameter_mm", None) or USUAL_DIAMETER_MM[kind])


def texts_of_item(item: Item, *, site_address: str, units: str, wish: str = "") -> list[d.LabelText]:
    """Return an item's labels: one, or a flag for either end of a lead, with the same code."""
    form = form_of(item, wish)
    # beside an end's mark a lead's own letter would be taken for the end: the code tells leads apart
    own = "" if form is d.Form.FLAG and len(item.name) < 2 else item.name
    name = " ".join(part for part in (item.type.name, own) if part)
    common: dict[str, Any] = {
        "form": form,
        "carries": payload_of(item.code, site_address),
        "code": item.code,
        "name": name,
        "length": metres(item.length_mm, units),
        "diameter_mm": diameter_of(item),
    }
    return [d.LabelText(end=end, **common) for end in (ENDS if form is d.Form.FLAG else ("",))]


def plan(wanted: Wanted, *, company: Company, blanks: Iterable[str] = ()) -> Planned:
    """Work out the labels of a printing: items in the order asked for, then counted lines, then blank labels."""
    site, units = company.site_address, company.units
    found = {
        item.code: item
        for start in range(0, len(wanted.codes), 500)
        for item in Item.objects.filter(code__in=wanted.codes[start : start + 500]).select_related("type", *FACTS_WITH_DIAMETER)
    }
    texts: list[d.LabelText] = []
    for code in wanted.codes:
        if code in found:
            texts += texts_of_item(found[code], site_address=site, units=units, wish=wanted.form)
    lines = CountedLine.objects.select_related("type").in_bulk(wanted.counted)
    for pk in wanted.counted:
        if pk in lines:
            line = lines[pk]
            text = f"COUNT.{pk}"
            length = metres(line.length_mm, units)
            texts.append(
                d.LabelText(
                    form=d.Form.SHELF, carries=payload_of(text), code=text, name=line.type.name, length=length, note=COUNT_NOTE
                )
            )
    form = d.Form(wanted.form) if wanted.form in {d.Form.BOX, d.Form.CASE} else d.Form.BOX
    texts += [d.LabelText(form=form, carries=payload_of(code, site), code=code) for code in blanks]
    flags = sum(text.form is d.Form.FLAG for text in texts)
    unknown = [code for code in wanted.codes if code not in found]
    return Planned(texts=texts, flags=flags, others=len(texts) - flags, unknown=unknown)


def labels_print(*, wanted: Wanted, person: Person | None, at: datetime, token: uuid.UUID | None = None) -> LabelRun:
    """Mint what is blank, log the printing and mark its labels as printed. The same token prints once.

    Raises LabelRefused with a sentence: nothing to print, too much, a place or a sheet that does not exist.
    """
    token = token or uuid.uuid4()
    known = LabelRun.objects.filter(token=token).first()
    if known:
        return known
    company = Company.current()
    if wanted.blank > MOST_AT_ONCE or len(wanted.codes) > MOST_AT_ONCE:
        raise LabelRefused(f"At most {MOST_AT_ONCE} labels at a time: print the rest afterwards.")
    try:
        stock = stock_of(wanted.stock)
        choices(payload_of("4H2K70AB", company.site_address))
    except (StockError, PayloadTooLongError) as error:
        raise LabelRefused(str(error)) from error
    if not 1 <= wanted.start <= stock.per_page:
        raise LabelRefused(f"This sheet has places 1 to {stock.per_page}.")
    try:
        with transaction.atomic():
            blanks = [label.code for label in labels_mint(count=wanted.blank, at=at)] if wanted.blank else []
            planned = plan(wanted, company=company, blanks=blanks)
            if not planned.texts:
                raise LabelRefused("There is nothing to print: choose things, counted lines or blank labels.")
            if len(planned.texts) > 2 * MOST_AT_ONCE:
                raise LabelRefused(f"At most {MOST_AT_ONCE} things at a time: print the rest afterwards.")
            printed = [code for code in wanted.codes if code not in set(planned.unknown)] + blanks
            run = LabelRun.objects.create(
                printed_at=at,
                person=person,
                sheet=wanted.stock,
                start_at=wanted.start,
                count=len(planned.texts),
                codes=printed,
                given={**wanted.to_json(), "blanks": blanks, "site_address": company.site_address},
                token=token,
            )
            for start in range(0, len(printed), 500):
                Label.objects.filter(code__in=printed[start : start + 500]).update(printed_at=at, run=run)
    except IntegrityError:
        known = LabelRun.objects.filter(token=token).first()
        if not known:
            raise
        return known
    return run


def run_again(*, run: LabelRun, start: int, person: Person | None, at: datetime, token: uuid.UUID | None = None) -> LabelRun:
    """Print the same labels once more, blank ones with the codes they had."""
    known = LabelRun.objects.filter(token=token).first() if token else None
    if known:
        return known
    if not 1 <= start <= stock_of(run.sheet).per_page:
        raise LabelRefused(f"This sheet has places 1 to {stock_of(run.sheet).per_page}.")
    again = LabelRun.objects.create(
        printed_at=at,
        person=person,
        sheet=run.sheet,
        start_at=start,
        count=run.count,
        codes=run.codes,
        given={**run.given, "start": start},
        token=token,
    )
    Label.objects.filter(code__in=run.codes).update(printed_at=at, run=again)
    return again


def run_texts(run: LabelRun) -> tuple[Wanted, list[d.LabelText]]:
    """Return what a logged printing holds, drawn with today's names."""
    wanted = Wanted.from_json(run.given)
    return wanted, plan(wanted, company=Company.current(), blanks=run.given.get("blanks", [])).texts


def run_pdf(*, run: LabelRun, out: BinaryIO, said: Callable[[int], None] | None = None) -> int:
    """Write a logged printing as PDF; returns its pages."""
    wanted, texts = run_texts(run)
    return sheets_pdf(
        texts,
        stock=stock_of(wanted.stock),
        dpi=wanted.dpi,
        out=out,
        start=wanted.start,
        trim=wanted.trim,
        order=Order(wanted.order),
        title=f"Labels, {run.printed_at:%Y-%m-%d}",
        said=said,
    )
