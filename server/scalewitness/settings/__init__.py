"""The settings. Everything comes from the environment."""

from datetime import timedelta
from email.utils import parseaddr
from pathlib import Path

from csp.constants import NONE, SELF
from django.conf import global_settings
from redis.backoff import NoBackoff
from redis.exceptions import ConnectionError
from redis.retry import Retry

from scalewitness.settings.accounts import *  # noqa: F403
from scalewitness.settings.backups import *  # noqa: F403
from scalewitness.settings.environment import DEMO, env, required
from scalewitness.settings.log import *  # noqa: F403
from scalewitness.settings.monitoring import *  # noqa: F403
from scalewitness.settings.photos import *  # noqa: F403
from scalewitness.settings.postgres import *  # noqa: F403
from scalewitness.settings.schedule import *  # noqa: F403

HERE = Path(__file__).resolve().parents[1]


SECRET_KEY = required("SECRET_KEY")
"""Made at random, 50 characters. Links in letters and sessions are signed with it, and second
factors encrypted under it."""
SECRET_KEY_FALLBACKS = env.list("SECRET_KEY_FALLBACKS", default=[])
"""Secret keys of before, with commas between them: what they signed or encrypted is still read."""
PUBLIC_URL = required("PUBLIC_URL").rstrip("/")
"""Where people reach the service, such as https://record.example. Links in letters begin with it,
and passkeys are bound to its host."""
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=[])
"""Names by which the service may be asked, with commas between them: the host of ``PUBLIC_URL``,
and what those use who watch it from within."""
DEBUG = False

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "rest_framework",
    "knox",
    "drf_spectacular",
    "drf_spectacular_sidecar",
    "simple_history",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "csp",
    "django_htmx",
    "scalewitness.ledger",
    "scalewitness.mail",
    "scalewitness.people",
    "scalewitness.sign_in",
    "scalewitness.animals",
    "scalewitness.calls",
    "scalewitness.standings",
    "scalewitness.sales",
    "scalewitness.disclosures",
    "scalewitness.visits",
    "scalewitness.breeding",
    "scalewitness.traits",
    "scalewitness.quoted",
    "scalewitness.disputes",
    "scalewitness.seasons",
    "scalewitness.letters",
    "scalewitness.books",
    "scalewitness.intake",
    "scalewitness.fsck",
    "scalewitness.importing",
    "scalewitness.pages",
    "scalewitness.operating",
]

MIDDLEWARE = [
    "scalewitness.serving.requests.NoteRequest",
    "django.middleware.security.SecurityMiddleware",
    "scalewitness.api.compressing.Compress",
    "csp.middleware.CSPMiddleware",
    "scalewitness.pages.guards.uploads.RefuseLargeBodies",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "scalewitness.serving.replicas.ReadFromReplica",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "scalewitness.pages.guards.habits.ReadersHabits",
    "scalewitness.pages.guards.fence.OnlyReadWhileFenced",
    "scalewitness.serving.busy.AnswerWhenBusy",
]

ROOT_URLCONF = "scalewitness.urls"
WSGI_APPLICATION = "scalewitness.wsgi.application"
APPEND_SLASH = False

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [HERE / "pages" / "templates", HERE / "mail" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "scalewitness.pages.guards.fence.fence",
            ],
            "builtins": ["scalewitness.mail.templatetags.words"],
        },
    }
]


DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
REDIS_URL = required("REDIS_URL")
"""The queue server (Redis protocol), such as redis://127.0.0.1:6379/0."""
QUEUE_SERVER_TIMEOUTS = {
    "socket_connect_timeout": 2,
    "socket_timeout": 2,
    "retry": Retry(NoBackoff(), 1, supported_errors=(ConnectionError,)),
}
"""Seconds to wait for it; whoever asks can do without (our judgement). One more attempt at once
where a connection that was idle for long was closed, but not where there was no answer."""
CACHES = {
    "default": {
        "BACKEND": "scalewitness.rate_limit.Cache",
        "LOCATION": REDIS_URL,
        "OPTIONS": QUEUE_SERVER_TIMEOUTS,
    }
}
CELERY_BROKER_URL = REDIS_URL
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_CONNECTION_MAX_RETRIES = None  # a worker that gave up would stay away
CELERY_BROKER_TRANSPORT_OPTIONS = {"socket_connect_timeout": 2, "socket_timeout": 10}
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
CELERY_TIMEZONE = "UTC"

