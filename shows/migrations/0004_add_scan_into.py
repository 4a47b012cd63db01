from django.db import migrations, models
from django.db.models.functions import Length
from django.db.models.lookups import LessThanOrEqual


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
        migrations.AddConstraint(
            model_name="scan",
            constraint=models.CheckConstraint(
                condition=LessThanOrEqual(Length(models.F("into")), 8),
                name="scan_into_fits",
                violation_error_message="Into has at most 8 characters.",
            ),
        ),
    ]
