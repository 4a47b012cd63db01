"""The bench sheet as PDF: who, when, with what, readings, limits used, verdict with its reasons, what was not measured."""

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, Flowable, HRFlowable, KeepTogether, Paragraph, Spacer, Table, TableStyle

from company.models import Company
from company.templatetags.tape import code as spelled
from maintenance.calc.bench import VERDICT_WORDS, Procedure, Verdict
from maintenance.calc.charts import figure_words
from maintenance.item_record import Told
from maintenance.pdf import paper as p
from maintenance.pdf.drawings import VerdictStrip, wiring_flowables
from maintenance.sheets import Entry, SheetOf

SAFETY = (
    "Mains leads and powered gear: this sheet records results; it declares nothing safe. Local codes and a licensed or "
    "competent person decide. Never lift or cut protective earth to cure hum: use isolation or an audio-shield lift."
)
INSULATION = "Insulation testers: passive cables only, both ends free; never into electronics."
MOST_READINGS = 240
LIMIT_WORDS = {
    "core_factor": ("a core may have", "times its copper"),
    "contact_ohm": ("a contact counts as", "ohm"),
    "guard_ohm": ("guard", "ohm"),
    "watch_extra_ohm": ("watched up to", "ohm over the copper"),
    "open_ohm": ("open above", "ohm"),
    "short_ohm": ("short below", "ohm"),
    "leak_ohm": ("leak below", "ohm"),
    "legs_factor": ("legs may differ by", "share"),
    "legs_ohm": ("and by", "ohm"),
    "insulation_ohm": ("insulation at least", "ohm"),
    "insulation_good_ohm": ("insulation good from", "ohm"),
    "golden_share": ("a winding may differ from its first by", "share"),
    "level_db": ("level within", "dB"),
    "gain_db": ("gain within", "dB"),
    "pad_db": ("pad within", "dB"),
    "phantom_match_share": ("legs of phantom power match within", "share"),
    "earth_ohm": ("earth at most", "ohm"),
    "mains_insulation_mohm": ("mains insulation at least", "Mohm"),
    "leakage_ma": ("leakage at most", "mA"),
    "residual_trip_ms": ("trips within", "ms"),
    "core_copper_ohm": ("copper of a core", "ohm"),
    "core_pass_ohm": ("a core passes up to", "ohm"),
    "core_fail_ohm": ("a core fails above", "ohm"),
    "screen_copper_ohm": ("the screen alone", "ohm"),
    "screen_pass_ohm": ("the screen passes up to", "ohm"),
    "screen_fail_ohm": ("the screen fails above", "ohm"),
    "loudspeaker_loss_db": ("loses at most", "dB"),
    "temperature_c": ("at", "\u00b0C"),
    "per_kelvin": ("copper changes by", "of itself a kelvin"),
    "null_ohm": ("null", "ohm"),
}


def sheet_pdf(sheet: SheetOf, *, company: Company, said: Callable[[int], None] | None = None) -> bytes:
    """Return a bench sheet as PDF on the company's paper. `said` hears how many entries are laid out, every 10."""
    p.register()
    width = p.width_of(company.paper)
    body: list[Flowable] = _head(sheet, company)
    if not sheet.entries:
        body.append(Paragraph("No test stands on this sheet: nothing was tested, or what was has been taken back.", p.LEDE))
    if not sheet.one:
        body += _summary(sheet, width)
    for done, entry in enumerate(sheet.entries, 1):
        if entry.told is not None:
            if sheet.one or sheet.full or entry.told.verdict != Verdict.PASS:
                body += _entry(entry, width, whole=sheet.one)
        elif sheet.one:
            body.append(Paragraph("No test of it counts yet.", p.LEDE))
        if said and done % 10 == 0:
            said(done)
    body += _safety(sheet)
    if sheet.one and sheet.entries:
        body += [
            Spacer(1, 12 * mm),
            HRFlowable(width="45%", thickness=0.6, color=p.GREY, hAlign="LEFT"),
            Paragraph("signed", p.QUIET),
        ]
    what = sheet.under or (sheet.entries[0].item.label if sheet.entries else "")
    title = f"Bench sheet: {what}"
    return p.document(body, paper=company.paper, title=title, foot=f"{company.name}, printed {p.moment_full(sheet.at)}")


