"""The gear list as a table of strips: what a row shows, and what it can be sorted by."""

import django_tables2 as tables

from inventory.models import Item

PER_PAGE = 50


class ItemTable(tables.Table):
    """Items as strips of tape; the columns say what can be sorted by."""

    name = tables.Column(verbose_name="Name", order_by=("type__name", "length_mm", "name", "code"))
    code = tables.Column(verbose_name="Code")
    added = tables.Column(accessor="added_at", verbose_name="Newest first", order_by=("-pk",))

    class Meta:
        model = Item
        fields: tuple[str, ...] = ()
        sequence = ("name", "code", "added")
        order_by = ("name",)
        template_name = "inventory/gear_table.html"
