"""One settings file. Everything a shop may change comes from the environment (see config/env.py and README)."""

import os
import sys
import tempfile
from pathlib import Path
from urllib.parse import urlsplit

from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from company import logs
from company.lan import machine_names
from config import env

BASE_DIR = Path(__file__).resolve().parent.parent
VAR_DIR = Path(env.text("VAR_DIR") or BASE_DIR / "var").resolve()
TESTING = "pytest" in sys.modules

DEBUG = env.flag("DEBUG")
HOST = env.text("HOST", "127.0.0.1")
PORT = env.whole("PORT", 8765, 1, 65535)
TLS_PORT = env.whole("TLS_PORT", min(PORT + 1, 65535), 1, 65535)  # where `start --lan` serves phones' secure pages
WEB_WORKERS = env.whole("WEB_WORKERS", 1, 1, 64)
TLS_CERT, TLS_KEY = env.text("TLS_CERT"), env.text("TLS_KEY")
if bool(TLS_CERT) != bool(TLS_KEY):
    raise ImproperlyConfigured("TLS_CERT and TLS_KEY go together: set both, or neither.")
for _name, _path in (("TLS_CERT", TLS_CERT), ("TLS_KEY", TLS_KEY)):
    if _path and not Path(_path).is_file():
        raise ImproperlyConfigured(f"{_name} names no file: {_path}")
SITE_ADDRESS = env.text("SITE_ADDRESS").rstrip("/")
if SITE_ADDRESS and not SITE_ADDRESS.startswith(("http://", "https://")):
    raise ImproperlyConfigured("SITE_ADDRESS must start with http:// or https://.")

# what phones on the shop's network reach it at, plain and secure: `start --lan` tells the processes it starts
LAN_ADDRESS, LAN_SECURE_ADDRESS = env.text("LAN_ADDRESS").rstrip("/"), env.text("LAN_SECURE_ADDRESS").rstrip("/")
LAN_HOST = env.text("LAN_HOST")  # this machine's address in the shop, where `start --lan` guesses another
TLS_FOLDER = VAR_DIR / "tls"

SECRET_KEY = "only-for-tests" if TESTING else env.secret("SECRET_KEY", VAR_DIR / "secret_key")
ALLOWED_HOSTS = env.words("ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]")
if SITE_ADDRESS:
    ALLOWED_HOSTS.append(SITE_ADDRESS.split("://", 1)[1].split("/")[0].split(":")[0])
for _address in (LAN_ADDRESS, LAN_SECURE_ADDRESS):
    if _address:
        ALLOWED_HOSTS += [str(urlsplit(_address).hostname), *machine_names()]
CSRF_TRUSTED_ORIGINS = [SITE_ADDRESS] if SITE_ADDRESS else []
# Set it only when a reverse proxy of yours stands in front and writes these headers itself: anybody can send them.
BEHIND_PROXY = env.flag("BEHIND_PROXY")
if BEHIND_PROXY:
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

INSTALLED_APPS = [
    "shows",
    "maintenance",
    "inventory",
    "company",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.postgres",
    "django.forms",
    "django_tables2",
    "django_filters",
    "axes",
    "auditlog",
    "csp",
    "ninja",
]

MIDDLEWARE = [
    "company.requests.Told",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "shows.crew.CrewPassed",
    "company.middleware.SignInRequired",
    "company.middleware.NoNul",
    "auditlog.middleware.AuditlogMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "company.middleware.BusyDatabase",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "builtins": ["company.templatetags.tape"],
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "company.context.house",
            ],
        },
    }
]
FORM_RENDERER = "django.forms.renderers.TemplatesSetting"

DATABASES = {"default": env.database("DATABASE_URL", VAR_DIR / "knowngood.sqlite3")}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    # A file, never memory: in memory, locking behaves otherwise than in life.
    DATABASES["default"]["TEST"] = {"NAME": str(Path(tempfile.gettempdir()) / f"knowngood-test-{os.getpid()}.sqlite3")}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "company.Person"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 8}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
if TESTING:
    PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "start"
