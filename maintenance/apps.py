from django.apps import AppConfig


class MaintenanceConfig(AppConfig):
    name = "maintenance"

    def ready(self) -> None:
        from maintenance import shelf_hooks

        shelf_hooks.register()

        from maintenance import parts

        parts.register()

        from company.registries import NAV, NavEntry

        NAV.add("bench", lambda: NavEntry(name="Bench", url_name="bench", section="Bench", role="technician"), rank=60)

        from inventory.registries import WIRING_CHOICES
        from maintenance.wiring_words import choices_of

        WIRING_CHOICES.add("wirings", choices_of)

        from company.changelog import track
        from maintenance.models import BenchSettings, CellPlan, CellType, RetestRule, Wiring

        for model in (BenchSettings, CellPlan, CellType, RetestRule, Wiring):
            track(model)

        from maintenance import api_fields

        api_fields.register()

        from maintenance import item_parts

        item_parts.register()

        from maintenance import wet

        wet.register()

        from maintenance import swap_needs

        swap_needs.register()

        from company.registries import JOBS
        from maintenance.views import sheets

        JOBS.add(sheets.JOB_KIND, sheets.run_job)

        from maintenance import retest_job
        from maintenance.services import retest

        JOBS.add(retest.JOB_KIND, retest_job.job_run)

        from maintenance import cell_hooks

        cell_hooks.register()

        from maintenance import cell_parts

        cell_parts.register()

        from maintenance import (
            alert_rules,
            alert_rules_cells,
            among,  # noqa: F401 (the lookup __among is known from here on)
        )

        alert_rules.register()
        alert_rules_cells.register()

        from company.registries import FIGURES
        from maintenance.running_figures import figures

        FIGURES.add("maintenance", figures)

        from company.registries import NEEDS, STATUS, TIDY, TOP
        from maintenance import alert_inbox
        from maintenance.address_needs import addresses_needs
        from maintenance.delivery_log import deliveries_forget

        NEEDS.add("addresses", addresses_needs, rank=45)
        TIDY.add("deliveries", deliveries_forget)
        TOP.add("alerts", alert_inbox.alerts_top, rank=20)
        from maintenance import telling_status

        STATUS.add("alert rules", telling_status.rules_lines, rank=40)
        STATUS.add("mail", telling_status.mail_lines, rank=41)

        from company.registries import GOES_OUT
        from maintenance.going_out import maintenance_goes_out

        GOES_OUT.add("maintenance", maintenance_goes_out)
