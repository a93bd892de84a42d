"""All settings, read from top to bottom. Nothing lives only in production: the environment alone makes the difference."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

from csp.constants import NONE, SELF

from groundloop import env
from groundloop.secret import embedded_secret

# Our matrices are small: several threads would only wait for each other. Must stand before numpy is first imported.
env.put_default("OPENBLAS_NUM_THREADS", "1")

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = Path(env.text("GROUNDLOOP_DATA", str(BASE_DIR / ".groundloop")))

# The embedded default (one process, SQLite, broker in memory) is what runs when neither address is given.
DATABASE_URL = env.text("DATABASE_URL", "")
REDIS_URL = env.text("REDIS_URL", "")
EMBEDDED = not REDIS_URL

SITE_URL = env.text("SITE_URL", "http://localhost:8000").rstrip("/")
HTTPS = SITE_URL.startswith("https://")
SITE_HOST = urlsplit(SITE_URL).hostname or "localhost"
DEBUG = env.flag("GROUNDLOOP_DEBUG")
SECRET_KEY = env.text("SECRET_KEY", "") or embedded_secret(DATA_DIR, allowed=EMBEDDED)
ALLOWED_HOSTS = env.words("ALLOWED_HOSTS", SITE_HOST if HTTPS else f"{SITE_HOST},localhost,127.0.0.1,[::1]")
CSRF_TRUSTED_ORIGINS = [SITE_URL]

ROOMS = [
    "firms", "work", "accounts", "files", "sums", "planning", "ground", "visits", "sheets", "reminders", "office", "field",
]  # fmt: skip
INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "rest_framework",
    "drf_spectacular",
    "csp",
    "groundloop.apps.ProjectConfig",
    *[f"jobs.{room}" for room in ROOMS],
    # After the rooms, so that our own sign-in pages come first.
    "allauth",
    "allauth.account",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
]
ROOT_URLCONF = "groundloop.urls"
WSGI_APPLICATION = "groundloop.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "groundloop" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "groundloop.context.page",
            ]
        },
    }
]


def _database() -> dict[str, Any]:
    if not DATABASE_URL:
        return {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": DATA_DIR / "groundloop.sqlite3",
            "OPTIONS": {
                "timeout": 20,
                "transaction_mode": "IMMEDIATE",
                # REPLACE fires the ledger's DELETE trigger only with recursive_triggers.
                "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA recursive_triggers=ON;",
            },
            "TEST": {"NAME": env.text("GROUNDLOOP_TEST_DB", "") or None},
        }
    url = urlsplit(DATABASE_URL)
    return {
        "ENGINE": "django.db.backends.postgresql",
        "NAME": url.path.lstrip("/"),
        "USER": unquote(url.username or ""),
        "PASSWORD": env.text("DATABASE_PASSWORD", "") or unquote(url.password or ""),
        "HOST": url.hostname or "",
        "PORT": str(url.port or ""),
        "CONN_HEALTH_CHECKS": True,
        "OPTIONS": {"pool": {"min_size": 1, "max_size": 8, "timeout": 10}},
    }


DATABASES = {"default": _database()}
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
AUTH_USER_MODEL = "firms.User"

CACHES = {
    "default": {
        "BACKEND": "groundloop.cache.PatientCache",
        "LOCATION": REDIS_URL,
        "OPTIONS": {"socket_timeout": 0.5, "socket_connect_timeout": 0.5},
    }
    if REDIS_URL
    else {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}
}

LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = True

STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
STATICFILES_DIRS = [BASE_DIR / "groundloop" / "static"]
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {"BACKEND": "groundloop.statics.Storage"},
}
WHITENOISE_KEEP_ONLY_HASHED_FILES = True
MEDIA_ROOT = DATA_DIR / "media"
# One piece of a resumable upload is 64 kB, one batch of entries 200 kB; a single odd entry may have 1 MB.
DATA_UPLOAD_MAX_MEMORY_SIZE = 1_500_000

SESSION_COOKIE_AGE = 30 * 24 * 3600
SESSION_SAVE_EVERY_REQUEST = False
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
SESSION_COOKIE_NAME = "__Host-groundloop" if HTTPS else "groundloop"
CSRF_COOKIE_NAME = "__Host-csrf" if HTTPS else "csrf"
SECURE_SSL_REDIRECT = HTTPS
SECURE_REDIRECT_EXEMPT = [r"^healthz$", r"^readyz$"]
SECURE_HSTS_SECONDS = 365 * 24 * 3600 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = HTTPS
SECURE_REFERRER_POLICY = "same-origin"
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if env.flag("BEHIND_PROXY") else None
X_FRAME_OPTIONS = "DENY"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "blob:"],
        "connect-src": [SELF],
        "font-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "object-src": [NONE],
        "frame-ancestors": [NONE],
    }
}

AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("email", "name")},
    },
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "/"
ACCOUNT_ADAPTER = "jobs.accounts.adapter.AccountAdapter"
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*", "password2*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_EMAIL_VERIFICATION = "none"
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
ACCOUNT_LOGOUT_REDIRECT_URL = "account_login"
ACCOUNT_SESSION_REMEMBER = True
ACCOUNT_PREVENT_ENUMERATION = True
# Without it every phone behind the proxy has the proxy's address, and one attacker locks out all.
ALLAUTH_TRUSTED_PROXY_COUNT = 1 if env.flag("BEHIND_PROXY") else 0

EMAIL_BACKEND = "django.core.mail.backends." + (
    "smtp.EmailBackend" if env.text("EMAIL_HOST", "") else "filebased.EmailBackend"
)
EMAIL_FILE_PATH = DATA_DIR / "mail"
EMAIL_HOST = env.text("EMAIL_HOST", "localhost")
EMAIL_PORT = env.number("EMAIL_PORT", 25)
EMAIL_HOST_USER = env.text("EMAIL_HOST_USER", "")
EMAIL_HOST_PASSWORD = env.text("EMAIL_HOST_PASSWORD", "")
EMAIL_USE_TLS = env.flag("EMAIL_USE_TLS")
EMAIL_TIMEOUT = 15
DEFAULT_FROM_EMAIL = env.text("DEFAULT_FROM_EMAIL", f"groundloop@{SITE_HOST}")

# Celery only nudges and ticks: the truth about what is to be made lies in work rows.
CELERY_BROKER_URL = REDIS_URL or "memory://localhost/"
CELERY_BROKER_TRANSPORT_OPTIONS = {"socket_timeout": 2, "socket_connect_timeout": 2} if REDIS_URL else {}
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_SERIALIZER = "json"
CELERY_ACCEPT_CONTENT = ["json"]
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA_DIR / "beat")
WORK_SWEEP_SECONDS = env.number("WORK_SWEEP_SECONDS", 15)
PDF_SECONDS = env.number("PDF_SECONDS", 60)

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["rest_framework.authentication.SessionAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": ["rest_framework.parsers.JSONParser"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "groundloop",
    "VERSION": "1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["rest_framework.permissions.IsAuthenticated"],
}

# The fronts' clock: an ISO time file that demo and tests may move. Anything else refuses to start with it.
CLOCK_FILE = env.text("GROUNDLOOP_CLOCK_FILE", "")
DEMO = env.flag("GROUNDLOOP_DEMO")

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name} {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["console"], "level": env.text("LOG_LEVEL", "WARNING")},
}
