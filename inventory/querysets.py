"""Questions about many items. Standing and where are one expression each, so that lists, pages and the API agree."""

from datetime import date

from django.db import models
from django.db.models import Case, CharField, F, Q, Value, When

from inventory.calc.kinds import Standing, Where

# Standing is the first that holds. Retired before suspect: nobody repairs what is gone. Suspect before test due: a fault
# is news, a date is not. Test due before good except and known good: a proof that has run out proves nothing. "Taken as
# good" is unproved all the same, and quiet.


def standing_expression(day: date, prefix: str = "") -> Case:
    """Return is-it-good on a day as SQL; `prefix` reaches the item through a relation, as in `item__`."""

    def q(**tests: object) -> Q:
        return Q(**{f"{prefix}{name}": value for name, value in tests.items()})

    return Case(
        When(q(type__has_standing=False), then=Value(Standing.NONE.value)),
        When(q(retired_on__isnull=False), then=Value(Standing.RETIRED.value)),
        When(q(suspect_since__isnull=False), then=Value(Standing.SUSPECT.value)),
        When(q(test_by__lte=day), then=Value(Standing.TEST_DUE.value)),
        When(~q(excepts=""), then=Value(Standing.GOOD_EXCEPT.value)),
        When(q(tested_on__isnull=False), then=Value(Standing.KNOWN_GOOD.value)),
        default=Value(Standing.UNPROVED.value),
        output_field=CharField(),
    )


def where_expression(prefix: str = "") -> Case:
    """Return where-is-it as SQL; `prefix` reaches the item through a relation."""

    def q(**tests: object) -> Q:
        return Q(**{f"{prefix}{name}": value for name, value in tests.items()})

    return Case(
        When(q(gone_home_on__isnull=False), then=Value(Where.GONE_HOME.value)),
        When(q(retired_on__isnull=False), then=Value(Where.RETIRED.value)),
        When(~q(lent_to=""), then=Value(Where.LENT.value)),
        When(q(missing_since__isnull=False), then=Value(Where.MISSING.value)),
        When(q(custody="truck"), then=Value(Where.TRUCK.value)),
        When(q(custody="show"), then=Value(Where.SHOW.value)),
        When(q(at__sort="repairer"), then=Value(Where.REPAIRER.value)),
        When(q(at__sort="bench"), then=Value(Where.BENCH.value)),
        When(q(in_case__isnull=False), then=Value(Where.CASE.value)),
        default=Value(Where.SHOP.value),
        output_field=CharField(),
    )


class ItemQuerySet(models.QuerySet):
    """Chainable questions about items."""

    def described(self, day: date) -> "ItemQuerySet":
        """Add `standing` and `where` on a day, and everything a strip shows, without a query a row."""
        return self.annotate(standing=standing_expression(day), where=where_expression()).select_related(
            "type", "home", "at", "in_case__type"
        )

    def with_standing(self, value: str, day: date) -> "ItemQuerySet":
        """Keep items of one standing, by plain columns, so that indexes serve it; the same answer as the expression."""
        if value == Standing.NONE:
            return self.filter(type__has_standing=False)
        rows = self.filter(type__has_standing=True)
        if value == Standing.RETIRED:
            return rows.filter(retired_on__isnull=False)
        rows = rows.filter(retired_on=None)
        if value == Standing.SUSPECT:
            return rows.filter(suspect_since__isnull=False)
        rows = rows.filter(suspect_since=None)
        if value == Standing.TEST_DUE:
            return rows.filter(test_by__lte=day)
        rows = rows.filter(Q(test_by=None) | Q(test_by__gt=day))
        if value == Standing.GOOD_EXCEPT:
            return rows.filter(~Q(excepts=""))
        rows = rows.filter(excepts="")
        if value == Standing.KNOWN_GOOD:
            return rows.filter(tested_on__isnull=False)
        return rows.filter(tested_on=None) if value == Standing.UNPROVED else self.none()

    def with_where(self, value: str) -> "ItemQuerySet":
        """Keep items that are in one place, by plain columns, so that indexes serve it; the same answer as the expression."""
        if value == Where.GONE_HOME:
            return self.filter(gone_home_on__isnull=False)
        rows = self.filter(gone_home_on=None)
        if value == Where.RETIRED:
            return rows.filter(retired_on__isnull=False)
        rows = rows.filter(retired_on=None)
        if value == Where.LENT:
            return rows.filter(~Q(lent_to=""))
        rows = rows.filter(lent_to="")
        if value == Where.MISSING:
            return rows.filter(missing_since__isnull=False)
        rows = rows.filter(missing_since=None)
        if value in {Where.TRUCK, Where.SHOW}:
            # the show is named whenever custody is, and it is the column with the index
            return rows.filter(custody_show__isnull=False, custody="truck" if value == Where.TRUCK else "show")
        rows = rows.filter(custody="")
        if value in {Where.REPAIRER, Where.BENCH}:
            return rows.filter(at__sort="repairer" if value == Where.REPAIRER else "bench")
        rows = rows.filter(Q(at=None) | Q(at__sort="shelf"))
        if value == Where.CASE:
            return rows.filter(in_case_id__gt=0)  # a range, so that the index over cases is walked and not the list
        # a sum is no column: most things lie in no case, and the index over cases would be the slowest way to find them
        return rows.alias(case_key=F("in_case") + 0).filter(case_key=None) if value == Where.SHOP else self.none()

    def owned(self) -> "ItemQuerySet":
        """Leave out what is retired or borrowed and gone home."""
        return self.filter(retired_on=None, gone_home_on=None)

    def in_the_shop(self) -> "ItemQuerySet":
        """Keep what could be pulled from a shelf or a case now."""
        return self.owned().filter(custody="", lent_to="", missing_since=None).exclude(at__sort__in=["bench", "repairer"])

    def ours_to_test(self) -> "ItemQuerySet":
        """Keep what our bench tests: ours, of a kind that is tested, neither lent, missing nor at the repairer."""
        rows = self.owned().filter(lent_to="", missing_since=None, type__has_standing=True)
        return rows.exclude(at__sort="repairer")

    def fit_to_go(self, day: date) -> "ItemQuerySet":
        """Keep what may be offered for a show: in the shop, neither suspect nor past its test-by date."""
        return self.in_the_shop().filter(suspect_since=None).exclude(test_by__lte=day)

    def due_on(self, day: date) -> "ItemQuerySet":
        """Keep what must be tested on or before a day."""
        return self.owned().filter(test_by__lte=day)

    def by_walk(self) -> "ItemQuerySet":
        """Order by the way a person walks the shelves."""
        return self.order_by(F("home__rank").asc(nulls_last=True), "home__name", "type__name", "length_mm", "name", "code")
