from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("shows", "0003_widen_scan_by_code"),
    ]

    operations = [
        migrations.AddField(
            model_name="scan",
            name="into",
            field=models.CharField(blank=True, default="", help_text="The bench bag or case it was put in.", max_length=8),
        ),
    ]