LOGOUT_REDIRECT_URL = "sign-in"
SESSION_COOKIE_AGE = 60 * 60 * 24 * 60  # a hand's phone stays signed in between weekends
SESSION_COOKIE_NAME = "knowngood"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SITE_ADDRESS.startswith("https://")
SESSION_ENGINE = "django.contrib.sessions.backends.db"  # one indexed read; several web processes agree with no cache to run
CACHES = {
    "default": {
        "BACKEND": "django.core.cache.backends.locmem.LocMemCache"
        if TESTING
        else "django.core.cache.backends.filebased.FileBasedCache",
        "LOCATION": "" if TESTING else VAR_DIR / "cache",
        "OPTIONS": {"MAX_ENTRIES": 2_000},
    }
}

# Wrong passwords lock this person from this address, so that nobody can lock a colleague out from afar.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_FAILURE_LIMIT = 6
AXES_COOLOFF_TIME = 0.25  # hours
AXES_RESET_ON_SUCCESS = True
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False  # the page names a time to try again: it must stay true
AXES_LOCKOUT_CALLABLE = "company.views.sign.locked"
AXES_CLIENT_IP_CALLABLE = "company.net.client_address"
AXES_VERBOSE = False

LANGUAGE_CODE = "en-gb"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"  # pages are drawn in the company's zone, which company.middleware activates

STATIC_URL = "/static/"
STATIC_ROOT = VAR_DIR / "static"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if TESTING or DEBUG
        else "config.static.StampedStatic"
    },
}
WHITENOISE_USE_FINDERS = True  # serves what was not gathered yet: a checkout works without a build step
WHITENOISE_AUTOREFRESH = DEBUG or TESTING  # else every test client would read all static files
if not TESTING:
    STATIC_ROOT.mkdir(parents=True, exist_ok=True)
MEDIA_ROOT = VAR_DIR / "media"
BACKUP_DIR = Path(env.text("BACKUP_DIR") or VAR_DIR / "backups")
EXPORT_DIR = VAR_DIR / "exports"
MEDIA_URL = ""  # photos are behind sign-in: inventory.views serves them

DATA_UPLOAD_MAX_MEMORY_SIZE = 4 * 1024 * 1024
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024

# Who may read /metrics/ besides this machine itself: whoever shows it as a bearer token.
METRICS_TOKEN = env.token("METRICS_TOKEN")