EMAIL = env.email_url("EMAIL_URL", default="smtp://127.0.0.1:25")
"""The mail host that letters are given to: ``smtp://``, with STARTTLS ``smtp+tls://``, with TLS
from the first byte ``smtp+ssl://``, then ``USER:PASSWORD@HOST:PORT``."""
EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
EMAIL_HOST = EMAIL["EMAIL_HOST"]
EMAIL_PORT = EMAIL["EMAIL_PORT"]
EMAIL_HOST_USER = EMAIL["EMAIL_HOST_USER"] or ""
EMAIL_HOST_PASSWORD = EMAIL["EMAIL_HOST_PASSWORD"] or ""
EMAIL_USE_TLS = EMAIL.get("EMAIL_USE_TLS", False)
EMAIL_USE_SSL = EMAIL.get("EMAIL_USE_SSL", False)
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = env.str("MAIL_FROM", default="Scalewitness <record@localhost>")
"""Whom letters are from: a name, and an address of a domain whose SPF, DKIM and DMARC say so."""
SERVER_EMAIL = DEFAULT_FROM_EMAIL
MAIL_RETURN_PATH = env.str("MAIL_RETURN_PATH", default="") or parseaddr(DEFAULT_FROM_EMAIL)[1]
"""An address. Mail hosts report letters there that came back; `take_reports` reads what arrives.
Empty: that of ``MAIL_FROM``."""

MAIL_LEASE_SECONDS = env.int("MAIL_LEASE_SECONDS", default=300)
"""How long a worker may take over a claimed batch of letters before another may."""

LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
LOCAL_TIME_ZONE = env.str("LOCAL_TIME_ZONE", default="UTC")
"""In which pages and letters give times to whoever chose none, such as Europe/Berlin. Exports,
receipts, papers and the API stay in UTC."""
USE_TZ = True
USE_I18N = False

STORAGES = global_settings.STORAGES | {"photos": PHOTO_BUCKET}  # noqa: F405
STATIC_URL = "/static/"
STATICFILES_DIRS = [HERE / "pages" / "static"]
STATIC_ROOT = None if DEMO else env.str("STATIC_ROOT", default="/var/lib/scalewitness/static")
"""The folder that ``scalewitness-server collectstatic`` puts the static files of pages into: once
for each version, before it starts. A proxy may serve it under ``/static/`` itself."""
WHITENOISE_USE_FINDERS = DEMO  # from where they lie, so that nothing need be collected
WHITENOISE_IMMUTABLE_FILE_TEST = "^/static/[0-9a-f]{16}/"  # as `serving.static_files` has them
if not DEMO:
    STORAGES |= {"staticfiles": {"BACKEND": "scalewitness.serving.static_files.VersionedFiles"}}
_beside = HERE.parent.parent / "clients" / "rackside"  # in a checkout; else it is in the package
RACKSIDE_ROOT = env.str("RACKSIDE_ROOT", default="") or str(
    _beside if _beside.is_dir() else HERE / "rackside"
)
"""The folder of the web app for the racks, served under ``/rackside/``; empty: this version's."""

