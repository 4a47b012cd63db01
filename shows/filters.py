"""What the list of shows can be narrowed by."""

import django_filters
from django.db.models import Q

from shows.models import Show
from shows.querysets import ShowQuerySet

WHEN = [("", "now and coming"), ("now", "now"), ("coming", "coming"), ("past", "past"), ("all", "all")]


class ShowFilter(django_filters.FilterSet):
    """By when and by a word of the name, client or venue; `when` is judged by the view, which knows the time."""

    q = django_filters.CharFilter(label="A word of name, client or venue", method="word", max_length=200)

    class Meta:
        model = Show
        fields: list[str] = []

    def word(self, queryset: ShowQuerySet, name: str, value: str) -> ShowQuerySet:
        return queryset.filter(
            Q(name__icontains=value)
            | Q(client__icontains=value)
            | Q(venue__name__icontains=value)
            | Q(venue__town__icontains=value)
        )
