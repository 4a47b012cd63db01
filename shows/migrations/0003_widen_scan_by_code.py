from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shows", "0002_add_scan_caused")]

    operations = [
        migrations.RemoveIndex(model_name="scan", name="scan_by_code"),
        migrations.AddIndex(
            model_name="scan",
            index=models.Index(fields=["code", "effective_at"], name="scan_by_code"),
        ),
    ]
