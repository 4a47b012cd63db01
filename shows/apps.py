from django.apps import AppConfig


class ShowsConfig(AppConfig):
    name = "shows"

    def ready(self) -> None:
        from company.changelog import track
        from company.registries import NAV, NavEntry
        from shows.models import InputLine, PullRow, Rig, RigRow, Show, SourceType, StagePlace, StagePlan, Venue, VenueFeed

        NAV.add("today", lambda: NavEntry(name="Today", url_name="start", section="Today"), rank=10)
        NAV.add("dock", lambda: NavEntry(name="Dock", url_name="dock", section="Dock"), rank=20)
        NAV.add("shows", lambda: NavEntry(name="Shows", url_name="shows", section="Shows"), rank=30)

        for model in (Venue, VenueFeed, Show, PullRow, Rig, RigRow, SourceType, InputLine, StagePlan, StagePlace):
            track(model)

        from inventory.registries import ITEM_ACTIONS
        from shows.views.dock_item import actions_of

        ITEM_ACTIONS.add("dock", actions_of, rank=20)

        from inventory.registries import SHOW_CHOICES, SHOW_NAMES
        from maintenance.registries import OUT_WITH, USED_WHEN, WHEN_FOUND
        from shows.shelf_names import found_in_show, likely_shows, names_of_shows, out_with_show, used_at_shows

        WHEN_FOUND.add("shows", found_in_show)
        OUT_WITH.add("shows", out_with_show)
        USED_WHEN.add("shows", used_at_shows)
        SHOW_NAMES.add("shows", names_of_shows)
        SHOW_CHOICES.add("shows", likely_shows)

        from maintenance.registries import COMING
        from shows.coming import coming_gear

        COMING.add("shows", coming_gear)

        from maintenance.registries import COMING_SHOWS, SHOW_NEEDS
        from shows.cells import coming_keys, needs_of_shows

        SHOW_NEEDS.add("shows", needs_of_shows)
        COMING_SHOWS.add("shows", coming_keys)

        from company.registries import NEEDS, SEARCH
        from inventory.registries import ITEM_LIFE, ITEM_PANELS
        from shows import item_parts, needs, search

        for name, source in {
            "pack": needs.pack,
            "come-home": needs.come_home,
            "give-back": needs.give_back,
            "lent-home": needs.lent_home,
            "short": needs.short,
            "suspect-on-list": needs.suspect_on_list,
            "not-ready": needs.not_ready,
        }.items():
            NEEDS.add(name, source, rank=20)
        SEARCH.add("shows", search.shows_found, rank=50)
        SEARCH.add("venues", search.venues_found, rank=60)
        ITEM_LIFE.add("planned", item_parts.planned_life, rank=20)
        ITEM_PANELS.add("asked-for", item_parts.asked_for, rank=40)

        from inventory.registries import IMPORTS
        from shows.transfer import SHOWS

        IMPORTS.add("shows", lambda: SHOWS, rank=30)

        from inventory.registries import AFTER_BIND, AFTER_PLACEMENT
        from shows.services.custody import after_bind, after_placement

        AFTER_BIND.add("custody", after_bind)
        AFTER_PLACEMENT.add("custody", after_placement, rank=200)

        from shows import custody_parts

        custody_parts.register()

        from shows import alert_rules

        alert_rules.register()

        from company.registries import JOBS
        from shows.services.promises import JOB_KIND, promises_job

        JOBS.add(JOB_KIND, promises_job)

        from company.registries import FIGURES
        from shows.running_figures import figures

        FIGURES.add("shows", figures)

        from company.registries import GOES_OUT
        from shows.going_out import shows_goes_out

        GOES_OUT.add("shows", shows_goes_out)
