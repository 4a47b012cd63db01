"""The nearest spare for a thing that died: one query for the dead one, one for the spare."""

from dataclasses import dataclass
from datetime import date

from django.db.models import BooleanField, Case, Exists, F, IntegerField, OuterRef, Q, Value, When

from inventory.calc.kinds import STANDING_WORDS, Standing
from inventory.models import Item
from shows.calc.words import Critical
from shows.models import PullRow, Show

AT_HAND = {"in_case__custody": "", "in_case__lent_to": "", "in_case__missing_since": None, "in_case__in_case": None}


@dataclass(frozen=True, kw_only=True)
class Spare:
    """What to take instead: its code, its name, where it lies, and how good it is known to be."""

    code: str
    name: str
    where: str
    says: str
    standing: str


def spare_for(dead: Item, show: Show | None, day: date) -> Spare | None:
    """Return the nearest fit thing of the same type and length, or None.

    Nearest: with this show and promised to no line (named as a spare first, in the dead one's case next), then in the shop
    (same case, same shelf, then anywhere). At each distance known good goes before unproved; what is suspect, past its
    test-by date, retired, lent, missing or with another show is never offered.
    """
    key = show.pk if show else None
    promised = PullRow.objects.filter(show=key, item=OuterRef("pk")).exclude(critical=Critical.SPARE).exclude(line="")
    as_spare = PullRow.objects.filter(show=key, item=OuterRef("pk"), critical=Critical.SPARE)
    here = Q(custody_show=key) if key else Q(pk=None)
    home = dead.home_id or -1
    found = (
        Item.objects.described(day)
        .owned()
        .filter(type=dead.type_id, length_mm=dead.length_mm, lent_to="", missing_since=None, suspect_since=None)
        .filter(here | Q(custody="", in_case=None) | Q(custody="", **AT_HAND))
        .exclude(pk=dead.pk)
        .exclude(test_by__lte=day)
        .exclude(at__sort__in=["bench", "repairer"])
        .annotate(
            is_promised=Exists(promised) if key else Value(False, output_field=BooleanField()),
            near=Case(
                When(here & Exists(as_spare), then=Value(0)),
                When(here & Q(in_case=dead.in_case_id or -1), then=Value(1)),
                When(here, then=Value(2)),
                When(in_case=dead.in_case_id or -1, then=Value(3)),
                When(home=home, then=Value(4)),
                default=Value(5),
                output_field=IntegerField(),
            ),
            proved=Case(When(standing=Standing.KNOWN_GOOD, then=Value(0)), default=Value(1), output_field=IntegerField()),
            afar=Case(When(here, then=Value(0)), default=Value(1), output_field=IntegerField()),
        )
        .filter(is_promised=False)
        .order_by("afar", "proved", "near", F("home__rank").asc(nulls_last=True), "name", "code")
        .first()
    )
    if found is None:
        return None
    place = {"truck": "here on the truck", "show": "here at the show"}.get(found.custody, "in the shop")
    inside = found.in_case.label if found.in_case else (found.home.name if found.home and not found.custody else "")
    return Spare(
        code=found.code,
        name=found.label,
        where=f"{place}, {inside}" if inside else place,
        says=STANDING_WORDS[Standing(found.standing)],
        standing=found.standing,
    )
