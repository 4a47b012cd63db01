"""Were the forecasts right? What was foretold against what came of it, with the uncertainty that so few allow."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from company.access import technician_required
from company.clock import today
from maintenance.calc.retest_due import per_cent
from maintenance.calc.score_plot import score_plot
from maintenance.calc.scoring import ENOUGH, TOO_FEW, Score, Verdict, zero_allows
from maintenance.track_record import track_record

PLAIN = {
    Verdict.TOO_FEW: "Too few to judge.",
    Verdict.NO_SIGN: "No sign that the forecasts are wrong, though they are not many yet.",
    Verdict.SIGNS: "There are signs that the forecasts are wrong, though they are not many yet.",
    Verdict.HOLDS: "The forecasts hold.",
    Verdict.TOO_LOW: "The forecasts are too low: more turned out bad than was foretold. Tests come too late.",
    Verdict.TOO_HIGH: "The forecasts are too high: fewer turned out bad than was foretold. Tests come too soon.",
    Verdict.OFF: "The number is right, but not which ones: the forecasts do not tell good from bad well.",
}


@require_safe
@technician_required
def forecasts(request: HttpRequest) -> HttpResponse:
    """Show the record of the forecasts, in words first and figures beside."""
    record = track_record(today())
    context = {
        "section": "Bench",
        "room": "forecasts",
        "record": record,
        "too_few": TOO_FEW,
        "enough": ENOUGH,
        "types": [(one, PLAIN[one.score.verdict]) for one in record.types],
    }
    if record.score:
        context |= {
            "plain": PLAIN[record.score.verdict],
            "plot": score_plot(record.score.bins),
            "zero": _zero(record.score),
            "needed": max(0, TOO_FEW - record.score.count),
        }
    return render(request, "maintenance/plan/forecasts.html", context)


def _zero(score: Score) -> str:
    """Say what none at all still allows."""
    if score.seen:
        return ""
    return f"None bad in {score.count} still allows that {per_cent(zero_allows(score.count))} are."
