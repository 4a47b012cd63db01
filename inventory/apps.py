from django.apps import AppConfig
from django.db.models.signals import post_migrate, pre_migrate


class InventoryConfig(AppConfig):
    name = "inventory"

    def ready(self) -> None:
        from inventory import gear_page, search, search_index

        pre_migrate.connect(search_index.before_migrating, dispatch_uid="search index steps aside")
        post_migrate.connect(search_index.after_migrating, dispatch_uid="search index is kept", sender=self)
        search.register()
        gear_page.register()

        from company.changelog import track
        from inventory.models import FACTS_OF_KIND, CasePlanLine, CountedLine, GearType, GoesWith, Item, Place

        derived = ["custody", "custody_show", "custody_since", "in_case", "missing_since", "suspect_since"]
        for model in [GearType, *dict.fromkeys(FACTS_OF_KIND.values()), Place, CasePlanLine, CountedLine, GoesWith]:
            track(model)
        track(Item, exclude=derived)
