"""Whatever befalls a backup, an export or a restore: one sentence, no half file offered, and the record whole."""

import json
import os
import random
import shutil
import sqlite3
import subprocess
import sys
import tarfile
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import connection

from company.backup_file import BackupError, verify
from tests.builders import make_item

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif("connection.vendor != 'sqlite'", reason="cuts off a program on SQLite: the restore's own swap of files"),
]
PHOTO = os.urandom(1_500_000)
pick = random.Random(20260925)


class Program:
    """The process that works in children (backup_child.py)."""

    def __init__(self) -> None:
        env = {k: v for k, v in os.environ.items() if k not in {"DATABASE_URL", "BACKUP_DIR"}}
        self.process = subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("backup_child.py"))],
            cwd=settings.BASE_DIR,
            env={**env, "PYTHONPATH": str(settings.BASE_DIR), "DJANGO_SETTINGS_MODULE": "config.settings"},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def __call__(self, do: str, folder: Path, **more: Any) -> dict[str, Any]:
        self.process.stdin.write(json.dumps({"do": do, "folder": str(folder), **more}) + "\n")
        self.process.stdin.flush()
        return json.loads(self.process.stdout.readline())


@pytest.fixture(scope="module")
def program(tmp_path_factory) -> Iterator[Program]:
    before = os.environ.get("VAR_DIR")
    os.environ["VAR_DIR"] = str(tmp_path_factory.mktemp("program"))
    try:
        found = Program()
    finally:
        os.environ.pop("VAR_DIR")
        if before is not None:
            os.environ["VAR_DIR"] = before
    yield found
    with found.process:  # closes its pipes too
        found.process.stdin.close()
        found.process.wait(timeout=20)


@pytest.fixture
def shop(company, tmp_path) -> Path:
    """A shop in a folder of its own: a copy of the test's database, with thirty items and three photos."""
    for _ in range(30):
        make_item()
    folder = tmp_path / "shop"
    (folder / "media/photos").mkdir(parents=True)
    (folder / "media/photos/a.jpg").write_bytes(PHOTO)
    (folder / "media/photos/b.jpg").write_bytes(PHOTO[::-1])
    (folder / "media/photos/c.jpg").write_bytes(os.urandom(1_500_000))
    with connection.cursor() as cursor:
        cursor.execute("VACUUM INTO %s", [str(folder / "db.sqlite3")])
    raw(folder, "PRAGMA journal_mode=WAL")
    return folder


def raw(folder: Path, statement: str) -> list:
    database = sqlite3.connect(folder / "db.sqlite3")
    try:
        found = database.execute(statement).fetchall()
        database.commit()
        return found
    finally:
        database.close()


def record(folder: Path) -> tuple[list, list, dict[str, bytes]]:
    """Return the rows that tell one record from another, after asking that they hold together, and the photos."""
    assert raw(folder, "PRAGMA integrity_check") == [("ok",)] and raw(folder, "PRAGMA foreign_key_check") == []
    items = raw(folder, "SELECT id, code, name FROM inventory_item ORDER BY id")
    labels = raw(folder, "SELECT * FROM inventory_label ORDER BY code")
    return items, labels, {p.name: p.read_bytes() for p in sorted((folder / "media").rglob("*.jpg"))}


def offered(folder: Path, kind: str = "backups") -> list[Path]:
    return sorted(p for p in (folder / kind).glob("*") if p.suffix == ".zip")


def half(folder: Path, kind: str) -> list[str]:
    return [p.name for p in (folder / kind).glob("*") if ".part" in p.name]


@pytest.fixture
def backup(program, shop) -> Path:
    """A good backup, kept beside the shop; then the shop goes on: its items are renamed and a photo is another."""
    answer = program("backup", shop)
    assert answer["ended"] == 0, answer
    kept = shop.parent / "kept.zip"
    Path(answer["said"]).rename(kept)
    raw(shop, "UPDATE inventory_item SET name = 'since'")
    (shop / "media/photos/a.jpg").write_bytes(b"another")
    return kept


