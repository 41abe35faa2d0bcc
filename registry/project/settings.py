"""Every setting, once. Production runs the same file with other environment values (deploy/production.env.example)."""

from __future__ import annotations

import sys
from pathlib import Path

import environ

import registry.threads  # noqa: F401 - before NumPy is loaded

BASE_DIR = Path(__file__).resolve().parent.parent.parent
env = environ.FileAwareEnv()

DATA_DIR = Path(env.str("CLEANSTOP_DATA_DIR", default=str(BASE_DIR / "var")))
DATA_DIR.mkdir(parents=True, exist_ok=True)

TESTING = "pytest" in sys.modules

# ---- who may reach it ------------------------------------------------------------------------------
DEBUG = env.bool("DJANGO_DEBUG", default=False)


def _own_secret_key() -> str:
    """A key of this installation's own, made at first start and kept beside its data."""
    path = DATA_DIR / "secret-key"
    if not path.exists():
        from django.core.management.utils import get_random_secret_key

        path.touch(mode=0o600)
        path.write_text(get_random_secret_key() + get_random_secret_key())
    return path.read_text()


SECRET_KEY = env.str("DJANGO_SECRET_KEY", default="") or _own_secret_key()
ALLOWED_HOSTS = env.list("DJANGO_ALLOWED_HOSTS", default=["localhost", "127.0.0.1", "[::1]"])
PUBLIC_URL = env.str("CLEANSTOP_PUBLIC_URL", default="http://localhost:8000")
CSRF_TRUSTED_ORIGINS = env.list("DJANGO_CSRF_TRUSTED_ORIGINS", default=[])
HTTPS = env.bool("CLEANSTOP_HTTPS", default=PUBLIC_URL.startswith("https://"))
TRUSTED_PROXIES = env.int("CLEANSTOP_TRUSTED_PROXIES", default=0)

SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
SESSION_COOKIE_AGE = 60 * 60 * 24 * 60
SECURE_SSL_REDIRECT = HTTPS
SECURE_HSTS_SECONDS = 60 * 60 * 24 * 365 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = HTTPS
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if TRUSTED_PROXIES else None
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"

# ---- what it is made of ----------------------------------------------------------------------------
INSTALLED_APPS = [
    "registry.project",
    "registry.pages",
    "registry.publishing",
    "registry.moderation",
    "registry.wanted",
    "registry.watching",
    "registry.picks",
    "registry.bags",
    "registry.standings",
    "registry.reports",
    "registry.gear",
    "registry.accounts",
    "registry.ledger",
    "fixtures_demo",
    "api",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django.contrib.humanize",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "rest_framework",
    "knox",
    "django_filters",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "django_htmx",
    "django_tasks",
    "django_tasks_db",
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
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "registry.pages.acting_from.ActingFrom",
    "registry.pages.former_addresses.FormerAddresses",
    "registry.pages.look_ups.CountLookUps",
    "registry.pages.problems.ProblemPages",
]
CSRF_FAILURE_VIEW = "registry.pages.views.errors.form_expired"

ROOT_URLCONF = "registry.project.urls"
WSGI_APPLICATION = "registry.project.wsgi.application"
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
SILENCED_SYSTEM_CHECKS: list[str] = []

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "csp.context_processors.nonce",
                "registry.pages.context.site",
            ],
        },
    }
]

# ---- where data lives ------------------------------------------------------------------------------
DATABASES = {"default": env.db_url("DATABASE_URL", default=f"sqlite:///{DATA_DIR / 'registry.sqlite3'}")}
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):
    # Opening the file and reading its schema costs more than most questions put to it.
    DATABASES["default"]["CONN_MAX_AGE"] = None
    # Only this set lost no write and locked no writer in our trial: WAL, a long busy timeout and immediate
    # transactions, so that a reader who turns writer cannot find the lock taken.
    DATABASES["default"]["OPTIONS"] = {
        "timeout": 20,
        "transaction_mode": "IMMEDIATE",
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=NORMAL; PRAGMA foreign_keys=ON;",
    }
else:
    DATABASES["default"]["CONN_MAX_AGE"] = env.int("DJANGO_CONN_MAX_AGE", default=60)
    DATABASES["default"]["CONN_HEALTH_CHECKS"] = True

