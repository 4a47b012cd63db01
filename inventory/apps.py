from django.apps import AppConfig


class InventoryConfig(AppConfig):
    name = "inventory"

    def ready(self) -> None:
        from company.changelog import track
        from inventory.models import FACTS_OF_KIND, CasePlanLine, CountedLine, GearType, GoesWith, Item, Place

        derived = ["custody", "custody_show", "custody_since", "in_case", "missing_since", "suspect_since"]
        for model in [GearType, *dict.fromkeys(FACTS_OF_KIND.values()), Place, CasePlanLine, CountedLine, GoesWith]:
            track(model)
        track(Item, exclude=derived)
