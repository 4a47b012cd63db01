"""Questions about many bench tests and repairs: which of them count."""

from django.db.models import Exists, OuterRef, QuerySet

from maintenance.calc.bench import Procedure, Verdict
from maintenance.models import BenchTest, Forecast, ForecastOutcome, Repair, TestCall


def standing_tests() -> QuerySet[BenchTest]:
    """Return the tests that count: neither taken back nor stood in for by a correction.

    Taking back what took a test back writes the test down again in a row of its own, so that this stays one plain question.
    """
    return BenchTest.objects.filter(corrected_by=None).exclude(procedure=Procedure.UNDO)


def telling_tests() -> QuerySet[BenchTest]:
    """Return the tests that count and came to something: passed, to be watched, or failed."""
    return standing_tests().exclude(verdict=Verdict.CANNOT_TELL)


def standing_repairs() -> QuerySet[Repair]:
    """Return the repairs that were not taken back."""
    return Repair.objects.filter(taken_back_by=None, takes_back=None)


def open_calls() -> QuerySet[TestCall]:
    """Return the calls to test something that no test has answered yet."""
    return TestCall.objects.filter(answered_by=None, withdrawn_at=None)


def standing_forecasts() -> QuerySet[Forecast]:
    """Return the forecasts whose own test still counts."""
    return Forecast.objects.exclude(test__corrected_by__isnull=False)


def open_forecasts() -> QuerySet[Forecast]:
    """Return the forecasts that nothing has come of yet, or whose outcome was taken back."""
    came = ForecastOutcome.objects.filter(forecast=OuterRef("pk"), withdrawn_at=None)
    return standing_forecasts().filter(~Exists(came))


def told_outcomes() -> QuerySet[ForecastOutcome]:
    """Return what came of the forecasts that count."""
    return ForecastOutcome.objects.filter(withdrawn_at=None).exclude(forecast__test__corrected_by__isnull=False)
