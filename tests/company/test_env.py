"""Settings from the environment, and what the program says when one is malformed."""

import os
import re
import secrets
import subprocess
import sys
from pathlib import Path

import pytest

from config.env import database

ROOT = Path(__file__).resolve().parents[2]


def manage(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    clean = {k: v for k, v in os.environ.items() if k not in {"DATABASE_URL", "CELERY_BROKER_URL", "HOST", "PORT"}}
    return subprocess.run(
        [sys.executable, "-W", "error", "manage.py", *arguments],
        cwd=ROOT,
        env={**clean, **environment},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("PORT", "http", "not a whole number"),
        ("PORT", "70000", "between 1 and 65535"),
        ("DEBUG", "perhaps", "neither yes nor no"),
        ("DATABASE_URL", "mysql://x/y", "Use postgres:// or sqlite:///"),
        ("DATABASE_URL", "postgres://host", "names no database"),
        ("CELERY_BROKER_URL", "amqp://x", "must start with redis://"),
        ("SITE_ADDRESS", "gear.example.org", "must start with http"),
        ("TLS_CERT", "x.pem", "go together"),
        ("SMTP_HOST", "smtp://mail.example.org", "no name of a machine"),
        ("SMTP_HOST", "mail.example.org", "MAIL_FROM is missing"),
        ("SMTP_USER", "gear", "SMTP_HOST is not"),
        ("SMTP_SECURITY", "perhaps", "SMTP_SECURITY"),
        ("SMTP_TIMEOUT", "0", "between 1 and 120"),
        ("MAIL_FROM", "nobody", "no mail address"),
    ],
)
def test_malformed_setting_is_refused_with_its_name(tmp_path, name, value, said):
    done = manage("check", VAR_DIR=str(tmp_path), **{name: value})
    assert done.returncode != 0 and name in done.stderr and said in done.stderr


def test_checks_pass_with_warnings_as_errors_also_for_deployment(tmp_path):
    done = manage("check", VAR_DIR=str(tmp_path))
    assert done.returncode == 0, done.stderr
    secure = manage("check", "--deploy", VAR_DIR=str(tmp_path), SITE_ADDRESS="https://gear.example.org")
    assert secure.returncode == 0, secure.stderr
    assert "no issues" in secure.stdout


def test_the_environment_that_we_ship_for_a_server_deploys_without_a_warning(tmp_path):
    lines = (ROOT / "deploy" / "env.example").read_text().splitlines()
    # every setting that is offered, also those that wait behind a #, with what a shop would write in place of the CAPITALS
    told = dict(found.groups() for line in lines if (found := re.fullmatch(r"#?([A-Z_]+)=(.*)", line)))
    for name, made in {"SECRET_KEY": "k9" + secrets.token_urlsafe(48), "METRICS_TOKEN": secrets.token_hex(24)}.items():
        assert told[name] == "MAKE_ONE"
        told[name] = made
    told = {name: value.strip("'").replace("PASSWORD", "p4ss") for name, value in told.items()}
    assert {"DATABASE_URL", "CELERY_BROKER_URL", "SITE_ADDRESS", "BEHIND_PROXY", "SMTP_HOST", "METRICS_TOKEN"} <= set(told)
    done = manage("check", "--deploy", "--fail-level", "WARNING", **told | {"VAR_DIR": str(tmp_path)})
    assert done.returncode == 0 and "no issues" in done.stdout, done.stdout + done.stderr


def test_secret_is_made_once_and_is_its_owner_s_alone(tmp_path):
    for _ in range(2):
        manage("check", VAR_DIR=str(tmp_path))
    key = tmp_path / "secret_key"
    assert key.stat().st_mode & 0o777 == 0o600 and len(key.read_text()) > 50


def test_no_migration_is_missing(tmp_path):
    done = manage("makemigrations", "--check", "--dry-run", VAR_DIR=str(tmp_path))
    assert done.returncode == 0, done.stdout + done.stderr


def test_short_questions_are_not_compiled_and_a_shop_s_own_options_stay(monkeypatch, tmp_path):
    monkeypatch.setenv("SHOP_DATABASE", "postgres://a:b@127.0.0.1/c?sslmode=require&options=-c%20work_mem%3D8MB")
    assert database("SHOP_DATABASE", tmp_path / "x")["OPTIONS"] == {
        "sslmode": "require",
        "options": "-c jit=off -c work_mem=8MB",
    }
