"""Django's settings; what an operator may change comes from the environment (`config.env`)."""

from __future__ import annotations

import sys
import warnings
from typing import Any

from csp.constants import NONE, SELF

from airflow_jobs import embedded

from . import env as environment

ENV = environment.read()
BASE_DIR = environment.PROJECT_DIRECTORY

DEBUG = ENV.debug
SECRET_KEY = ENV.secret_key
ALLOWED_HOSTS = ENV.allowed_hosts
CSRF_TRUSTED_ORIGINS = ENV.trusted_origins
SITE_URL = ENV.site_url

INSTALLED_APPS = [
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "pgtrigger",
    "pghistory",
    "rest_framework",
    "django_filters",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "csp",
    "django_otp",
    "django_otp.plugins.otp_totp",
    "django_otp.plugins.otp_static",
    "airflow_jobs.apps.AirflowJobsConfig",
    "dashboards.apps.DashboardsConfig",
]

MIDDLEWARE = [
    "config.requests.RequestIdMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
]

ROOT_URLCONF = "config.urls"
WSGI_APPLICATION = "config.wsgi.application"

TEMPLATES: list[dict[str, Any]] = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
            ],
        },
    },
]


def _database() -> dict[str, Any]:
    """Point at the operator's server, or at the embedded one (which nobody starts here)."""
    if ENV.database is not None:
        return {
            "NAME": ENV.database.name,
            "USER": ENV.database.user,
            "PASSWORD": ENV.database.password,
            "HOST": ENV.database.host,
            "PORT": ENV.database.port,
            "OPTIONS": dict(ENV.database.options),
        }
    server = embedded.locate(ENV.postgres_directory)
    return {
        "NAME": server.database,
        "USER": server.user,
        "HOST": str(server.socket_directory),
        "PORT": str(server.port),
        # Ten years of a large company are counted in memory, not in files; small ones need none
        # of it.
        "OPTIONS": {"options": "-c work_mem=32MB"},
    }


DATABASES: dict[str, Any] = {
    "default": {
        "ENGINE": "django.db.backends.postgresql",
        "CONN_MAX_AGE": 60,
        # A restarted database costs a reconnect, not an error.
        "CONN_HEALTH_CHECKS": True,
        "ATOMIC_REQUESTS": False,
        **_database(),
    }
}

CACHES: dict[str, Any] = {
    "default": (
        {
            "BACKEND": "django.core.cache.backends.redis.RedisCache",
            "LOCATION": ENV.cache_url,
        }
        if ENV.cache_url
        else {
            "BACKEND": "django.core.cache.backends.filebased.FileBasedCache",
            "LOCATION": str(ENV.data_directory / "cache"),
        }
    )
}

AUTH_USER_MODEL = "airflow_jobs.Person"
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in (
        "UserAttributeSimilarityValidator",
        "MinimumLengthValidator",
        "CommonPasswordValidator",
        "NumericPasswordValidator",
    )
]
# What an authenticator app calls the entry; no page shows a secret that is in use.
OTP_TOTP_ISSUER = "Duct Flow Record"
OTP_ADMIN_HIDE_SENSITIVE_DATA = True
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "fleet"
LOGOUT_REDIRECT_URL = "sign-in"

LANGUAGE_CODE = "en"
TIME_ZONE = "UTC"
USE_I18N = False
USE_TZ = True

STATIC_URL = "static/"
STATIC_ROOT = BASE_DIR / "staticfiles"
STATICFILES_FINDERS = [
    "django.contrib.staticfiles.finders.AppDirectoriesFinder",
    "dashboards.finders.PlotlyFinder",
]
# Once collected, static files have names that follow from their content and are compressed.
# Before (a development copy) they are served from where they lie.
COLLECTED = (STATIC_ROOT / "staticfiles.json").exists()
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": (
            "whitenoise.storage.CompressedManifestStaticFilesStorage"
            if COLLECTED or "collectstatic" in sys.argv
            else "django.contrib.staticfiles.storage.StaticFilesStorage"
        )
    },
}
WHITENOISE_USE_FINDERS = not COLLECTED
if not COLLECTED:
    warnings.filterwarnings("ignore", "No directory at", UserWarning, "django.core.handlers.base")

SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = ENV.is_secure
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if ENV.is_secure else None
SECURE_HSTS_SECONDS = 31_536_000 if ENV.is_secure else 0
X_FRAME_OPTIONS = "DENY"
# A batch of 1,000 traverses is some 3 MB; over 12 MB is refused.
DATA_UPLOAD_MAX_MEMORY_SIZE = 12 * 1024 * 1024

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF, "data:"],
        "font-src": [SELF],
        "connect-src": [SELF],
        "object-src": [NONE],
        "base-uri": [SELF],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    },
}

