"""A row that points at nothing is found by the nightly backup, told, and can be left out when restoring."""

import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from company import record_check
from company.backup_file import verify
from company.backups import backup_make, figures, last_backup
from company.registries import ALERT_RULES, STATUS, RuleTerms
from inventory.models import GearType, Item, Label
from tests.builders import NOW, make_item

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def places(tmp_path, settings):
    settings.BACKUP_DIR, settings.MEDIA_ROOT, settings.VAR_DIR = tmp_path / "backups", tmp_path / "media", tmp_path


@pytest.fixture
def broken(company):
    """A shop one of whose labels points at an item that is not there, as a hand in the database could leave it."""
    items = [make_item() for _ in range(3)]
    gone = items[1].pk
    if connection.vendor == "sqlite":
        connection.close()
        raw = sqlite3.connect(str(connection.settings_dict["NAME"]))  # without the rule that the program asks for
        raw.execute("DELETE FROM inventory_item WHERE id = ?", [gone])
        raw.commit()
        raw.close()
    else:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT conrelid::regclass::text, conname, pg_get_constraintdef(oid) FROM pg_constraint "
                "WHERE contype = 'f' AND confrelid = 'inventory_item'::regclass"
            )
            rules = cursor.fetchall()
            for table, name, _rule in rules:
                cursor.execute(f'ALTER TABLE {table} DROP CONSTRAINT "{name}"')
            cursor.execute("DELETE FROM inventory_item WHERE id = %s", [gone])
            for table, name, rule in rules:
                cursor.execute(f'ALTER TABLE {table} ADD CONSTRAINT "{name}" {rule} NOT VALID')
    yield gone
    with connection.constraint_checks_disabled():
        Label.objects.filter(item_id=gone).delete()


def line(at=NOW):
    return next(found for say in STATUS for found in say(at) if found.name == "Record")


def causes():
    return list(ALERT_RULES["record-unwell"]().find(NOW, RuleTerms(lead=timedelta())))


def figures_now(at=NOW):
    return {f.name: f.value for source in (figures, record_check.figures) for f in source(at)}


def test_a_whole_record_is_checked_with_its_backup_and_said_to_be_well(company):
    assert line().well is None and causes() == []
    assert figures_now() == {"backup_age_seconds": float("inf")}
    make_item()
    made = backup_make(at=NOW)
    assert line(NOW + timedelta(hours=3)).well is True and "3 hours ago" in line(NOW + timedelta(hours=3)).says
    assert figures_now(NOW + timedelta(seconds=90)) == {
        "backup_age_seconds": 90,
        "backup_bytes": made.stat().st_size,
        "record_whole": 1,
        "record_check_age_seconds": 90,
    }
    assert causes() == []


def test_a_row_that_points_at_nothing_is_told_by_the_status_page_an_alert_and_a_figure(broken):
    made = backup_make(at=NOW)
    assert last_backup(NOW) == NOW, "what there is, is kept all the same"
    told = line()
    assert told.well is False and "row" in told.says and "items not there" in told.says
    assert figures_now()["record_whole"] == 0
    [cause] = causes()
    assert "items not there" in cause.says and "check_record" in cause.says
    backup_make(at=NOW + timedelta(days=1))
    assert [c.occasion for c in causes()] == [cause.occasion], "the same trouble is one alert"
    assert verify(made).more["broken"]


def test_the_command_names_the_rows_and_says_when_all_is_well_again(broken, capsys):
    with pytest.raises(CommandError, match="items not there"):
        call_command("check_record")
    Label.objects.filter(item_id=broken).delete()
    for model in Item._meta.related_objects:
        rows = model.related_model._base_manager.filter(**{model.field.attname: broken})
        rows._raw_delete(rows.db)
    call_command("check_record")
    assert "holds together" in capsys.readouterr().out and line().well is True and causes() == []


@pytest.mark.skipif("connection.vendor != 'sqlite'", reason="damages a file")
def test_a_damaged_database_is_told_and_no_backup_is_made_of_it(company, tmp_path, settings):
    from company.backup_file import BackupError

    make_item()
    there = Path(str(connection.settings_dict["NAME"]))
    bad = tmp_path / "bad.sqlite3"
    connection.close()
    sqlite3.connect(there).execute("VACUUM INTO ?", [str(bad)])
    with bad.open("r+b") as file:
        file.seek(4096)
        file.write(b"\xff" * 200_000)
    connection.settings_dict["NAME"] = str(bad)
    try:
        with pytest.raises(BackupError, match="The database is damaged"):
            backup_make(at=NOW)
    finally:
        connection.settings_dict["NAME"] = str(there)
    assert line().well is False and "damaged" in line().says and last_backup(NOW) is None
    assert not [p for p in (tmp_path / "backups").iterdir() if ".part" in p.name]


def test_a_broken_backup_is_restored_only_without_what_is_broken(broken, tmp_path):
    from tests.company.test_backups import manage

    made = backup_make(at=NOW)
    if connection.vendor == "sqlite":
        refused = manage(tmp_path / "there", "restore", str(made))
        assert refused.returncode == 1 and "say --without-broken" in refused.stderr
        came = manage(tmp_path / "there", "restore", str(made), "--without-broken")
        assert came.returncode == 0, came.stderr
        assert "inventory_label" in came.stdout and "make_ready" in came.stdout
        back = sqlite3.connect(tmp_path / "there/knowngood.sqlite3")
        assert back.execute("PRAGMA foreign_key_check").fetchall() == []
        assert back.execute("SELECT count(*) FROM inventory_item").fetchone() == (2,)
    assert GearType.objects.exists()
