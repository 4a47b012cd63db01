"""The index of words: FTS5 trigrams on SQLite, pg_trgm on PostgreSQL. What keeps it is put in place after all migrations."""

from django.db import migrations

from inventory import search_index


def install(apps, schema_editor):
    search_index.make_table(schema_editor.connection)


def drop(apps, schema_editor):
    search_index.drop(schema_editor.connection)


class Migration(migrations.Migration):

    dependencies = [
        ("inventory", "0001_initial"),
    ]

    operations = [
        migrations.RunPython(install, drop),
    ]