@pytest.mark.parametrize("more", [-500_000, 4096], ids=["while the record is copied", "while the file is written"])
def test_a_full_disk_leaves_no_half_backup_or_export_and_is_said_once(program, shop, more):
    before, limit = record(shop), (shop / "db.sqlite3").stat().st_size + more
    for do, kind in (("backup", "backups"), ("export", "exports")):
        answer = program(do, shop, limit=limit)
        assert answer["ended"] == 2, answer
        assert answer["said"] == (
            f"The disk is full: nothing was kept in {shop / kind}. Make room there, or name another folder with --to."
        )
        assert offered(shop, kind) == [] and half(shop, kind) == []
    assert record(shop) == before


@pytest.mark.parametrize("limit", [100_000, len(PHOTO) + 1], ids=["media", "rows"])
def test_a_full_disk_while_restoring_leaves_the_record_as_it_was(program, shop, backup, limit):
    before = record(shop)
    answer = program("restore", shop, file=str(backup), limit=limit)
    assert answer["ended"] == 2 and "The disk is full" in answer["said"], answer
    assert answer["said"].endswith("The record is as it was.")
    assert record(shop) == before and program("start", shop)["ended"] == 0
    assert not list(shop.glob("*restoring*")) and not (shop / "restore.json").exists()


def test_a_writer_that_holds_the_database_stops_no_backup_and_no_export_but_a_restore(program, shop, backup):
    before = record(shop)
    other = sqlite3.connect(shop / "db.sqlite3", isolation_level=None)
    try:
        other.execute("BEGIN IMMEDIATE")
        other.execute("UPDATE inventory_item SET notes = 'not committed'")
        for do in ("backup", "export"):
            answer = program(do, shop)
            assert answer["ended"] == 0, answer
        answer = program("restore", shop, file=str(backup))
        assert answer["ended"] == 2 and "Another program has the database open. Stop it first" in answer["said"], answer
        other.execute("COMMIT")
    finally:
        other.close()
    assert record(shop) == before and raw(shop, "SELECT DISTINCT notes FROM inventory_item") == [("not committed",)]


def test_a_backup_cut_off_at_any_moment_is_never_offered(program, shop):
    whole = program("backup", shop)
    assert whole["ended"] == 0
    [good] = offered(shop)
    before = record(shop)
    for number in range(8):
        shutil.rmtree(shop / "exports", ignore_errors=True)
        do = "backup" if number % 2 == 0 else "export"
        program(do, shop, kill_after=pick.uniform(0, whole["took"]))
        for file in offered(shop):
            verify(file)  # a file that has its name is whole
        for file in offered(shop, "exports"):
            assert zipfile.ZipFile(file).testzip() is None and "SHA256SUMS" in zipfile.ZipFile(file).namelist()
        assert good in offered(shop) and record(shop) == before
    time.sleep(1)  # the last one may have had its name when it was cut off: a backup is named by its second, and takes nobody's
    answer = program("backup", shop)
    assert answer["ended"] == 0 and half(shop, "backups") == [], answer


def test_a_restore_cut_off_at_any_moment_is_done_or_was_never_begun(program, shop, backup, tmp_path):
    before, then = record(shop), tmp_path / "then"
    shutil.copytree(shop, then)
    whole = program("restore", then, file=str(backup))
    assert whole["ended"] == 0, whole
    after = record(then)
    assert after != before and after[2]["a.jpg"] == PHOTO
    for _ in range(2):
        here = tmp_path / "here"
        shutil.copytree(shop, here)
        program("restore", here, file=str(backup), kill_after=pick.uniform(0, whole["took"]))
        settle_and_compare(program, here, before, after)
        shutil.rmtree(here)


def test_a_restore_cut_off_at_each_step_of_its_swap_is_finished_on_asking(program, shop, backup, tmp_path):
    """The journal is on the disk and nothing is swapped yet: from there every step is cut off once."""
    before = record(shop)
    program("restore", shop, file=str(backup), kill_at=0)
    assert (shop / "restore.json").exists()
    seen = 0
    for step in range(1, 40):
        here = tmp_path / "here"
        shutil.copytree(shop, here)
        ended = program("finish", here, kill_at=step)["ended"]
        after = settle_and_compare(program, here, before, None)
        assert after[2]["a.jpg"] == PHOTO and after[0] != before[0], f"step {step}"
        shutil.rmtree(here)
        seen += 1
        if ended == 0:
            break
    assert seen > 4 and ended == 0, "the swap has no steps to be cut off at"


