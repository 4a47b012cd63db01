"""The stage's page as a form: its table read into what the service writes, and drawn again as it was typed."""

from dataclasses import dataclass, field
from typing import Any

from django.http import QueryDict

from inventory.calc.kinds import Kind
from inventory.models import GearType
from shows.calc.lines import PlaceSort
from shows.calc.stage_typed import TypedError, factor_read, far_read, figure, loads_read
from shows.planning.stage import StageTold
from shows.services.stage import PlaceWanted

COLUMNS = ("pk", "name", "sort", "x", "y", "feed", "type", "loads")
PLAN = ("width", "depth", "slack", "route", "desk")
BOXES = (Kind.STAGE_BOX, Kind.MULTICORE, Kind.DESK)
MOST_ROWS = 200
NEW_ROWS = 2  # empty rows for new places, without a script
MOST_LOADS = 500
FARTHEST_MM = 500_000


@dataclass(kw_only=True)
class StageForm:
    """What was typed: rows as they stand on the page, and after `read()` what is wanted and what is wrong, by field."""

    rows: list[dict[str, str]]
    plan: dict[str, str]
    imperial: bool
    feeds: dict[str, str] = field(default_factory=dict)
    wrong: dict[str, str] = field(default_factory=dict)
    wanted: list[tuple[int, PlaceWanted]] = field(default_factory=list)
    wanted_plan: dict[str, Any] = field(default_factory=dict)

    @classmethod
    def of_post(cls, post: QueryDict, *, imperial: bool) -> "StageForm":
        """Take the page's fields; rows beyond the most are left out."""
        columns = {name: post.getlist(f"place-{name}") for name in COLUMNS}
        gone = set(post.getlist("place-gone"))
        rows = []
        for n in range(min(len(columns["name"]), MOST_ROWS)):
            row = {name: (held[n] if n < len(held) else "").replace("\x00", "") for name, held in columns.items()}
            rows.append(row | {"gone": "yes" if row["pk"] and row["pk"] in gone else ""})
        return cls(rows=rows, plan={name: post.get(name, "") for name in PLAN}, imperial=imperial)

    @classmethod
    def of_stage(cls, told: StageTold, *, imperial: bool) -> "StageForm":
        """Show what is stored, with empty rows after it."""
        rows = [
            {
                "pk": str(one.place.pk),
                "name": one.place.name,
                "sort": one.place.sort,
                "x": figure(one.place.x_mm, imperial=imperial),
                "y": figure(one.place.y_mm, imperial=imperial),
                "feed": str(one.place.feed_id or ""),
                "type": one.place.type.name if one.place.type else "",
                "loads": ", ".join(f"{load.count} {load.type.name}" for load in one.loads),
                "gone": "",
            }
            for one in told.places
        ]
        empty = dict.fromkeys(COLUMNS, "") | {"sort": PlaceSort.SOURCE.value, "gone": ""}
        plan = told.plan
        shown = {
            "width": figure(plan.width_mm, imperial=imperial),
            "depth": figure(plan.depth_mm, imperial=imperial),
            "slack": figure(plan.slack_mm, imperial=imperial),
            "route": f"{plan.route_factor:g}",
            "desk": str(plan.desk_id or ""),
        }
        return cls(rows=rows + [dict(empty) for _ in range(NEW_ROWS)], plan=shown, imperial=imperial)

    def read(self) -> bool:
        """Make sense of it all; false where something is wrong. Two queries, whatever was typed."""
        self.types = {name.casefold(): (pk, kind) for pk, name, kind in GearType.objects.values_list("pk", "name", "kind")}
        self._read_plan()
        for number, row in enumerate(self.rows):
            place = self._place(number, row)
            if place is not None:
                self.wanted.append((number, place))
        return not self.wrong

    def drawn(self) -> list[dict[str, Any]]:
        """Return the rows with their sentences."""
        names = ("name", "sort", "x_mm", "y_mm", "feed", "type", "loads")
        drawn = []
        for number, row in enumerate(self.rows):
            said = {name: self.wrong[f"{number}-{name}"] for name in names if f"{number}-{name}" in self.wrong}
            drawn.append({**row, "number": number, "wrong": said, "sentences": list(said.values()), "more": self._more(row)})
        return drawn

    def _more(self, row: dict[str, str]) -> str:
        """Say what stands in the folded fields."""
        sort = "" if row["sort"] == PlaceSort.SOURCE else row["sort"]
        said = [word for word in (row["type"] or sort, self.feeds.get(row["feed"], ""), row["loads"]) if word]
        return ", ".join(said) or "feed, box, what is plugged in"

    def refused(self, said: dict[str, list[str]]) -> None:
        """Take the service's sentences, which are by the order of what it was given."""
        for key, words in said.items():
            number, _, name = key.partition("-")
            at = f"{self.wanted[int(number)][0]}-{name}" if number.isdigit() else key
            self.wrong[at] = " ".join(words)

    def _read_plan(self) -> None:
        for name, column in (("width", "width_mm"), ("depth", "depth_mm"), ("slack", "slack_mm")):
            try:
                value = far_read(self.plan[name], imperial=self.imperial)
            except TypedError:
                self.wrong[f"plan-{column}"] = "Write it as 8 or 8.5."
                continue
            if value is not None and value < 0:
                self.wrong[f"plan-{column}"] = "A length is not below nothing."
            elif name != "slack" and value is not None and not 500 <= value <= 200_000:
                self.wrong[f"plan-{column}"] = "A stage is between half a metre and 200 m wide and deep."
            elif name == "slack" and value is not None and value > 100_000:
                self.wrong[f"plan-{column}"] = "Slack is at most 100 m."
            self.wanted_plan[column] = (value or 0) if name == "slack" else value
        try:
            self.wanted_plan["route_factor"] = factor_read(self.plan["route"]) or 1.3
        except TypedError as error:
            self.wrong["plan-route_factor"] = str(error)
        if not 1 <= self.wanted_plan.get("route_factor", 1) <= 5:
            self.wrong["plan-route_factor"] = "A route is between 1 and 5 times as long as the straight line."
        self.wanted_plan["desk_id"] = desk = _key(self.plan["desk"])
        if self.plan["desk"] and (desk, Kind.DESK) not in self.types.values():
            self.wrong["plan-desk"] = "Pick a desk from the list."

    def _place(self, number: int, row: dict[str, str]) -> PlaceWanted | None:
        """Read one row; None is a row left empty."""
        pk, name = _key(row["pk"]), " ".join(row["name"].split())
        if pk is None and not (name or row["x"].strip() or row["y"].strip()):
            return None
        place = PlaceWanted(pk=pk, name=name, sort=row["sort"] or PlaceSort.SOURCE, gone=bool(row["gone"]))
        if place.gone:
            return place
        for axis in ("x", "y"):
            try:
                setattr(place, f"{axis}_mm", far_read(row[axis], imperial=self.imperial))
            except TypedError as error:
                self.wrong[f"{number}-{axis}_mm"] = str(error)
            if abs(getattr(place, f"{axis}_mm") or 0) > FARTHEST_MM:
                self.wrong[f"{number}-{axis}_mm"] = "A place lies within 500 m of the stage."
        both = (place.x_mm is None and place.y_mm is None) or (place.x_mm is not None and place.y_mm is not None)
        if not both and not {f"{number}-x_mm", f"{number}-y_mm"} & set(self.wrong):
            self.wrong[f"{number}-{'x' if place.x_mm is None else 'y'}_mm"] = "A place has both its coordinates, or neither."
        place.feed = _key(row["feed"])
        place.type = self._type(number, row["type"])
        place.loads = self._loads(number, row["loads"])
        return place

    def _type(self, number: int, text: str) -> int | None:
        text = " ".join(text.split())
        pk, kind = self.types.get(text.casefold(), (None, ""))
        if text and kind not in BOXES:
            self.wrong[f"{number}-type"] = f"No stage box, multicore or desk is called “{text[:60]}”."
            return None
        return pk

    def _loads(self, number: int, text: str) -> list[tuple[int, int]]:
        loads: dict[int, int] = {}
        for load in loads_read(text):
            whole = self.types.get(load.whole.casefold())
            found = whole or self.types.get(load.name.casefold())
            pk, count = found[0] if found else None, 1 if whole else load.count
            if pk is None or not 1 <= count <= MOST_LOADS:
                self.wrong[f"{number}-loads"] = f"No gear type is called “{load.name[:60]}”: write it as 2 Stage monitor."
                continue
            loads[pk] = loads.get(pk, 0) + count
        return list(loads.items())


def _key(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 16 else None
