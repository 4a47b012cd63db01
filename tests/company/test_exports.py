"""An export is everything the shop owns as open files, of one instant, without a secret in it."""

import csv
import hashlib
import io
import json
import re
import zipfile
from datetime import datetime, timedelta

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import connections

from company import exports
from company.backup_file import BackupError, verify
from company.backup_rows import tables
from company.clock import now
from company.export_schema import outgoing, schema_text, stays_named, without_named
from company.exports import export_job, export_make, exports_forget, exports_listed, names_left
from company.models import ApiToken, Job
from company.registries import GOES_OUT
from inventory.models import Item
from tests.builders import NOW, make_item, make_person

pytestmark = pytest.mark.django_db(transaction=True)
SECRET = re.compile(r"password|secret|token|digest|seal|fingerprint|cipher|salt|private|session|api_?key|hash", re.IGNORECASE)
# named like a secret, and none: a yes or no, an hour, a day's mail, what a form was sent under
NO_SECRETS = {
    "company.Person.must_change_password",
    "maintenance.RuleSetting.digest",
    "maintenance.Alert.digest",
    "maintenance.Telling.digest_at",
    "maintenance.Delivery.digest",
    "inventory.LabelRun.token",
}


@pytest.fixture(autouse=True)
def places(tmp_path, settings):
    settings.EXPORT_DIR, settings.MEDIA_ROOT = tmp_path / "exports", tmp_path / "media"
    for name in ("photos/a.jpg", "jobs/list.csv"):
        (tmp_path / "media" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "media" / name).write_bytes(b"\x00picture" * 500)


def read(found: zipfile.ZipFile, table: str) -> tuple[list[dict], list[dict]]:
    """Return a table's rows as its CSV and its JSON lines have them."""
    lines = found.read(f"tables/{table}.jsonl").decode().splitlines()
    text = found.read(f"tables/{table}.csv").decode()
    return list(csv.DictReader(io.StringIO(text))), [json.loads(line) for line in lines]


def test_every_table_is_exported_or_named_as_one_that_never_goes():
    known = {model._meta.label for model in tables().values()}
    out = [label for say in GOES_OUT for label in say().out]
    undecided = known - set(out) - set(stays_named())
    assert not undecided, f"say in the app's going_out.py whether an export takes these along: {sorted(undecided)}"
    assert not set(out) & set(stays_named()) and len(out) == len(set(out))
    assert set(out) | set(stays_named()) == known, "a name in going_out.py is no table's any more"
    for name in without_named():
        label, _, column = name.rpartition(".")
        assert apps.get_model(label)._meta.get_field(column), name


def test_no_column_that_could_hold_a_secret_goes_out():
    suspicious = {name for name in names_left(outgoing()) if SECRET.search(name.rpartition(".")[2])}
    assert suspicious == NO_SECRETS, "leave it out in the app's going_out.py, or say here why it is no secret"


def test_no_secret_stands_in_the_change_log():
    from auditlog.registry import auditlog

    for model in auditlog.get_models():
        hidden = set(auditlog.get_model_fields(model)["exclude_fields"])
        secret = {n.rpartition(".")[2] for n in without_named() if n.startswith(f"{model._meta.label}.")}
        assert secret <= hidden, f"{model._meta.label}: {secret - hidden}"


def test_rows_stand_in_csv_and_json_with_their_instants_days_and_text_whole(company, settings):
    person = make_person("owner", username="ines")
    typed = 'says "hums", badly\nsecond line – ü'
    item = make_item(name=typed)
    Item.objects.filter(pk=item.pk).update(name=typed, added_at=datetime.fromisoformat("2026-07-01T11:00:00+00:00"))
    evil = make_item()
    Item.objects.filter(pk=evil.pk).update(name="=1+1")
    made = export_make(at=NOW)
    with zipfile.ZipFile(made.path) as found:
        in_csv, in_json = read(found, "inventory_item")
        assert [row["id"] for row in in_json] == [item.pk, evil.pk] and [row["id"] for row in in_csv] == [
            str(item.pk),
            str(evil.pk),
        ]
        assert in_csv[0]["name"] == in_json[0]["name"] == typed
        assert in_csv[0]["added_at"] == in_json[0]["added_at"] == "2026-07-01T12:00:00+01:00"
        assert in_csv[0]["retired_on"] == "" and in_json[0]["retired_on"] is None
        assert in_csv[1]["name"] == "'=1+1" and in_json[1]["name"] == "=1+1"
        people, _ = read(found, "company_person")
        assert people[0]["username"] == "ines" and "password" not in people[0]
        everything = b"".join(found.read(name) for name in found.namelist())
    person.refresh_from_db()
    assert person.password.encode() not in everything and made.rows > 3


def test_a_token_and_the_program_s_own_rows_stay(company):
    person = make_person("owner", username="ines")
    token, text = ApiToken.make(person=person, name="till", made_at=NOW)
    made = export_make(at=NOW)
    with zipfile.ZipFile(made.path) as found:
        names = found.namelist()
        everything = b"".join(found.read(name) for name in names)
        readme = found.read("README.md").decode()
    assert token.digest.encode() not in everything and text.encode() not in everything
    assert not [name for name in names if "apitoken" in name or "session" in name or "media/jobs" in name]
    assert "company_apitoken" in readme and "`password` of `company_person`" in readme and "django_session" in readme


