"""What was backed up comes back row by row, into either database; what is damaged or unasked for changes nothing."""

import os
import shutil
import subprocess
import sys
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.db import connection

from company.backup_file import BackupError, verify
from company.backups import backup_make, last_backup
from company.calc.rotation import kept
from tests.builders import NOW, make_item, make_person

pytestmark = pytest.mark.django_db(transaction=True)


def manage(folder: Path, *words: str, database: str = "") -> subprocess.CompletedProcess:
    env = {k: v for k, v in os.environ.items() if k not in {"DATABASE_URL", "CELERY_BROKER_URL", "BACKUP_DIR"}}
    env |= {"VAR_DIR": str(folder), **({"DATABASE_URL": database} if database else {})}
    command = [sys.executable, "manage.py", *words]
    return subprocess.run(command, cwd=settings.BASE_DIR, env=env, capture_output=True, text=True, timeout=240)


@pytest.fixture
def made(company, tmp_path, settings):
    settings.BACKUP_DIR, settings.MEDIA_ROOT = tmp_path / "backups", tmp_path / "media"
    (tmp_path / "media/photos").mkdir(parents=True)
    (tmp_path / "media/photos/a.jpg").write_bytes(bytes(range(256)) * 20)
    make_person("owner", username="owner")
    for _ in range(30):
        make_item()
    return backup_make(at=NOW)


def members(path: Path) -> dict[str, bytes]:
    """Return every row and file a backup holds: the same bytes are the same keys, instants and values."""
    with zipfile.ZipFile(path) as found:
        return {name: found.read(name) for name in found.namelist() if name != "manifest.json"}


def same_after(made: Path, folder: Path, database: str = "") -> None:
    came = manage(folder, "restore", str(made), database=database)
    assert came.returncode == 0, came.stderr
    again = manage(folder, "backup", database=database)
    assert again.returncode == 0, again.stderr
    [copy] = (folder / "backups").glob("*.zip")
    assert members(copy) == members(made)
    assert verify(copy).rows == verify(made).rows and verify(copy).rows["inventory_item"] == 30


def test_every_row_and_file_comes_back_into_sqlite(made, tmp_path):
    same_after(made, tmp_path / "there")
    refused = manage(tmp_path / "there", "restore", str(made))
    assert refused.returncode == 1 and "say --yes" in refused.stderr
    assert manage(tmp_path / "there", "restore", str(made), "--yes").returncode == 0


@pytest.mark.skipif("connection.vendor != 'postgresql'", reason="needs a PostgreSQL to move to")
def test_every_row_moves_to_postgresql_and_back(made, tmp_path):
    import psycopg

    given, name = connection.settings_dict, f"knowngood_moved_{os.getpid()}"
    at = f"postgres://{given['USER']}:{given['PASSWORD']}@{given['HOST']}:{given['PORT']}/".replace(":@", "@").replace(
        ":/", "/"
    )
    at = at.replace("postgres/", "postgres:/", 1)
    with psycopg.connect(at + "postgres", autocommit=True) as server:
        server.execute(f"CREATE DATABASE {name}")
        try:
            same_after(made, tmp_path / "grown", at + name)
            [grown] = (tmp_path / "grown/backups").glob("*.zip")
            same_after(grown, tmp_path / "small")
        finally:
            server.execute(f"DROP DATABASE {name} WITH (FORCE)")


def test_a_flipped_byte_in_any_part_is_refused(made, tmp_path):
    verify(made)
    with zipfile.ZipFile(made) as found:
        parts = [(i.filename, i.header_offset + 30 + len(i.filename.encode()) + 20) for i in found.infolist() if i.file_size]
        sizes = {i.filename: i.compress_size for i in found.infolist()}
    for name, start in parts:
        hurt = tmp_path / "knowngood-20260101-000000.zip"
        data = bytearray(made.read_bytes())
        data[start + sizes[name] // 2] ^= 0x55
        hurt.write_bytes(data)
        with pytest.raises(BackupError, match=r"damaged|another program|leave its folder"):
            verify(hurt)


def test_another_programs_file_is_refused(tmp_path):
    other = tmp_path / "other.zip"
    with zipfile.ZipFile(other, "w") as file:
        file.writestr("letter.txt", "hello")
    with pytest.raises(BackupError, match="another program"):
        verify(other)
    (tmp_path / "text").write_text("hello")
    with pytest.raises(BackupError, match="damaged, or no backup"):
        verify(tmp_path / "text")


def test_the_last_backup_is_read_from_the_folder(made):
    assert last_backup(NOW) == NOW and last_backup(NOW - timedelta(days=1)) is None
    shutil.copy(made, made.with_name("knowngood-20990101-000000.zip.part"))
    made.write_bytes(made.read_bytes()[:-40])
    assert last_backup(NOW) is None


def test_rotation_keeps_14_days_8_weeks_and_12_months():
    start = datetime(2026, 11, 28, 2, tzinfo=UTC)
    made = [start - timedelta(days=n) for n in range(500)]
    keep = kept(made)
    assert set(made[:14]) <= keep and made[14] not in keep
    assert len({at.isocalendar()[:2] for at in keep}) >= 8 and len({(at.year, at.month) for at in keep}) == 12
    assert len(keep) <= 14 + 8 + 12
