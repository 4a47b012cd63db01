from django.apps import AppConfig


class CompanyConfig(AppConfig):
    name = "company"

    def ready(self) -> None:
        from company.backups import JOB_KIND, backup_job
        from company.backups import figures as backup_figures
        from company.backups import status_lines as backup_lines
        from company.changelog import track
        from company.exports import JOB_KIND as EXPORT_KIND
        from company.exports import export_job
        from company.models import Company, Person
        from company.record_check import figures as record_figures
        from company.record_check import status_lines as record_lines
        from company.registries import FIGURES, JOBS, NAV, SEARCH, STATUS, TOP, NavEntry
        from company.running import figures, status_lines, worker_top
        from company.search import people_found

        NAV.add("shop", lambda: NavEntry(name="Shop", url_name="shop", section="Shop"), rank=90)
        TOP.add("worker", worker_top, rank=10)
        STATUS.add("running", status_lines, rank=10)
        STATUS.add("backup", backup_lines, rank=40)
        JOBS.add(JOB_KIND, backup_job)
        JOBS.add(EXPORT_KIND, export_job)
        STATUS.add("record", record_lines, rank=41)
        FIGURES.add("backup", backup_figures, rank=20)
        FIGURES.add("record", record_figures, rank=21)
        FIGURES.add("running", figures, rank=10)
        SEARCH.add("people", people_found, rank=80)

        track(Company, exclude=["demo_dated", "set_up_at"])
        track(Person, exclude=["theme", "must_change_password", "is_staff", "is_superuser", "date_joined"])

        from company import alert_rules

        alert_rules.register()

        from company.going_out import company_goes_out
        from company.registries import GOES_OUT

        GOES_OUT.add("company", company_goes_out)