TRUSTED_PROXIES = env.int("TRUSTED_PROXIES", default=0 if DEMO else 1)
"""How many proxies of ours stand before this, for everything that is counted by address
(`rate_limit.address_of`). Without it a caller could name any address in X-Forwarded-For and be
counted anew, or everyone behind the proxy would be one."""

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["scalewitness.api.authentication.DeviceTokens"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["scalewitness.api.rendering.ShapeRenderer"],
    "DEFAULT_PARSER_CLASSES": [
        "scalewitness.api.parsing.StrictJsonParser",
        "scalewitness.api.parsing.PictureParser",
        "scalewitness.api.parsing.BundleParser",
    ],
    "DEFAULT_SCHEMA_CLASS": "scalewitness.api.openapi.document.OperationSchema",
    "EXCEPTION_HANDLER": "scalewitness.api.problems.as_problem",
    "DEFAULT_THROTTLE_RATES": {
        "sign_in": "30/min",
        "sign_up": "30/min",
        "device_token": "60/min",
        "look_up": "60/min",
        "witness": "60/min",
        "met": "30/min",
        "changes": "600/min",
        "push": "600/min",
        "photos": "120/min",
    },
    "UNAUTHENTICATED_USER": "django.contrib.auth.models.AnonymousUser",
}
KNOX_TOKEN_MODEL = "knox.AuthToken"  # noqa: S105  a model, not a secret
REST_KNOX = {"TOKEN_TTL": timedelta(days=180), "AUTH_HEADER_PREFIX": "Bearer"}
"""A token ends when nobody uses it for so long: a season at the racks may lie between (our
judgement). It is put off at most once a day."""
SPECTACULAR_SETTINGS = {
    "TITLE": "Scalewitness",
    "VERSION": "1",
    "OAS_VERSION": "3.1.0",
    "DESCRIPTION": "The shared record of what sex a snake is, who says so and how far to trust it.",
    "SCHEMA_PATH_PREFIX": "/api/v1",
    "POSTPROCESSING_HOOKS": [],
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_AUTHENTICATION": [],
    "SWAGGER_UI_DIST": "SIDECAR",
    "SWAGGER_UI_FAVICON_HREF": "SIDECAR",
    "REDOC_DIST": "SIDECAR",
}
FEED_WAITERS = env.int("FEED_WAITERS", default=48)
"""Requests of one process that may wait for a change at a time; leave threads for others. Two
processes have places for the phones of some 3,500 keepers (measured, `deploy/bench/hobby.py`)."""
PUSH_LIMIT = 500
"""Items in one push."""
PUSH_ITEMS_A_MINUTE = env.int("PUSH_ITEMS_A_MINUTE", default=30_000)
"""Items that one keeper may send, from all devices. The largest import there is, thousands of
animals with tags and weights, is through at once; somebody who sends without end leaves most of
what the record can take in a minute to others (our judgement)."""
DATA_UPLOAD_MAX_MEMORY_SIZE = 4 * 1024 * 1024

OPERATORS = env.list("OPERATORS", default=[])
"""Addresses of those who run this record, with commas between them. Who proved one of them to be
theirs is told on Today of what only they can put right, and by letter of backups that fail; it
opens nothing."""

OPERATOR_NAME = env.str("OPERATOR_NAME", default="")
"""Who runs this record, as the public page ``/kept`` says it: a club, a company, a person."""
OPERATOR_CONTACT = env.str("OPERATOR_CONTACT", default="")
"""Where keepers ask for what is kept of them, in words: an address or a telephone number."""
BACKUPS_KEPT_DAYS = env.int("BACKUPS_KEPT_DAYS", default=35)
"""For how long a backup can still hold what was erased, as ``/kept`` says it. The sample
configuration keeps full backups for 28 days, and one that is older until the next is complete."""

SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = not DEMO
SECURE_SSL_REDIRECT = not DEMO and env.bool("SECURE_SSL_REDIRECT", default=True)
"""Whoever asks without TLS is sent to the same address with it."""
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if not DEMO else None
SECURE_REDIRECT_EXEMPT = [
    r"^health/",  # asked from within, without TLS
    r"^metrics$",  # also asked from within; without its token it is not there
    r"^log/(checkpoint|tile/)",  # public, and they bring their own proof
]
SECURE_HSTS_SECONDS = 0 if DEMO else env.int("SECURE_HSTS_SECONDS", default=3600)
"""How long browsers will not try this host without TLS. An hour until the operator is sure of it
(our judgement): what browsers were told cannot be taken back."""
SECURE_HSTS_INCLUDE_SUBDOMAINS = env.bool("SECURE_HSTS_INCLUDE_SUBDOMAINS", default=False)
"""The same for every host below this one. It binds hosts that are not this service's, so nobody but
the operator can decide it."""
SECURE_HSTS_PRELOAD = env.bool("SECURE_HSTS_PRELOAD", default=False)
"""That browsers may ship this host in the list of those that have TLS alone. Likewise."""
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]  # the two above are a choice
SESSION_ENGINE = "scalewitness.pages.guards.sessions"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = CSRF_COOKIE_SAMESITE = "Lax"
X_FRAME_OPTIONS = "DENY"
CSRF_FAILURE_VIEW = "scalewitness.pages.errors.forbidden"
CSRF_TRUSTED_ORIGINS = [PUBLIC_URL]
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "img-src": [SELF, "data:"],
        "style-src": [SELF],
        "script-src": [SELF],
        "frame-ancestors": [NONE],
        "form-action": [SELF],
        "base-uri": [NONE],
        "object-src": [NONE],
    },
}
