"""One settings file. Everything a shop may change comes from the environment (see config/env.py and README)."""

import os
import sys
import tempfile
from pathlib import Path

from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from config import env

BASE_DIR = Path(__file__).resolve().parent.parent
VAR_DIR = Path(env.text("VAR_DIR") or BASE_DIR / "var").resolve()
TESTING = "pytest" in sys.modules

DEBUG = env.flag("DEBUG")
HOST = env.text("HOST", "127.0.0.1")
PORT = env.whole("PORT", 8765, 1, 65535)
SITE_ADDRESS = env.text("SITE_ADDRESS").rstrip("/")
if SITE_ADDRESS and not SITE_ADDRESS.startswith(("http://", "https://")):
    raise ImproperlyConfigured("SITE_ADDRESS must start with http:// or https://.")

SECRET_KEY = "only-for-tests" if TESTING else env.secret("SECRET_KEY", VAR_DIR / "secret_key")
ALLOWED_HOSTS = env.words("ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]")
if SITE_ADDRESS:
    ALLOWED_HOSTS.append(SITE_ADDRESS.split("://", 1)[1].split("/")[0].split(":")[0])
CSRF_TRUSTED_ORIGINS = [SITE_ADDRESS] if SITE_ADDRESS else []

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
    "django_tables2",
    "django_filters",
    "axes",
    "auditlog",
    "csp",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "company.middleware.SignInRequired",
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
SESSION_ENGINE = "django.contrib.sessions.backends.cached_db" if not TESTING else "django.contrib.sessions.backends.db"

# Wrong passwords lock this person from this address, so that nobody can lock a colleague out from afar.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_FAILURE_LIMIT = 6
AXES_COOLOFF_TIME = 0.25  # hours
AXES_RESET_ON_SUCCESS = True
AXES_LOCKOUT_TEMPLATE = "company/locked.html"
AXES_VERBOSE = False

LANGUAGE_CODE = "en-gb"
USE_I18N = False
USE_TZ = True
TIME_ZONE = "UTC"  # pages are drawn in the company's zone, which company.middleware activates

STATIC_URL = "/static/"
STATIC_ROOT = VAR_DIR / "static"
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True
WHITENOISE_AUTOREFRESH = DEBUG
MEDIA_ROOT = VAR_DIR / "media"
MEDIA_URL = ""  # photos are behind sign-in: inventory.views serves them

DATA_UPLOAD_MAX_MEMORY_SIZE = 4 * 1024 * 1024
FILE_UPLOAD_MAX_MEMORY_SIZE = 2 * 1024 * 1024

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:", "blob:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "worker-src": [SELF, "blob:"],
        "object-src": [NONE],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"

CELERY_BROKER_URL = env.text("CELERY_BROKER_URL")

DJANGO_TABLES2_TEMPLATE = "_table.html"
AUDITLOG_LOGENTRY_MODEL = "auditlog.LogEntry"
AUDITLOG_DISABLE_ON_RAW_SAVE = True

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": env.text("LOG_LEVEL", "WARNING").upper()},
}
