"""The list of counted lines: sorting and paging; the rows are drawn by the template."""

import django_filters
import django_tables2 as tables
from django.db.models import QuerySet

from inventory.calc.kinds import KIND_NAMES, Kind
from inventory.models import CountedLine, Place


class CountedTable(tables.Table):
    name = tables.Column(order_by=("type__name", "length_mm"), verbose_name="name")
    on_shelf = tables.Column(verbose_name="on the shelf")
    out = tables.Column(verbose_name="out")
    bad = tables.Column(verbose_name="bad")
    home = tables.Column(order_by=("home__rank", "home__name", "type__name"), verbose_name="where it lies")

    class Meta:
        model = CountedLine
        fields = ()
        sequence = ("name", "on_shelf", "out", "bad", "home")
        template_name = "inventory/counted_rows.html"
        order_by = "name"


class CountedFilter(django_filters.FilterSet):
    q = django_filters.CharFilter(method="by_words", label="With the words")
    kind = django_filters.ChoiceFilter(
        field_name="type__kind", label="Kind", choices=[(k.value, KIND_NAMES[k]) for k in Kind], empty_label="Every kind"
    )
    home = django_filters.ModelChoiceFilter(queryset=Place.objects.all(), label="Where it lies", empty_label="Anywhere")
    only = django_filters.ChoiceFilter(
        method="by_state",
        label="Only",
        empty_label="All of them",
        choices=[("out", "what is out"), ("bad", "what has bad ones"), ("odd", "what does not add up")],
    )

    class Meta:
        model = CountedLine
        fields: list[str] = []

    def by_words(self, lines: QuerySet, name: str, value: str) -> QuerySet:
        for word in value.split()[:8]:
            lines = lines.filter(type__name__icontains=word) | lines.filter(notes__icontains=word)
        return lines

    def by_state(self, lines: QuerySet, name: str, value: str) -> QuerySet:
        if value == "odd":
            return lines.filter(on_shelf__lt=0) | lines.filter(bad__lt=0) | lines.filter(out__lt=0)
        return lines.filter(**{f"{value}__gt": 0})
