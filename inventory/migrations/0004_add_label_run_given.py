from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("inventory", "0003_add_item_search"),
    ]

    operations = [
        migrations.AddField(
            model_name="labelrun",
            name="given",
            field=models.JSONField(default=dict, help_text="What was asked for, so that it can be printed again just so."),
        ),
        migrations.AddField(
            model_name="labelrun",
            name="token",
            field=models.UUIDField(blank=True, editable=False, null=True, unique=True),
        ),
        migrations.AddIndex(
            model_name="label",
            index=models.Index(
                condition=models.Q(("item__isnull", False), ("printed_at", None)), fields=["item"], name="label_to_print"
            ),
        ),
    ]
