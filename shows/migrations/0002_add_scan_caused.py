from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shows", "0001_initial")]

    operations = [
        migrations.AddField(
            model_name="scan",
            name="caused",
            field=models.JSONField(
                blank=True,
                help_text="What it changed beside custody, so that taking it back can put that back.",
                null=True,
            ),
        ),
    ]