def settle_and_compare(program: Program, here: Path, before: tuple, after: tuple | None) -> tuple:
    """What a person finds after a cut: the program refuses to start and says what to do, or all is as it was."""
    if (here / "restore.json").exists():
        refused = program("start", here)
        assert refused["ended"] == 2 and "Run manage.py restore --finish" in refused["said"]
        assert program("finish", here)["said"] == "True"
        assert after is None or record(here) == after
    elif after is not None:
        assert record(here) in (before, after)
        assert program("finish", here)["said"] == "False" and not list(here.glob("*restoring*"))
    assert program("start", here)["ended"] == 0
    return record(here)


def test_a_damaged_database_can_be_restored_over(program, shop, backup):
    with (shop / "db.sqlite3").open("r+b") as file:
        file.write(b"\x00" * 8192)
    refused = program("backup", shop)
    assert refused["ended"] == 2 and "The database is damaged" in refused["said"] and offered(shop) == []
    assert program("restore", shop, file=str(backup))["ended"] == 0
    assert record(shop)[2]["a.jpg"] == PHOTO and (shop / "db.sqlite3.before-restore").read_bytes()[:8192] == b"\x00" * 8192


def test_files_that_are_no_good_backup_change_nothing_and_say_one_sentence(program, shop, backup, tmp_path):
    before = record(shop)
    whole = backup.read_bytes()
    flipped = bytearray(whole)
    with zipfile.ZipFile(backup) as found:
        photo = found.getinfo("media/photos/b.jpg")
        flipped[photo.header_offset + 100_000] ^= 1
    for name, file, said in (
        ("flipped", bytes(flipped), "damaged at media/photos/b.jpg"),
        ("cut short", whole[: len(whole) * 2 // 3], "damaged, or no backup"),
        ("empty", b"", "damaged, or no backup"),
        ("tar", tar(tmp_path), "damaged, or no backup"),
        ("foreign", foreign(tmp_path), "another program"),
        ("upwards", out_of_its_folder(backup, tmp_path), "would leave its folder"),
    ):
        given = tmp_path / f"{name}.zip"
        given.write_bytes(file)
        with pytest.raises(BackupError, match=said):
            verify(given)
        answer = program("restore", shop, file=str(given))
        assert answer["ended"] == 2 and said in answer["said"] and "Nothing was changed." in answer["said"], answer
        assert "\n" not in answer["said"] and record(shop) == before
    assert not (tmp_path / "escaped").exists() and not list(shop.glob("*restoring*"))


def tar(folder: Path) -> bytes:
    with tarfile.open(folder / "t.tar", "w") as file:
        file.add(Path(__file__), "letter.txt")
    return (folder / "t.tar").read_bytes()


def foreign(folder: Path) -> bytes:
    with zipfile.ZipFile(folder / "f.zip", "w") as file:
        file.writestr("manifest.json", json.dumps({"program": "other"}))
    return (folder / "f.zip").read_bytes()


def out_of_its_folder(backup: Path, folder: Path) -> bytes:
    """Make a backup anew, sums and all, with a part that would be written beside the folder."""
    import hashlib

    path, evil = folder / "e.zip", "media/../../escaped"
    with zipfile.ZipFile(backup) as old, zipfile.ZipFile(path, "w") as new:
        told = json.loads(old.read("manifest.json"))
        for name in told["members"]:
            new.writestr(name, old.read(name))
        new.writestr(evil, b"gone")
        told["members"][evil] = hashlib.sha256(b"gone").hexdigest()
        said = json.dumps(told).encode()
        new.writestr("manifest.json", said)
        new.comment = b"knowngood backup 1 " + hashlib.sha256(said).hexdigest().encode()
    return path.read_bytes()