# Mail: without a host it is written into files, so that a shop sees what would have been sent.
SMTP = env.smtp()
MAIL_DIR = VAR_DIR / "mail"
EMAIL_BACKEND = f"{'django.core.mail.backends.smtp' if SMTP.host else 'company.mail_files'}.EmailBackend"
EMAIL_FILE_PATH = str(MAIL_DIR)
EMAIL_HOST, EMAIL_PORT, EMAIL_HOST_USER, EMAIL_HOST_PASSWORD = SMTP.host, SMTP.port, SMTP.user, SMTP.password
EMAIL_USE_TLS, EMAIL_USE_SSL = SMTP.security == "starttls", SMTP.security == "tls"
EMAIL_TIMEOUT = env.whole("SMTP_TIMEOUT", 15, 1, 120)  # a server that says nothing must not hold the worker
DEFAULT_FROM_EMAIL = SERVER_EMAIL = MAIL_FROM = env.mail_from("MAIL_FROM", SMTP.host)
# How long a sender may be silent before another goes on with its deliveries: above the longest single send.
DELIVERY_LEASE_S = env.whole("DELIVERY_LEASE_S", 90, 2, 3600)

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [
            SELF,
            "'wasm-unsafe-eval'",
        ],  # the codes' decoder is WebAssembly of our own; no text is ever run as script
        "style-src": [SELF],
        "img-src": [SELF, "data:", "blob:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "worker-src": [SELF],
        "media-src": [SELF, "blob:", "mediastream:"],
        "object-src": [NONE],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
# No forced TLS and no HSTS: on a shop's own network the phone's camera app opens a label's address over plain HTTP, and a
# browser that once learnt HSTS for that name could never go back. A reverse proxy may add both.
SILENCED_SYSTEM_CHECKS = ["security.W004", "security.W008"]

# A message is only a wake-up: the work is a row with a lease, and the tick takes what is left over.
BROKER_DIR = VAR_DIR / "broker"
CELERY_BROKER_URL = env.text("CELERY_BROKER_URL", "folder://here") or "folder://here"
if not CELERY_BROKER_URL.startswith(("folder://", "redis://", "rediss://")):
    raise ImproperlyConfigured("CELERY_BROKER_URL must start with redis:// or rediss://, or be left out.")
_JOB_LIMIT_S = 60 * 60
if CELERY_BROKER_URL.startswith("folder:"):
    CELERY_BROKER_TRANSPORT_OPTIONS = {"folder": str(BROKER_DIR), "polling_interval": 0.2}
    CELERY_WORKER_ENABLE_REMOTE_CONTROL = False
else:
    CELERY_BROKER_TRANSPORT_OPTIONS = {
        "visibility_timeout": 2 * _JOB_LIMIT_S,  # above the longest task, or it would be run twice at once
        "unacked_restore_throttle": 1,
        "socket_connect_timeout": 3,
        "socket_timeout": 10,
    }
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_CONNECTION_MAX_RETRIES = None  # a worker waits for its broker, however long
CELERY_TASK_PUBLISH_RETRY = False  # a page does not wait for a broker that is down
CELERY_TASK_ALWAYS_EAGER = CELERY_TASK_EAGER_PROPAGATES = TESTING
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_TASK_SOFT_TIME_LIMIT = _JOB_LIMIT_S - 60
CELERY_TASK_TIME_LIMIT = _JOB_LIMIT_S
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_CONCURRENCY = 1
CELERY_WORKER_MAX_TASKS_PER_CHILD = 200
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULER = "config.beat:Scheduler"
CELERY_BEAT_SCHEDULE = {
    # expires: a machine that slept wakes to one tick, not to a thousand
    "tick": {"task": "company.tasks.tick", "schedule": 30.0, "options": {"expires": 30}},
    # a laptop that is shut each evening is never on for a day
    "tidy": {"task": "company.tasks.tidy", "schedule": 60.0 * 60, "options": {"expires": 60 * 60}},
    "backup": {"task": "company.tasks.backup_due", "schedule": 60.0 * 20, "options": {"expires": 60 * 20}},
    "small pictures": {"task": "inventory.tasks.thumbnails_due", "schedule": 60.0 * 60, "options": {"expires": 60 * 60}},
    "alerts": {"task": "maintenance.tasks.alerts_due", "schedule": 60.0, "options": {"expires": 60}},
    "deliveries": {"task": "maintenance.tasks.deliveries_due", "schedule": 30.0, "options": {"expires": 30}},
    # asked often, done once a day: a laptop is on when it is on
    "test-by dates": {"task": "maintenance.tasks.dates_due", "schedule": 60.0 * 20, "options": {"expires": 60 * 20}},
    "cells": {"task": "maintenance.tasks.cells_due", "schedule": 60.0 * 20, "options": {"expires": 60 * 20}},
    "calendars": {"task": "shows.tasks.calendars_due", "schedule": 60.0 * 60, "options": {"expires": 60 * 60}},
}

DJANGO_TABLES2_TEMPLATE = "_table.html"
AUDITLOG_LOGENTRY_MODEL = "auditlog.LogEntry"
AUDITLOG_DISABLE_ON_RAW_SAVE = True
AUDITLOG_DISABLE_REMOTE_ADDR = True  # it would believe any X-Forwarded-For, and PostgreSQL refuses what is no address
AUDITLOG_CID_HEADER = None  # likewise a header of any length
AUDITLOG_USE_FK_STRING_REPRESENTATION = True

LOG_FORMAT = env.one_of("LOG_FORMAT", "line", ("line", "json"))
LOGGING = logs.configuration(form=LOG_FORMAT, level=env.one_of("LOG_LEVEL", "warning", logs.LEVELS).upper())
