"""Settings, from the environment (see DEVELOPERS.md, "Settings"). The defaults serve one machine, on loopback."""

import os
from pathlib import Path

import dj_database_url

ROOT = Path(__file__).resolve().parents[2]
VAR = Path(os.environ.get("LABRESULTS_VAR", ROOT / "var"))


def _flag(name: str, default: bool) -> bool:
    return os.environ.get(name, "1" if default else "0").lower() in {"1", "true", "yes", "on"}


DEBUG = _flag("LABRESULTS_DEBUG", False)
SECRET_KEY = os.environ.get("LABRESULTS_SECRET_KEY", "")
if not SECRET_KEY:
    # Good for the demonstration and the tests on loopback; `check --deploy` refuses it (labresults.checks).
    SECRET_KEY = "not-secret-loopback-only-" + "0" * 40
ALLOWED_HOSTS = os.environ.get("LABRESULTS_HOSTS", "localhost,127.0.0.1,[::1]").split(",")
CSRF_TRUSTED_ORIGINS = [origin for origin in os.environ.get("LABRESULTS_ORIGINS", "").split(",") if origin]

INSTALLED_APPS = [
    "labresults.apps.LabresultsConfig",
    "reports.apps.ReportsConfig",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django_tables2",
    "django_filters",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "labresults.web.sessions.SessionsEnd",
    "labresults.web.middleware.GivenPasswordFirst",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "labresults.web.middleware.ContentSecurityPolicy",
    "labresults.web.middleware.SiteTimeZone",
]

ROOT_URLCONF = "labresults.config.urls"
WSGI_APPLICATION = "labresults.config.wsgi.application"
TEST_RUNNER = "tests.runner.PytestRunner"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "labresults.web.context.ribbon",
            ],
            "builtins": ["labresults.templatetags.quantities"],
        },
    }
]

DATABASES = {
    "default": dj_database_url.config(
        env="DATABASE_URL",
        default=f"sqlite:///{VAR / 'labresults.sqlite3'}",
        conn_max_age=600,
        conn_health_checks=True,
    )
}
if DATABASES["default"]["ENGINE"] == "django.db.backends.sqlite3":
    VAR.mkdir(parents=True, exist_ok=True)
    DATABASES["default"]["OPTIONS"] = {
        # An act takes the write lock as it begins, and waits for it: no act fails half-way because another one writes.
        "transaction_mode": "IMMEDIATE",
        "timeout": 20,
        "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON;",
    }
    # A file, since an in-memory database cannot be shared with a live server's threads.
    DATABASES["default"]["TEST"] = {"NAME": str(VAR / "test.sqlite3")}

DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
AUTH_USER_MODEL = "labresults.Person"
AUTHENTICATION_BACKENDS = ["labresults.web.who.WithRoles"]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator"},
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "today"
LOGOUT_REDIRECT_URL = "sign-in"

LANGUAGE_CODE = "en-gb"
USE_I18N = False
USE_TZ = True
TIME_ZONE = os.environ.get("LABRESULTS_TIME_ZONE", "UTC")

STATIC_URL = "static/"
# In service, `collectstatic` fills this folder once; without it, files are served from where they lie.
STATIC_ROOT = os.environ.get("LABRESULTS_STATIC_ROOT") or None
WHITENOISE_USE_FINDERS = STATIC_ROOT is None
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage", "OPTIONS": {"location": VAR / "files"}},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if WHITENOISE_USE_FINDERS
        else "whitenoise.storage.CompressedManifestStaticFilesStorage"
    },
}
FILE_UPLOAD_MAX_MEMORY_SIZE = DATA_UPLOAD_MAX_MEMORY_SIZE = 64 * 1024 * 1024
DATA_UPLOAD_MAX_NUMBER_FIELDS = 20_000  # a preparation grid of 2,000 rows

SECURE = _flag("LABRESULTS_HTTPS", False)
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = SECURE
SECURE_SSL_REDIRECT = SECURE
SECURE_HSTS_SECONDS = 31_536_000 if SECURE else 0
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if SECURE else None
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
# NIST SP 800-63B (2017), 4.2.3: asked again after 12 hours, and after 30 minutes without a request.
SESSION_COOKIE_AGE = 12 * 60 * 60
IDLE_MINUTES = int(os.environ.get("LABRESULTS_IDLE_MINUTES", "30"))
# How many proxies of our own stand in front: attempts to sign in are counted by the address that the last one names.
PROXIES = int(os.environ.get("LABRESULTS_PROXIES", "0"))
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"

DJANGO_TABLES2_TEMPLATE = "labresults/table.html"

# The key that certificates are signed with lies in a folder of its own, never in the database (reports.signing.keys).
KEYS = Path(os.environ.get("LABRESULTS_KEYS", VAR / "keys"))
KEY_PASSPHRASE = os.environ.get("LABRESULTS_KEY_PASSPHRASE", "")
# Whose clock stamps the signatures (RFC 3161), and the root that its certificates lead to; without: nobody's.
TIMESTAMPS = os.environ.get("LABRESULTS_TIMESTAMPS", "")
TIMESTAMPS_ROOT = os.environ.get("LABRESULTS_TIMESTAMPS_ROOT", "")
# Where the site is reached from outside: stands on certificates, so that anybody can ask whether one is genuine.
ADDRESS = os.environ.get("LABRESULTS_ADDRESS", "").rstrip("/")

CACHES = {
    "default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"},
    # How far a drawing has come: in files, so that every process of the site sees it.
    "progress": {"BACKEND": "django.core.cache.backends.filebased.FileBasedCache", "LOCATION": VAR / "progress"},
}
# Certificates are drawn by a thread beside the pages, or by `draw_certificates` where that runs; tests draw at once.
DRAWING = os.environ.get("LABRESULTS_DRAWING", "thread")  # "thread", "command" or "at once"

# Letters that tell clients of certificates; without a server they are written where the site was started.
EMAIL_HOST = os.environ.get("LABRESULTS_EMAIL_HOST", "")
EMAIL_BACKEND = f"django.core.mail.backends.{'smtp' if EMAIL_HOST else 'console'}.EmailBackend"
EMAIL_PORT = int(os.environ.get("LABRESULTS_EMAIL_PORT", "25"))
EMAIL_HOST_USER = os.environ.get("LABRESULTS_EMAIL_USER", "")
EMAIL_HOST_PASSWORD = os.environ.get("LABRESULTS_EMAIL_PASSWORD", "")
EMAIL_USE_TLS = _flag("LABRESULTS_EMAIL_TLS", False)
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = os.environ.get("LABRESULTS_EMAIL_FROM", "laboratory@localhost")
