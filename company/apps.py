from django.apps import AppConfig


class CompanyConfig(AppConfig):
    name = "company"

    def ready(self) -> None:
        from company.changelog import track
        from company.models import Company, Person
        from company.registries import NAV, SEARCH, NavEntry
        from company.search import people_found

        NAV.add("shop", lambda: NavEntry(name="Shop", url_name="shop", section="Shop"), rank=90)
        SEARCH.add("people", people_found, rank=80)

        track(Company, exclude=["demo_dated", "set_up_at"])
        track(Person, exclude=["theme", "must_change_password", "is_staff", "is_superuser", "date_joined"])
