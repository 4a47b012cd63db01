"""Addresses of lists coming in and going out."""

from django.urls import path

from inventory.views import transfer

urlpatterns = [
    path("import/", transfer.import_list, name="import"),
    path("import/example/<str:what>.<str:form>", transfer.import_example, name="import-example"),
    path("import/job/<int:job_id>/", transfer.import_result, name="import-result"),
    path("import/job/<int:job_id>/undo/", transfer.import_undo, name="import-undo"),
    path("import/<str:token>/", transfer.import_match, name="import-match"),
    path("import/<str:token>/preview/", transfer.import_preview, name="import-preview"),
    path("import/<str:token>/bad.csv", transfer.import_bad, name="import-bad"),
    path("import/<str:token>/apply/", transfer.import_apply, name="import-apply"),
    path("export/", transfer.export, name="export"),
    path("export/<str:what>.<str:form>", transfer.export_file, name="export-file"),
]