MEDIA_ROOT = DATA_DIR / "media"  # re-encoded pictures that anyone may see
MEDIA_URL = "/pictures/"
PRIVATE_ROOT = DATA_DIR / "private"  # arriving originals and what is kept for measuring again
RELEASES_ROOT = DATA_DIR / "releases"  # frozen editions of the open data, each in a folder of its own
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "private": {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": PRIVATE_ROOT, "base_url": None},
    },
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if TESTING or DEBUG
        else "whitenoise.storage.CompressedManifestStaticFilesStorage"
    },
}
WHITENOISE_AUTOREFRESH = TESTING or DEBUG  # files are looked up as they are asked for, not collected first
STATIC_URL = "/static/"
STATIC_ROOT = DATA_DIR / "static"
FILE_UPLOAD_TEMP_DIR = None
DATA_UPLOAD_MAX_NUMBER_FILES = 130
FRAMES_PER_REPORT = 120
# The largest file of each format, in MB (a 24-megapixel TIFF of 16 bit is 144 MB).
FRAME_LIMITS_MB = {
    kind: env.int(f"CLEANSTOP_LARGEST_{kind.upper()}_MB", default=megabytes)
    for kind, megabytes in {"jpeg": 60, "png": 120, "tiff": 300, "raw": 150, "heic": 60}.items()
}


def _cache(name: str, **options: int) -> dict:
    """One of the site's caches: on the server that CACHE_URL names, or else in files, in memory for tests."""
    if "CACHE_URL" in env.ENVIRON:
        return env.cache_url("CACHE_URL") | {"KEY_PREFIX": name}
    kind = "locmem.LocMemCache" if TESTING else "filebased.FileBasedCache"
    place = DATA_DIR / "cache" / name if name else DATA_DIR / "cache"
    return {"BACKEND": f"django.core.cache.backends.{kind}", "LOCATION": str(place), "OPTIONS": options}


CACHES = {"default": _cache(""), "pages": _cache("pages", MAX_ENTRIES=4000)}

# ---- tasks and the ledger's followers ------------------------------------------------------------
TASKS = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend", "QUEUES": []}}
LEDGER_FOLLOWERS = "registry.project.followers.FOLLOWERS"
LEDGER_SCHEDULE = "registry.project.followers.EVERY"

LOOK_UPS_WRITTEN_EVERY_SECONDS = 60

