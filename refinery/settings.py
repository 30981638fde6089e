"""Configuration. Every secret and every difference between machines comes from the environment.

CUSTODY_HOME         folder of the embedded database, documents, attachments and keys (default: var/ beside manage.py)
DATABASE_URL         the application's connection (role custody_app) to a server of your own
DATABASE_OWNER_URL   the same database as custody_owner, for `manage.py migrate` only: the application
                     server needs it not, and is safer without it
DJANGO_SECRET_KEY    signs sessions; made and kept in CUSTODY_HOME/keys when it is not given
CUSTODY_HOSTS        host names served, separated by commas (default: this machine only)
CUSTODY_PRODUCTION=1 HTTPS only, secure cookies, HSTS, hashed static files
CUSTODY_PROXY=1      a reverse proxy of yours ends TLS and sets X-Forwarded-Proto
CUSTODY_DEBUG=1      tracebacks in the browser; never in production
"""

import os
from datetime import timedelta
from pathlib import Path

from psycopg.conninfo import conninfo_to_dict

from refinery import embedded, keys, roles

BASE_DIR = Path(__file__).resolve().parent.parent
CUSTODY_HOME = Path(os.environ.get("CUSTODY_HOME") or BASE_DIR / "var").expanduser().resolve()
DOCUMENTS_FOLDER = CUSTODY_HOME / "documents"
ATTACHMENTS_FOLDER = CUSTODY_HOME / "attachments"
KEYS_FOLDER = CUSTODY_HOME / "keys"

PRODUCTION = os.environ.get("CUSTODY_PRODUCTION") == "1"
DEBUG = os.environ.get("CUSTODY_DEBUG") == "1" and not PRODUCTION
SECRET_KEY = os.environ.get("DJANGO_SECRET_KEY") or keys.kept_secret(KEYS_FOLDER / "django-secret-key")
ALLOWED_HOSTS = [host.strip() for host in os.environ.get("CUSTODY_HOSTS", "").split(",") if host.strip()] or [
    "127.0.0.1",
    "localhost",
    "[::1]",
]

INSTALLED_APPS = [
    "custody",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django_tables2",
    "csp",
    "axes",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "custody.api.problems.ProblemMiddleware",
    "custody.web.middleware.RequestSizeMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "custody.web.middleware.RefineryMiddleware",
    "custody.web.middleware.AddressMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "refinery.urls"
WSGI_APPLICATION = "refinery.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "custody.web.frame.frame",
            ],
        },
    },
]

# Database: `default` is the application, `owner` runs migrations. They are one database and two roles.


def _database(connection: dict) -> dict:
    names = {"NAME": "dbname", "USER": "user", "PASSWORD": "password", "HOST": "host", "PORT": "port"}
    return {
        "ENGINE": "django.db.backends.postgresql",
        **{name: connection.pop(key) for name, key in names.items() if key in connection},
        "OPTIONS": connection,
        "ATOMIC_REQUESTS": False,  # a deferred refusal would come after the view has answered
        "CONN_MAX_AGE": 60,
        "CONN_HEALTH_CHECKS": True,
    }


def _embedded_database(role: str) -> dict:
    where = {"host": str(embedded.socket_folder(CUSTODY_HOME)), "port": str(embedded.PORT)}
    return _database({"dbname": roles.DATABASE, "user": role, **where})


EMBEDDED_DATABASE = not os.environ.get("DATABASE_URL")
if EMBEDDED_DATABASE:
    DATABASES = {"default": _embedded_database(roles.APP), "owner": _embedded_database(roles.OWNER)}
else:
    DATABASES = {"default": _database(conninfo_to_dict(os.environ["DATABASE_URL"]))}
    if os.environ.get("DATABASE_OWNER_URL"):
        DATABASES["owner"] = _database(conninfo_to_dict(os.environ["DATABASE_OWNER_URL"]))
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# People

AUTH_USER_MODEL = "custody.User"
LOGIN_URL = "login"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
        "NumericPasswordValidator",
    )
]
AXES_FAILURE_LIMIT = 5
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_RESET_ON_SUCCESS = True
# Name and address together: a stranger elsewhere cannot lock the vault keeper out of the vault's book.
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_LOCKOUT_TEMPLATE = "registration/locked.html"
SESSION_COOKIE_AGE = 12 * 60 * 60  # one shift

# The browser

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'none'"],
        "script-src": ["'self'"],
        "style-src": ["'self'"],
        "img-src": ["'self'", "data:"],
        "font-src": ["'self'"],
        "connect-src": ["'self'"],
        "form-action": ["'self'"],
        "frame-ancestors": ["'none'"],
        "base-uri": ["'none'"],
    }
}
X_FRAME_OPTIONS = "DENY"
LARGEST_REQUEST = 64 * 1024 * 1024  # bytes: six attachments of the largest size
DATA_UPLOAD_MAX_NUMBER_FIELDS = 4000  # the longest receipt: sixty parcels with every field
DATA_UPLOAD_MAX_NUMBER_FILES = 30
if PRODUCTION:
    SECURE_SSL_REDIRECT = SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = True
    SECURE_HSTS_SECONDS = 365 * 24 * 60 * 60
    SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = True
if os.environ.get("CUSTODY_PROXY") == "1":
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

STATIC_URL = "static/"
STATIC_ROOT = CUSTODY_HOME / "static"
WHITENOISE_USE_FINDERS = WHITENOISE_AUTOREFRESH = not PRODUCTION
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if PRODUCTION
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}

# Time is UTC inside. The refinery's own time zone is data, so that its days mean the same on every machine.
LANGUAGE_CODE = "en"
USE_TZ = True
TIME_ZONE = "UTC"

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"plain": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "plain"}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {"custody": {"level": "INFO"}},
}
