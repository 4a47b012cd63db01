from django.apps import AppConfig
from django.db.models import Model
from django.db.models.signals import post_migrate, pre_migrate


class InventoryConfig(AppConfig):
    name = "inventory"

    def ready(self) -> None:
        from inventory import gear_page, search, search_index, shelf_hooks

        pre_migrate.connect(search_index.before_migrating, dispatch_uid="search index steps aside")
        post_migrate.connect(search_index.after_migrating, dispatch_uid="search index is kept", sender=self)
        search.register()
        gear_page.register()
        shelf_hooks.register()

        from company.changelog import track
        from inventory.models import FACTS_OF_KIND, CasePlanLine, CountedLine, GearType, GoesWith, Item, Place

        derived = ["custody", "custody_show", "custody_since", "in_case", "missing_since", "suspect_since"]
        tracked: list[type[Model]] = [GearType, Place, CasePlanLine, CountedLine, GoesWith]
        tracked += dict.fromkeys(FACTS_OF_KIND.values())
        for model in tracked:
            track(model)
        track(Item, exclude=derived)

        from company.registries import JOBS
        from inventory.registries import IMPORTS
        from inventory.transfer.counted import COUNTED
        from inventory.transfer.gear import GEAR
        from inventory.transfer.running import import_run
        from inventory.views.transfer import export_run

        IMPORTS.add("gear", lambda: GEAR, rank=10)
        IMPORTS.add("counted", lambda: COUNTED, rank=20)
        JOBS.add("import", import_run)
        JOBS.add("export", export_run)

        from company.registries import NAV, NavEntry
        from inventory.views import labels

        NAV.add("labels", lambda: NavEntry(name="Labels", url_name="labels", section="Labels", role="technician"), rank=70)
        JOBS.add(labels.JOB_KIND, labels.run_job)

        from inventory import alert_rules

        alert_rules.register()

        from company.registries import GOES_OUT
        from inventory.going_out import inventory_goes_out

        GOES_OUT.add("inventory", inventory_goes_out)