# ---- people --------------------------------------------------------------------------------------
AUTH_USER_MODEL = "accounts.Account"
AUTHENTICATION_BACKENDS = ["allauth.account.auth_backends.AuthenticationBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "/"
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_EMAIL_VERIFICATION = env.str("CLEANSTOP_EMAIL_VERIFICATION", default="optional")
ACCOUNT_ADAPTER = "registry.pages.adapters.AccountAdapter"
ACCOUNT_FORMS = {"signup": "registry.pages.forms.account.SignUpForm"}
ACCOUNT_CONFIRM_EMAIL_ON_GET = False
ACCOUNT_LOGOUT_ON_GET = False
ALLAUTH_TRUSTED_PROXY_COUNT = TRUSTED_PROXIES
EMAIL_BACKEND = env.str("DJANGO_EMAIL_BACKEND", default="django.core.mail.backends.console.EmailBackend")
DEFAULT_FROM_EMAIL = env.str("CLEANSTOP_FROM_EMAIL", default="Cleanstop <registry@localhost>")
# Letters that only reach the console can't be asked to be answered: where they are really sent, they are.
SUBMIT_NEEDS_CONFIRMED_EMAIL = env.bool(
    "CLEANSTOP_SUBMIT_NEEDS_CONFIRMED_EMAIL",
    default=EMAIL_BACKEND == "django.core.mail.backends.smtp.EmailBackend",
)
# Who decides on other people's reports signs in with a second factor, wherever the site is public (HTTPS). On one's
# own machine, as in the demo, a password does.
# Whether a new account's report without frames waits until an established contributor has confirmed it.
NEW_REPORTS_WAIT = env.bool("CLEANSTOP_NEW_REPORTS_WAIT", default=HTTPS)
MODERATORS_NEED_SECOND_FACTOR = env.bool("CLEANSTOP_MODERATORS_NEED_SECOND_FACTOR", default=HTTPS)
# Whether the public page of decisions names the moderators, or only says that it was one.
DECISIONS_NAME_MODERATORS = env.bool("CLEANSTOP_DECISIONS_NAME_MODERATORS", default=True)
# Which accounts act from one address is noted for 90 days, as a short code made with this key.
ADDRESS_HASH_KEY = env.str("CLEANSTOP_ADDRESS_HASH_KEY", default="") or SECRET_KEY
SERIAL_HASH_KEY = env.str("CLEANSTOP_SERIAL_HASH_KEY", default="") or SECRET_KEY

# ---- the API -------------------------------------------------------------------------------------
REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "api.tokens.RegistryTokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["api.scopes.ScopePermission"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PARSER_CLASSES": [
        "api.parsing.GuardedJSONParser",
        "rest_framework.parsers.MultiPartParser",
    ],
    "DEFAULT_THROTTLE_CLASSES": ["api.throttles.RequestThrottle"],
    "DEFAULT_VERSIONING_CLASS": "rest_framework.versioning.NamespaceVersioning",
    "DEFAULT_PAGINATION_CLASS": "api.paging.StablePagination",
    "DEFAULT_FILTER_BACKENDS": ["django_filters.rest_framework.DjangoFilterBackend"],
    "DEFAULT_SCHEMA_CLASS": "api.schema.ResourceSchema",
    "EXCEPTION_HANDLER": "api.problems.problem_response",
    "TEST_REQUEST_DEFAULT_FORMAT": "json",
}
KNOX_TOKEN_MODEL = "knox.AuthToken"  # the library reads it only as a setting
# Requests a minute by scope, for each account, or for each address where nobody signed in.
API_LIMITS = {
    "read": env.int("CLEANSTOP_API_READS", default=1200),
    "submit": env.int("CLEANSTOP_API_WRITES", default=300),
    "moderate": env.int("CLEANSTOP_API_DECISIONS", default=300),
}
REST_KNOX = {"TOKEN_TTL": None, "AUTO_REFRESH": False}
SPECTACULAR_SETTINGS = {
    "TITLE": "Cleanstop registry",
    "DESCRIPTION": "Which lens stays free of an infrared hotspot, at which apertures, and how sure that is.",
    "VERSION": "1",
    "OAS_VERSION": "3.1.1",
    "SERVE_INCLUDE_SCHEMA": False,
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "api.schema.describe_problems",
        "api.examples.show_examples",
        "api.schema.write_null_as_type",
    ],
    "ENUM_NAME_OVERRIDES": {
        "ReportState": "registry.reports.models.ReportState.choices",
        "ImageState": "registry.reports.models.ImageState.choices",
        "DecisionAct": "registry.moderation.models.Act.choices",
        "DecisionMade": "registry.moderation.rules.DECISIONS_TOLD",
        "VoicesDecided": "registry.moderation.rules.VOICES_TOLD",
        "FlagReason": "registry.moderation.models.FlagReason.choices",
        "SetAsideReason": "registry.moderation.rules.REASONS_TOLD",
        "FindingKind": "registry.reports.models.FindingKind.choices",
        "GearKind": "registry.gear.models.GearKind.choices",
        "BagLensState": "registry.bags.contents.STATES",
        "ClaimSays": "registry.reports.models.ClaimSays.choices",
        "SummarySays": "registry.reports.models.SummarySays.choices",
    },
    "SCHEMA_PATH_PREFIX": r"/api/v[0-9]",
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
}

# ---- what pages may load ---------------------------------------------------------------------------
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": ["'self'"],
        "script-src": ["'self'", "NONCE-PLACEHOLDER"],
        "style-src": ["'self'"],
        "img-src": ["'self'", "data:", "blob:"],
        "frame-ancestors": ["'none'"],
        "form-action": ["'self'"],
        "base-uri": ["'none'"],
        "object-src": ["'none'"],
    }
}
from csp.constants import NONCE  # noqa: E402

CONTENT_SECURITY_POLICY["DIRECTIVES"]["script-src"][1] = NONCE

# ---- words, time, logs ---------------------------------------------------------------------------
LANGUAGE_CODE = "en"
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = True

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"line": {"format": "{asctime} {levelname} {name}: {message}", "style": "{"}},
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "line"}},
    "root": {"handlers": ["stderr"], "level": env.str("CLEANSTOP_LOG_LEVEL", default="WARNING")},
}
