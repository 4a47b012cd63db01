"""Is it good, one noun a module."""

from company.guards import guard
from maintenance.models.alerts import Address, Alert, Attempt, Delivery, Digest, RuleRun, RuleSetting, Telling
from maintenance.models.bench import BenchFigure, BenchSettings, BenchTest, Repair, Sitting, TestCall, Wiring
from maintenance.models.cells import (
    CapacityTest,
    CellForecast,
    CellForecastOutcome,
    CellLot,
    CellMove,
    CellPlan,
    CellReading,
    CellType,
    Charge,
    DeviceDraw,
    FittedSet,
    HoursNote,
    Swap,
    TypeDraw,
)
from maintenance.models.faults import Fault, UseLedger
from maintenance.models.retest import Forecast, ForecastOutcome, RetestRule, Risk, TypeModel

__all__ = [
    "Address",
    "Alert",
    "Attempt",
    "BenchFigure",
    "BenchSettings",
    "BenchTest",
    "CapacityTest",
    "CellForecast",
    "CellForecastOutcome",
    "CellLot",
    "CellMove",
    "CellPlan",
    "CellReading",
    "CellType",
    "Charge",
    "Delivery",
    "DeviceDraw",
    "Digest",
    "Fault",
    "FittedSet",
    "Forecast",
    "ForecastOutcome",
    "HoursNote",
    "Repair",
    "RetestRule",
    "Risk",
    "RuleRun",
    "RuleSetting",
    "Sitting",
    "Swap",
    "Telling",
    "TestCall",
    "TypeDraw",
    "TypeModel",
    "UseLedger",
    "Wiring",
]

guard(
    *(BenchFigure, BenchSettings, BenchTest, Fault, Forecast, ForecastOutcome, Repair, RetestRule, Risk, Sitting, TestCall),
    *(TypeModel, UseLedger, Wiring),
)
guard(
    CapacityTest,
    CellForecast,
    CellForecastOutcome,
    CellLot,
    CellMove,
    CellPlan,
    CellReading,
    CellType,
    Charge,
    DeviceDraw,
    FittedSet,
    HoursNote,
    Swap,
    TypeDraw,
)
guard(Address, Alert, Attempt, Delivery, Digest, RuleRun, RuleSetting, Telling)
