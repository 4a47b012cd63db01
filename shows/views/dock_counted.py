"""The counted lines a dock offers: what the pull list wants of each and what is out."""

import uuid
from dataclasses import dataclass, field

from inventory.models import CountedLine
from shows.calc.direction import Way
from shows.progress import PullLine


@dataclass(frozen=True, kw_only=True)
class CountedRow:
    """One counted line with a field: how many are wanted, how many are out, and the number most likely meant."""

    line: int
    name: str
    wanted: int
    out: int
    went: int
    back: int
    offer: int
    says: str
    uid: uuid.UUID = field(default_factory=uuid.uuid4)


# what the page's script makes a row of, for a show that was turned to without a new page
BLANK = CountedRow(line=0, name="", wanted=0, out=0, went=0, back=0, offer=0, says="")


def counted_rows(progress: list[PullLine] | None, way: Way) -> list[CountedRow]:
    """Return the counted lines a pull list wants or has out. One query."""
    if not progress:
        return []
    types = {line.type_id for line in progress}
    lines = {(line.type_id, line.length_mm): line for line in CountedLine.objects.select_related("type").filter(type__in=types)}
    rows: list[CountedRow] = []
    for pulled in progress:
        line = lines.get((pulled.type_id, pulled.length_mm))
        if line is None or pulled.item_id is not None:
            continue
        out, back = pulled.counted_out, pulled.counted_back
        if way == Way.BACK:
            if not (out or back):
                continue
            offer, went, says = out, out, f"{out} still out, {back} back" if back else f"{out} out"
        else:
            offer, went, says = pulled.lacking, pulled.out, f"{pulled.wanted} wanted, {pulled.out} out"
        rows.append(
            CountedRow(
                line=line.pk, name=line.label, wanted=pulled.wanted, out=out, went=went, back=back, offer=offer, says=says
            )
        )
    return rows