def _head(sheet: SheetOf, company: Company) -> list[Flowable]:
    if sheet.one and sheet.entries:
        item = sheet.entries[0].item
        code = f' <font name="{p.STAMP}" size="12">{spelled(item.code)}</font>'
        facts = [
            item.type.name if item.name else "",
            f"made by {item.maker}" if item.maker else "",
            f"serial {item.serial}" if item.serial else "",
        ]
        return [
            Paragraph("BENCH SHEET", p.HEADING),
            Paragraph(f"{p.words(item.label.upper() if not item.length_mm else item.label, p.MARKER)}{code}", p.TITLE),
            Paragraph(p.words(", ".join(f for f in facts if f)), p.QUIET),
            Spacer(1, 3 * mm),
        ]
    under = sheet.under
    if sheet.more.get("day"):
        under = f"{under}, {p.day_full(date.fromisoformat(sheet.more['day']))}"
    return [Paragraph("BENCH SHEET", p.TITLE), Paragraph(p.words(under), p.LEDE), Spacer(1, 4 * mm)]


def _summary(sheet: SheetOf, width: float) -> list[Flowable]:
    tested = [e for e in sheet.entries if e.told is not None]
    counts = {verdict: sum(e.told.verdict == verdict for e in tested if e.told) for verdict in Verdict}
    parts = [f"{counts[v]} {VERDICT_WORDS[v]}" for v in Verdict if counts[v]]
    never = len(sheet.entries) - len(tested)
    lede = f"{len(sheet.entries)} thing{'s' if len(sheet.entries) != 1 else ''}: {', '.join(parts) or 'none tested'}"
    each = ""
    if not sheet.full and tested:
        each = " A line each; below, the details of what did not pass."
    body: list[Flowable] = [
        Paragraph(p.words(f"{lede}{f'; {never} never tested' if never else ''}.{each}"), p.LEDE),
        Spacer(1, 3 * mm),
    ]
    rows: list[list[Any]] = [
        [
            Paragraph(f"<b>{head}</b>", p.CELL)
            for head in ("Thing", "Code", "Verdict", "Tested", "By, with", "Worst figure, or why", "Not measured")
        ]
    ]
    for entry in tested:
        told = entry.told
        with_it = told.test.instrument_name if told else ""
        rows.append(
            [
                Paragraph(p.words(entry.item.label), p.CELL),
                Paragraph(spelled(entry.item.code), p.FIGURES),
                Paragraph(p.words(_came_to(entry)), p.CELL),
                Paragraph(p.words(p.day_full(told.test.done_at)) if told else "", p.CELL),
                Paragraph(p.words(", ".join(str(x) for x in ((told.test.person if told else ""), with_it) if x)), p.CELL),
                Paragraph(p.words(_worst(told)) if told else "", p.CELL),
                Paragraph(p.words(_left_out(told)) if told else "", p.CELL),
            ]
        )
    shares = (0.2, 0.12, 0.09, 0.11, 0.13, 0.19, 0.16)
    table = Table(rows, colWidths=[width * share for share in shares], repeatRows=1)
    table.setStyle(_LINED)
    if tested:
        body += [table, Spacer(1, 4 * mm)]
    return [*body, *_never(sheet), Spacer(1, 4 * mm)]


def _worst(told: Told) -> str:
    """Say why a test did not pass, or the figure that came nearest to a limit of it; empty where none was held against one."""
    if told.verdict != Verdict.PASS:
        return told.what
    held = [
        (max(figure.value / figure.high if figure.high else 0.0, figure.low / figure.value if figure.low else 0.0), figure)
        for figure in told.figures
        if (figure.high or figure.low) and figure.value > 0
    ]
    if not held:
        return ""
    worst = max(held, key=lambda each: each[0])[1]
    of_high = worst.value / worst.high if worst.high else 0.0
    of_low = worst.low / worst.value if worst.low else 0.0
    name, bound = ("at most", worst.high) if of_high >= of_low else ("at least", worst.low)
    limit = f"{name} {figure_words(bound or 0.0, worst.unit)}"
    return f"{worst.name}: {figure_words(worst.value, worst.unit)}, {limit}"


def _left_out(told: Told) -> str:
    """Name what was not measured in a few words; the whole stands on the full sheet."""
    said = [str(each).rstrip(".") for each in told.test.not_measured]
    more = f"; {len(said) - 1} more" if len(said) > 1 else ""
    dots = "\u2026" if said and len(said[0]) > 70 else ""
    return f"{said[0][:70]}{dots}{more}" if said else ""


def _came_to(entry: Entry) -> str:
    told = entry.told
    if told is None:
        return "never tested"
    part_good = told.counts and told.test.dead_channels and entry.item.excepts
    return f"{VERDICT_WORDS[told.verdict]}{f'; good except {entry.item.excepts}' if part_good else ''}"


def _never(sheet: SheetOf) -> list[Flowable]:
    """Name what was never tested, alike things together."""
    alike: dict[str, list[str]] = {}
    for entry in sheet.entries:
        if entry.told is None:
            alike.setdefault(entry.item.label, []).append(spelled(entry.item.code))
    if not alike:
        return []
    rows = [
        Paragraph(
            f'{p.words(label)}: <font name="{p.STAMP}" size="7.6">{", ".join(codes)}</font>', p.POINT, bulletText="\u2013"
        )
        for label, codes in alike.items()
    ]
    return [Paragraph("Never tested", p.HEADING), *rows]


