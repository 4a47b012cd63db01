"""What an export takes along of the tables of this floor."""

from company.registries import GoingOut


def maintenance_goes_out() -> GoingOut:
    """Say which tables and columns go out, and why the others never do."""
    return GoingOut(
        out={
            "maintenance.RuleSetting_people": "One more person whom the owner named to be told by a rule.",
            "maintenance.RuleSetting": "",
            "maintenance.Alert": "",
            "maintenance.Telling": "",
            "maintenance.Address": "",
            "maintenance.Digest": "",
            "maintenance.Delivery": "",
            "maintenance.Attempt": "",
            "maintenance.Fault": "",
            "maintenance.UseLedger": "",
            "maintenance.Wiring": "",
            "maintenance.BenchSettings": "",
            "maintenance.Sitting": "",
            "maintenance.BenchTest": "",
            "maintenance.BenchFigure": "",
            "maintenance.Repair": "",
            "maintenance.TestCall": "",
            "maintenance.CellType": "",
            "maintenance.CellLot": "",
            "maintenance.CellMove": "",
            "maintenance.Swap": "",
            "maintenance.FittedSet": "",
            "maintenance.CellReading": "",
            "maintenance.HoursNote": "",
            "maintenance.CellPlan": "",
            "maintenance.DeviceDraw": "",
            "maintenance.TypeDraw": "",
            "maintenance.CapacityTest": "",
            "maintenance.Charge": "",
            "maintenance.CellForecast": "",
            "maintenance.CellForecastOutcome": "",
            "maintenance.RetestRule": "",
            "maintenance.TypeModel": "",
            "maintenance.Risk": "",
            "maintenance.Forecast": "",
            "maintenance.ForecastOutcome": "",
        },
        stays={
            "maintenance.RuleRun": "how the rules last ran: the program's own work",
        },
        without={
            "maintenance.Telling.calendar_digest": "whoever has a calendar's address reads it",
            "maintenance.Address.sealed": "where a person is told is theirs, and sealed under this program's key",
            "maintenance.Address.fingerprint": "a keyed hash of the address",
        },
    )