def test_the_sums_are_those_of_the_files_and_the_photos_are_in_it(company):
    made = export_make(at=NOW)
    with zipfile.ZipFile(made.path) as found:
        sums = dict(line.split("  ", 1)[::-1] for line in found.read("SHA256SUMS").decode().splitlines())
        assert set(sums) == set(found.namelist()) - {"SHA256SUMS"}
        for name, total in sums.items():
            assert hashlib.sha256(found.read(name)).hexdigest() == total
        assert found.read("media/photos/a.jpg") == b"\x00picture" * 500
    assert made.files == 1 and made.path.stat().st_mode & 0o077 == 0


def test_the_note_names_every_table_and_column_and_what_it_points_at(company):
    found = outgoing()
    said = schema_text(found)
    for one in found:
        section = said.split(f"## {one.table}\n", 1)[1].split("\n## ", 1)[0]
        assert one.row and not one.row.startswith(f"{one.model.__name__}("), f"{one.model.__name__} wants a docstring"
        for field in one.fields:
            [line] = [line for line in section.splitlines() if line.startswith(f"| `{field.column}` |")]
            if field.is_relation:
                assert f"`{field.related_model._meta.db_table}." in line
    assert "points at `" not in said and "| `length_mm` |" in said and "| mm |" in said
    assert "cents of the shop's currency" in said and "one of `hand`" in said


def test_what_is_written_meanwhile_is_in_none_of_the_tables(company):
    make_item()
    wrote = []

    def meanwhile(done: int, total: int, said: str) -> None:
        if len(wrote) < 5:
            wrote.append(make_item())

    made = export_make(at=NOW, progress=meanwhile)
    with zipfile.ZipFile(made.path) as found:
        assert len(read(found, "inventory_item")[1]) == len(read(found, "inventory_item")[0]) == 1
        assert len(read(found, "inventory_label")[1]) <= 1
    assert Item.objects.count() == 6


def test_an_export_that_breaks_off_leaves_nothing(company, tmp_path):
    def broken(done: int, total: int, said: str) -> None:
        if done == 3:
            raise OSError(28, "No space left on device")

    with pytest.raises(BackupError, match="The disk is full: nothing was kept in"):
        export_make(at=NOW, progress=broken)
    assert [p.name for p in (tmp_path / "exports").iterdir()] == [".lock"] and exports_listed() == []
    assert set(connections) == {"default"}


def test_an_export_is_no_backup_and_says_so(company):
    with pytest.raises(BackupError, match="is an export, to be read elsewhere"):
        verify(export_make(at=NOW).path)


def test_three_exports_are_kept_for_a_month(company):
    made = [export_make(at=NOW + timedelta(seconds=n)) for n in range(5)]
    assert exports_forget(at=NOW) == 2 and [e.name for e in exports_listed()] == [e.path.name for e in made[:1:-1]]
    assert exports_forget(at=NOW + timedelta(days=31)) == 3


def test_the_owner_asks_for_it_on_a_page_and_fetches_it(as_owner, as_technician, owner, technician):
    assert "Export everything" in as_owner.get("/export/").content.decode()
    assert "Export everything" not in as_technician.get("/export/").content.decode()
    answer = as_owner.post("/export/all/", follow=True)
    job = Job.objects.get(kind=exports.JOB_KIND)
    job.refresh_from_db()
    if job.state != Job.State.DONE:
        from company.jobs import job_run

        job_run(job.pk)
        job.refresh_from_db()
    assert job.state == Job.State.DONE, job.said
    assert "under way" in answer.content.decode() and "rows of" in job.said and job.total == len(outgoing())
    page = as_owner.get(job.get_absolute_url()).content.decode()
    assert job.result["fetch"] in page
    assert job.result["fetch"] not in as_technician.get(job.get_absolute_url()).content.decode()
    fetched = as_owner.get(job.result["fetch"])
    assert b"".join(fetched.streaming_content)[:2] == b"PK"
    assert as_technician.get(job.result["fetch"]).status_code == 403
    assert as_owner.get("/export/all/..%2Fsecret_key/").status_code == 404
    assert job.result["name"] in as_owner.get("/export/").content.decode()


def test_the_command_says_what_was_written_and_what_was_left_out(company, tmp_path, capsys):
    call_command("export", to=tmp_path / "elsewhere")
    said = capsys.readouterr().out
    [made] = (tmp_path / "elsewhere").glob("knowngood-export-*.zip")
    assert str(made) in said and "rows of" in said and "Left out:" in said and "company_apitoken" in said


def test_an_export_that_fails_says_why_on_its_page(company, settings, tmp_path):
    (tmp_path / "in the way").write_text("")
    settings.EXPORT_DIR = tmp_path / "in the way"
    job = Job.objects.create(kind=exports.JOB_KIND, title="Export", state="running", tries=0, made_at=now())
    from company.jobs import JobError

    with pytest.raises(JobError, match="cannot be written"):
        export_job(job)
