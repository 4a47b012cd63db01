from django.apps import AppConfig


class MaintenanceConfig(AppConfig):
    name = "maintenance"

    def ready(self) -> None:
        from maintenance import shelf_hooks

        shelf_hooks.register()

        from maintenance import parts

        parts.register()

        from company.changelog import track
        from maintenance.models import BenchSettings, RetestRule, Wiring

        for model in (BenchSettings, RetestRule, Wiring):
            track(model)