REST_FRAMEWORK: dict[str, Any] = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["airflow_jobs.api.authentication.TokenAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["airflow_jobs.api.permissions.MayUseTheApi"],
    "DEFAULT_PARSER_CLASSES": ["airflow_jobs.api.parsers.StrictJSONParser"],
    "DEFAULT_RENDERER_CLASSES": ["airflow_jobs.api.renderers.PlainJSONRenderer"],
    "DEFAULT_PAGINATION_CLASS": "airflow_jobs.api.pagination.TimeCursorPagination",
    "DEFAULT_THROTTLE_CLASSES": ["airflow_jobs.api.throttling.TokenBucketThrottle"],
    "DEFAULT_SCHEMA_CLASS": "airflow_jobs.api.openapi.RecordSchema",
    "EXCEPTION_HANDLER": "airflow_jobs.api.problems.problem_response",
    "COERCE_DECIMAL_TO_STRING": False,
    "UNAUTHENTICATED_USER": None,
}

SPECTACULAR_SETTINGS: dict[str, Any] = {
    "TITLE": "Duct Flow Record",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "SERVE_INCLUDE_SCHEMA": False,
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "COMPONENT_SPLIT_REQUEST": True,
    "ENUM_GENERATE_CHOICE_DESCRIPTION": False,
    # Choices stand where they are used; the rest of the document is completed by the API.
    "POSTPROCESSING_HOOKS": ["airflow_jobs.api.openapi.complete"],
}

CELERY_BROKER_URL = ENV.broker_url or "filesystem://localhost"
CELERY_BROKER_TRANSPORT_OPTIONS: dict[str, Any] = (
    {"socket_connect_timeout": 2, "socket_timeout": 5}
    if ENV.broker_url
    else {
        # In and out are one folder: what one process puts in, another takes out.
        "data_folder_in": str(ENV.broker_directory / "messages"),
        "data_folder_out": str(ENV.broker_directory / "messages"),
        "control_folder": str(ENV.broker_directory / "control"),
        "polling_interval": 0.1,
    }
)
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_TASK_IGNORE_RESULT = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_WORKER_SEND_TASK_EVENTS = False
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULE_FILENAME = str(ENV.data_directory / "beat-schedule")
CELERY_BEAT_SCHEDULE: dict[str, Any] = {
    # Messages of a time when no worker ran must not pile up, hence the expiry.
    "compute what is pending": {
        "task": "airflow_jobs.tasks.compute_pending",
        "schedule": 3.0,
        "options": {"expires": 3.0},
    },
    "find what was missed": {
        "task": "airflow_jobs.tasks.sweep",
        "schedule": 15.0,
        "options": {"expires": 15.0},
    },
    "find what was ever missed": {
        "task": "airflow_jobs.tasks.sweep_all",
        "schedule": 3600.0,
        "options": {"expires": 600.0},
    },
    "work out how systems stand": {
        "task": "dashboards.tasks.renew",
        "schedule": 5.0,
        "options": {"expires": 5.0},
    },
    "send the weekly digest": {
        "task": "airflow_jobs.office.tasks.send_digests",
        "schedule": 900.0,
        "options": {"expires": 600.0},
    },
}

MAIL_IS_SET = ENV.mail is not None
# A mail server that does not answer must not hold up the worker.
EMAIL_TIMEOUT = 20

if ENV.mail is None:
    EMAIL_BACKEND = "django.core.mail.backends.console.EmailBackend"
else:
    EMAIL_HOST = ENV.mail.host
    EMAIL_PORT = ENV.mail.port
    EMAIL_HOST_USER = ENV.mail.user
    EMAIL_HOST_PASSWORD = ENV.mail.password
    EMAIL_USE_TLS = ENV.mail.uses_starttls
    EMAIL_USE_SSL = ENV.mail.uses_tls
DEFAULT_FROM_EMAIL = ENV.mail_from

LOGGING: dict[str, Any] = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"request": {"()": "config.requests.RequestIdFilter"}},
    "formatters": {
        "line": {
            "format": "{asctime} {levelname} {name} [{request_id}] {message}",
            "style": "{",
        }
    },
    "handlers": {
        "stderr": {
            "class": "logging.StreamHandler",
            "formatter": "line",
            "filters": ["request"],
        }
    },
    "root": {"handlers": ["stderr"], "level": "INFO"},
}