_LINED = TableStyle(
    [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, 0), 0.9, p.black),
        ("LINEBELOW", (0, 1), (-1, -1), 0.3, p.RULE),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 5),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.4),
    ]
)


def _entry(entry: Entry, width: float, *, whole: bool) -> list[Flowable]:
    told = entry.told
    assert told is not None  # noqa: S101 (asked for by the only caller)
    test = told.test
    head: list[Flowable] = []
    if not whole:
        head.append(
            Paragraph(
                f'{p.words(entry.item.label, p.MARKER)} <font name="{p.STAMP}" size="9">{spelled(entry.item.code)}</font>',
                p.HEADING,
            )
        )
    part_good = told.counts and test.dead_channels and entry.item.excepts
    only = f"good except {entry.item.excepts}, " if part_good else ""
    head.append(VerdictStrip(test.verdict, f"{only}{p.moment_full(test.done_at)}, {told.procedure}", width))
    if told.struck:
        head.append(Paragraph(f"<b>{p.words(told.struck[0].upper() + told.struck[1:])}. It no longer counts.</b>", p.TEXT))
    head += [Spacer(1, 1.5 * mm), _facts(entry, told, width)]
    reasons = _reasons(told)
    body: list[Flowable] = [CondPageBreak(32 * mm), KeepTogether([*head, *reasons[:6]]), *reasons[6:]]
    body += _figures(told, width)
    body += _readings(told, width)
    if entry.wiring is not None:
        drawn, words = wiring_flowables(
            entry.wiring.links,
            entry.wiring.ends,
            width=width,
            roles=entry.wiring.roles,
            resistors=entry.wiring.resistors,
            sends=entry.wiring.sends,
        )
        body.append(KeepTogether([Paragraph(f"Wiring: {p.words(entry.wiring.name)}", p.HEADING), *drawn[:1]]))
        body += [*drawn[1:], Paragraph(p.words(words), p.QUIET)]
    limits = limits_words(test.limits)
    if limits:
        body.append(Paragraph(f"<b>Limits used:</b> {p.words(limits)}.", p.QUIET))
    if entry.is_mains and not whole:
        body.append(Paragraph(p.words("Recorded, never declared safe: see the words on mains gear at the end."), p.QUIET))
    body.append(Spacer(1, 5 * mm))
    return body


def _facts(entry: Entry, told: Told, width: float) -> Flowable:
    test = told.test
    instrument = test.instrument_name or "not noted"
    if test.instrument_name:
        instrument += f", calibrated {p.day_full(test.calibrated_on)}" if test.calibrated_on else ", no calibration on record"
    pairs = [
        ("Who", str(test.person) if test.person else "not noted"),
        ("When", p.moment_full(test.done_at)),
        ("How deep", told.depth or "figures"),
        ("Instrument", instrument),
    ]
    if test.procedure == Procedure.WIRING:
        pairs += [
            ("Null", f"{figure_words(test.null_ohms, 'ohm')} taken off each reading"),
            ("Temperature", f"{test.temperature_c:g} \u00b0C"),
        ]
    if test.minutes:
        pairs.append(("Minutes", "under a minute" if test.minutes < 1 else f"{test.minutes:.0f}"))
    if entry.item.test_by and told.counts:
        pairs.append(("Test by", p.day_full(entry.item.test_by)))
    cells = [[Paragraph(p.words(name), p.CELL_QUIET), Paragraph(p.words(value), p.CELL)] for name, value in pairs]
    half = -(-len(cells) // 2)
    rows = [[*cells[i], *(cells[i + half] if i + half < len(cells) else ["", ""])] for i in range(half)]
    table = Table(rows, colWidths=[width * share for share in (0.16, 0.34, 0.16, 0.34)])
    table.setStyle(
        [
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 1),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ]
    )
    return table


def _reasons(told: Told) -> list[Flowable]:
    rows: list[Flowable] = []
    for finding in told.test.findings:
        title = finding.get("title") or finding.get("name", "")
        rest = " ".join(str(finding.get(part, "")) for part in ("text", "effect") if finding.get(part))
        mend = f" <b>Mend:</b> {p.words(finding['repair'])}" if finding.get("repair") else ""
        rows.append(Paragraph(f"<b>{p.words(title)}.</b> {p.words(rest)}{mend}", p.POINT, bulletText="\u2013"))
    rows += [Paragraph(p.words(reason), p.POINT, bulletText="\u2013") for reason in told.reasons]
    if told.not_measured:
        rows.append(Paragraph(f"<b>Not measured:</b> {p.words(told.not_measured)}.", p.POINT, bulletText="\u2013"))
    if told.test.note:
        rows.append(Paragraph(p.words(f"\u201c{told.test.note}\u201d"), p.POINT, bulletText="\u2013"))
    return [Spacer(1, 1.5 * mm), *rows, Spacer(1, 2 * mm)] if rows else []


