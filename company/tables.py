"""Tables of who we are."""

from typing import Any

import django_tables2 as tables
from django.utils.html import format_html

from company.models import Person
from company.templatetags.tape import moment


class ListConfig(tables.RequestConfig):
    """Sort and page a table as the address asks, by columns it has and in pages of our size.

    A page that the view has read already, given in `paginate`, is not read again.
    """

    def configure(self, table: tables.Table) -> tables.Table:
        wanted = self.request.GET.copy()
        field = table.prefixed_order_by_field
        known = [name for name in wanted.getlist(field) if name.removeprefix("-") in table.columns]
        wanted.setlist(field, known)
        wanted.pop(table.prefixed_per_page_field, None)
        page = wanted.get(table.prefixed_page_field, "")
        if not (page.isascii() and page.isdigit() and len(page) <= 6) or "page" in self.paginate:
            wanted.pop(table.prefixed_page_field, None)
        asked, self.request.GET = self.request.GET, wanted
        try:
            return super().configure(table)
        finally:
            self.request.GET = asked


class PeopleTable(tables.Table):
    name = tables.Column(accessor="username", verbose_name="Person", order_by=("first_name", "username"))
    username = tables.Column(verbose_name="Signs in as")
    role = tables.Column()
    email = tables.Column(verbose_name="E-mail", default="")
    last_login = tables.Column(verbose_name="Last here")
    is_active = tables.Column(verbose_name="May sign in")

    class Meta:
        model = Person
        fields = ("name", "username", "role", "email", "last_login", "is_active")
        attrs = {"class": "list people"}
        order_by = ("username",)
        empty_text = "Nobody."

    def render_name(self, record: Person) -> str:
        return format_html('<a class="act" href="{}">{}</a>', record.get_absolute_url(), record)

    def render_last_login(self, value: Any) -> str:
        return moment(value)

    def render_is_active(self, record: Person) -> str:
        if not record.is_active:
            return "no: switched off"
        return "yes, with a one-time password" if record.must_change_password else "yes"
