from django.apps import AppConfig


class CompanyConfig(AppConfig):
    name = "company"

    def ready(self) -> None:
        from company.changelog import track
        from company.models import Company, Person

        track(Company, exclude=["demo_dated", "set_up_at"])
        track(Person, exclude=["theme", "must_change_password", "is_staff", "is_superuser", "date_joined"])
