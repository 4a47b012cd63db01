"""Questions about shows."""

from datetime import date, datetime

from django.db import models
from django.db.models import Q

from shows.calc.words import ShowState


class ShowQuerySet(models.QuerySet):
    def live(self) -> "ShowQuerySet":
        """Leave out cancelled shows."""
        return self.exclude(state=ShowState.CANCELLED)

    def past_at(self, at: datetime) -> "ShowQuerySet":
        """Keep shows struck before an instant, or closed."""
        return self.filter(Q(strike__lt=at) | Q(state=ShowState.CLOSED))

    def under_way_at(self, at: datetime) -> "ShowQuerySet":
        """Keep shows between load-in and strike."""
        return self.filter(load_in__lte=at, strike__gte=at, state=ShowState.PLANNED)

    def away_at(self, at: datetime) -> "ShowQuerySet":
        """Keep shows between load-in and the hour their gear should be home."""
        return self.filter(load_in__lte=at, home_by__gte=at, state=ShowState.PLANNED)

    def coming_at(self, at: datetime) -> "ShowQuerySet":
        """Keep shows whose load-in is still ahead."""
        return self.filter(load_in__gt=at, state=ShowState.PLANNED)

    def holding_between(self, first: date, last: date) -> "ShowQuerySet":
        """Keep shows that hold gear on any day from `first` to `last`."""
        return self.live().filter(hold_from__lte=last, hold_until__gte=first)