def _figures(told: Told, width: float) -> list[Flowable]:
    if not told.figures:
        return []
    rows: list[list[Any]] = [
        [Paragraph(f"<b>{head}</b>", p.CELL) for head in ("Figure", "Measured", "At least", "At most", "")]
    ]
    for figure in told.figures[:MOST_READINGS]:
        judged = "" if figure.within is None else "within" if figure.within else "outside"
        rows.append(
            [
                Paragraph(p.words(figure.name), p.CELL),
                Paragraph(f"<b>{p.words(figure_words(figure.value, figure.unit))}</b>", p.CELL),
                Paragraph(p.words(figure_words(figure.low, figure.unit)) if figure.low is not None else "", p.CELL),
                Paragraph(p.words(figure_words(figure.high, figure.unit)) if figure.high is not None else "", p.CELL),
                Paragraph(f"<b>{judged}</b>" if judged == "outside" else judged, p.CELL),
            ]
        )
    table = Table(rows, colWidths=[width * share for share in (0.34, 0.2, 0.16, 0.16, 0.14)], repeatRows=1)
    table.setStyle(_LINED)
    return [table, Spacer(1, 2 * mm)]


def _readings(told: Told, width: float) -> list[Flowable]:
    readings = told.test.readings
    said = [pair_words(pair) for pair in readings.get("pairs", ())]
    said += [step_words(step) for step in readings.get("steps", ())]
    if readings.get("word") is not None:
        said.append(f"the tester said {'good' if readings['word'] else 'not good'}")
    if not said:
        return []
    more = len(said) - MOST_READINGS
    text = " \u00b7 ".join(p.words(each).replace(" ", "\u00a0") for each in said[:MOST_READINGS])
    rest = f" and {more} more, kept with the test" if more > 0 else ""
    return [Paragraph(f"<b>As read:</b> {text}{rest}.", p.style("as read", fontSize=7.8, leading=11)), Spacer(1, 2 * mm)]


def pair_words(pair: Mapping[str, Any]) -> str:
    """Say one reading of two pins: A1 to B1 0.21 ohm; A1 to A2 above 20 Mohm; A3 to B3 beep."""
    if pair.get("ohms") is not None:
        value = figure_words(float(pair["ohms"]), "ohm")
    elif pair.get("above_ohms") is not None:
        value = f"above {figure_words(float(pair['above_ohms']), 'ohm')}"
    else:
        value = "beep" if pair.get("beep") else "no beep"
    return f"{pair.get('from')} to {pair.get('to')} {value}{' flexed' if pair.get('flexed') else ''}"


def step_words(step: Mapping[str, Any]) -> str:
    """Say one answer of a box's procedure: gain 1 kHz: 23.1; lift switch: yes."""
    value = step.get("value")
    said = (
        f"{value:.6g}"
        if isinstance(value, int | float) and not isinstance(value, bool)
        else ("yes" if step.get("yes") else "no")
    )
    return f"{str(step.get('step')).replace('-', ' ').replace('_', ' ')}: {said}"


def limits_words(limits: Mapping[str, Any]) -> str:
    """Say what a test was held against, in words with figures, whatever of it is known by name."""
    parts = []
    for name, value in limits.items():
        before, unit = LIMIT_WORDS.get(name, (name.replace("_", " "), ""))
        if isinstance(value, bool) or value is None or value == "":
            continue
        if unit == "share" and isinstance(value, int | float):
            parts.append(f"{before} {value:.3g} of it")
        elif unit == "ohm" and isinstance(value, int | float):
            parts.append(f"{before} {figure_words(value, 'ohm')}")
        else:
            parts.append(
                f"{before} {value:g} {unit}".strip() if isinstance(value, int | float) else f"{before} {value} {unit}".strip()
            )
    return "; ".join(parts)


def _safety(sheet: SheetOf) -> list[Flowable]:
    words = []
    if any(entry.is_mains for entry in sheet.entries):
        words.append(SAFETY)
    if any(_insulation(entry) for entry in sheet.entries):
        words.append(INSULATION)
    return (
        [KeepTogether([Spacer(1, 2 * mm), *(Paragraph(f"<b>{p.words(text)}</b>", p.TEXT) for text in words)])] if words else []
    )


def _insulation(entry: Entry) -> bool:
    if entry.told is None:
        return False
    named = any("insulation" in figure.name.casefold() for figure in entry.told.figures)
    return named or any("insulation" in str(step.get("step", "")) for step in entry.told.test.readings.get("steps", ()))
