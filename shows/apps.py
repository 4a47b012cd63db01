from django.apps import AppConfig


class ShowsConfig(AppConfig):
    name = "shows"

    def ready(self) -> None:
        from company.changelog import track
        from company.registries import NAV, NavEntry
        from shows.models import PullRow, Rig, RigRow, Show, Venue

        NAV.add("today", lambda: NavEntry(name="Today", url_name="start", section="Today"), rank=10)
        NAV.add("dock", lambda: NavEntry(name="Dock", url_name="dock", section="Dock"), rank=20)
        NAV.add("shows", lambda: NavEntry(name="Shows", url_name="shows", section="Shows"), rank=30)

        for model in (Venue, Show, PullRow, Rig, RigRow):
            track(model)

        from inventory.registries import ITEM_ACTIONS
        from shows.views.dock_item import actions_of

        ITEM_ACTIONS.add("dock", actions_of, rank=20)
