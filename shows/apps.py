from django.apps import AppConfig


class ShowsConfig(AppConfig):
    name = "shows"

    def ready(self) -> None:
        from company.registries import NAV, NavEntry

        NAV.add("today", lambda: NavEntry(name="Today", url_name="start", section="Today"), rank=10)
        NAV.add("shows", lambda: NavEntry(name="Shows", url_name="shows", section="Shows"), rank=30)
