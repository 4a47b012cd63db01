from django.apps import AppConfig


class ShowsConfig(AppConfig):
    name = "shows"

    def ready(self) -> None:
        from company.changelog import track
        from company.registries import NAV, NavEntry
        from shows.models import PullRow, Rig, RigRow, Show, Venue

        NAV.add("today", lambda: NavEntry(name="Today", url_name="start", section="Today"), rank=10)
        NAV.add("shows", lambda: NavEntry(name="Shows", url_name="shows", section="Shows"), rank=30)

        for model in (Venue, Show, PullRow, Rig, RigRow):
            track(model)
