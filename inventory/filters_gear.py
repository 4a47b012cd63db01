"""The filters of the gear list; they live in the address, so that sorting, paging and going back keep them."""

from datetime import date
from typing import Any

import django_filters
from django import forms
from django.db.models import Q

from inventory.calc.kinds import KIND_NAMES, STANDING_WORDS, WHERE_WORDS, Kind, Standing, Where
from inventory.forms_gear import type_choices
from inventory.models import Item, Place
from inventory.querysets import ItemQuerySet
from inventory.search import LONGEST, matching

NO_STANDING = "none"


def _all_types() -> list:
    return type_choices()[1:]


class ItemFilter(django_filters.FilterSet):
    """Which items: words, kind, type, is it good, where is it, place."""

    q = django_filters.CharFilter(
        label="Word or code", method="words", max_length=LONGEST, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    kind = django_filters.ChoiceFilter(
        field_name="type__kind", label="Kind", empty_label="Any", choices=[(k.value, KIND_NAMES[k]) for k in Kind]
    )
    type = django_filters.ChoiceFilter(field_name="type_id", label="Type", empty_label="Any", choices=_all_types)
    standing = django_filters.ChoiceFilter(
        label="Is it good",
        empty_label="Any",
        method="is_it_good",
        choices=[(s.value or NO_STANDING, STANDING_WORDS[s] or "no standing") for s in Standing],
    )
    where = django_filters.ChoiceFilter(
        label="Where is it", empty_label="Anywhere", method="where_is_it", choices=[(w.value, WHERE_WORDS[w]) for w in Where]
    )
    place = django_filters.ModelChoiceFilter(queryset=Place.objects.all(), label="Place", empty_label="Any", method="at_place")

    class Meta:
        model = Item
        fields: list[str] = []

    def __init__(self, *args: Any, day: date, **kw: Any) -> None:
        super().__init__(*args, **kw)
        self.day = day

    def filter_queryset(self, queryset: Any) -> Any:
        """Leave out what is no longer ours unless it was asked for."""
        asked = self.form.cleaned_data
        gone = asked.get("standing") == Standing.RETIRED or asked.get("where") in {Where.RETIRED, Where.GONE_HOME}
        return super().filter_queryset(queryset if gone else queryset.owned())

    @property
    def is_used(self) -> bool:
        """Say whether anything was asked for."""
        return self.form.is_valid() and any(value not in (None, "") for value in self.form.cleaned_data.values())

    def words(self, items: ItemQuerySet, name: str, value: str) -> ItemQuerySet:
        return matching(items, value)

    def is_it_good(self, items: ItemQuerySet, name: str, value: str) -> ItemQuerySet:
        return items.with_standing("" if value == NO_STANDING else value, self.day)

    def where_is_it(self, items: ItemQuerySet, name: str, value: str) -> ItemQuerySet:
        return items.with_where(value)

    def at_place(self, items: ItemQuerySet, name: str, value: Place) -> ItemQuerySet:
        return items.filter(Q(home=value) | Q(at=value)) if value.sort == Place.Sort.SHELF else items.filter(at=value)
