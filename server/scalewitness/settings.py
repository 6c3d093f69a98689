"""The one settings file. Everything comes from the environment; a missing secret stops
the process with its name."""

from datetime import timedelta
from email.utils import parseaddr
from pathlib import Path

import environ
import structlog
from celery.schedules import crontab
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured
from redis.backoff import NoBackoff
from redis.exceptions import ConnectionError
from redis.retry import Retry

from scalewitness.domain.translog.keys import BadKey, read_signer, read_verifier
from scalewitness.domain.translog.witnessing import read_target
from scalewitness.serving.masked_logs import mask_event

env = environ.Env()

HERE = Path(__file__).resolve().parent


def required(name: str) -> str:
    """The value of an environment variable that has no safe default."""
    value = env.str(name, default="")
    if not value:
        raise ImproperlyConfigured(f"{name} must be set in the environment")
    return str(value)


DEMO = env.bool("DEMO", default=False)
"""True only on one machine's loopback: cookies without TLS. Production leaves it unset."""

SECRET_KEY = required("SECRET_KEY")
SECRET_KEY_FALLBACKS = env.list("SECRET_KEY_FALLBACKS", default=[])
PUBLIC_URL = required("PUBLIC_URL").rstrip("/")
LOG_SIGNING_KEY = required("LOG_SIGNING_KEY")
"""The log's private key, ``PRIVATE+KEY+<origin>+<ID>+<base64>`` (C2SP signed-note); its name
is the log's origin. ``python -m stack.logkey ORIGIN`` under ``deploy/`` makes one."""
LOG_RETIRED_KEYS = env.list("LOG_RETIRED_KEYS", default=[])
"""Verifier keys the log signed under before, so that older receipts can still be checked."""
LOG_MEMORY = env.str("LOG_MEMORY", default="")
"""A file outside the database that remembers the latest signed checkpoint, so that a database
set back to an earlier day is noticed. Shared by every process that signs; empty: none."""
try:
    read_signer(LOG_SIGNING_KEY)
    for _retired in LOG_RETIRED_KEYS:
        read_verifier(_retired)
except BadKey as fault:
    raise ImproperlyConfigured(f"LOG_SIGNING_KEY or LOG_RETIRED_KEYS: {fault}") from None
if LOG_MEMORY and not Path(LOG_MEMORY).parent.is_dir():
    raise ImproperlyConfigured(f"LOG_MEMORY: there is no folder {Path(LOG_MEMORY).parent}")
LOG_WITNESSES = env.list("LOG_WITNESSES", default=[])
"""Outside witnesses (C2SP tlog-witness) that checkpoints are sent to: ``KEY URL``, with commas
between them. Only https, but in the demo."""
try:
    _addresses = [read_target(_witness).url for _witness in LOG_WITNESSES]
except BadKey as fault:
    raise ImproperlyConfigured(f"LOG_WITNESSES: {fault}") from None
if not DEMO and not all(_url.startswith("https://") for _url in _addresses):
    raise ImproperlyConfigured("LOG_WITNESSES: a witness is spoken to over https")
ALLOWED_HOSTS = env.list("ALLOWED_HOSTS", default=[])
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
    "scalewitness.disputes",
    "scalewitness.letters",
    "scalewitness.intake",
    "scalewitness.fsck",
    "scalewitness.pages",
]

MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "scalewitness.api.compressing.CompressUntagged",
    "csp.middleware.CSPMiddleware",
    "scalewitness.pages.guards.uploads.RefuseLargeBodies",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "allauth.account.middleware.AccountMiddleware",
    "scalewitness.pages.guards.fence.OnlyReadWhileFenced",
    "scalewitness.serving.busy.TellWhenBusy",
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


PROCESS = env.str("SCALEWITNESS_PROCESS", default="command")
"""What this process is: `wsgi.py` says ``web``, `celery.py` says ``worker``."""
WEB_THREADS = env.int("WEB_THREADS", default=96)
"""Threads of one web process. Give gunicorn as many (``--threads``)."""
WEB_CONNECTIONS = env.int("DATABASE_POOL_MAX", default=min(64, WEB_THREADS + 1))
"""To PostgreSQL, of one web process. Fewer than threads: who waits for their turn to write, as
most of a crowd do, has none (`intake.services`), nor has who waits for a change."""
GIVES_UP_AFTER = {
    "web": {"lock": 1_500, "statement": 8_000, "idle_in_transaction_session": 10_000},
    "worker": {"lock": 20_000, "statement": 120_000, "idle_in_transaction_session": 60_000},
    "command": {"lock": 60_000, "statement": 0, "idle_in_transaction_session": 600_000},
    "owner": {"lock": 5_000, "statement": 0, "idle_in_transaction_session": 600_000},
    "stranger": {"idle_in_transaction_session": 60_000},
}
"""PostgreSQL's timeouts by process, in milliseconds; 0: never. All are our judgement. A person
waits for the web; its `lock` and `intake.turns.PATIENCE` together are less than the 5 s within
which a push is answered. Nobody waits for the worker, which tries again by itself. An operator's
command may think for long over a whole log, but one that was stopped in mid-transaction must
not hold the log's lock for ever. What `migrate` waits for holds up everyone who comes after
it, so it gives up soon and is run again. Strangers are sessions that bring no timeouts of their
own, such as somebody at a prompt."""
NOTICES = {
    "tcp_keepalives_idle": 10,
    "tcp_keepalives_interval": 5,
    "tcp_keepalives_count": 3,
    "tcp_user_timeout": 25_000,
    "client_connection_check_interval": 2_000,
}
"""How soon PostgreSQL notices that a process of ours is gone without a word, as when its host
or the network is lost: 25 s; and while it works for it: 2 s."""
WE_NOTICE = {
    "connect_timeout": 3,
    "keepalives_idle": 10,
    "keepalives_interval": 5,
    "keepalives_count": 3,
    "tcp_user_timeout": 25_000,
}
"""The same of PostgreSQL, by libpq."""


def waits(process: str) -> dict[str, int]:
    """PostgreSQL's settings for the sessions of a process, by name."""
    timeouts = {f"{name}_timeout": most for name, most in GIVES_UP_AFTER[process].items()}
    return timeouts | NOTICES


def said(settings: dict[str, int]) -> str:
    """As libpq says them to PostgreSQL when it connects."""
    return " ".join(f"-c {name}={value}" for name, value in settings.items())


STRANGERS = waits("stranger")
"""What `migrate` makes the defaults of the database."""


def database(url_name: str) -> dict[str, object]:
    """A pooled psycopg connection; READ COMMITTED, on which the log's order relies."""
    return {
        **env.db_url(url_name),
        "ENGINE": "django.db.backends.postgresql",
        "CONN_MAX_AGE": 0,
        "OPTIONS": {
            **WE_NOTICE,
            "pool": {
                "min_size": env.int("DATABASE_POOL_MIN", default=1),
                "max_size": WEB_CONNECTIONS,
                "timeout": 2,
            },
            # Statements that `ledger.queries.prepared` asks; Django's own are never prepared.
            # Planned once and for any values: else PostgreSQL plans each anew the first five
            # times on each connection, and with hundreds of ids that takes longer than asking.
            "prepare_threshold": 0,
            "options": f"-c plan_cache_mode=force_generic_plan {said(waits(PROCESS))}",
        },
    }


required("DATABASE_URL")
DATABASES = {"default": database("DATABASE_URL")}
if env.str("DATABASE_OWNER_URL", default=""):
    # Only `migrate` uses it: the owner makes tables, the runtime role cannot alter facts.
    DATABASES["owner"] = database("DATABASE_OWNER_URL") | {
        "OPTIONS": WE_NOTICE | {"options": said(waits("owner"))}
    }

DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
AUTH_USER_MODEL = "people.Keeper"
AUTHENTICATION_BACKENDS = ["scalewitness.pages.accounts.OneAccount"]
PASSWORD_HASHERS = ["scalewitness.hashing.FewArgon2", "scalewitness.hashing.FewPBKDF2"]
HASHES_AT_ONCE = env.int("HASHES_AT_ONCE", default=2)
"""Passwords that one process hashes at a time; each takes a processor and 19 MiB."""
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}"}
    for name in ("MinimumLengthValidator", "CommonPasswordValidator", "NumericPasswordValidator")
] + [{"NAME": "scalewitness.guessing.NoName"}, {"NAME": "scalewitness.guessing.NoPieceRepeated"}]
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_EMAIL_VERIFICATION = "mandatory"
ACCOUNT_PREVENT_ENUMERATION = True
ACCOUNT_ADAPTER = "scalewitness.pages.accounts.library.KeeperAccounts"
ACCOUNT_FORMS = {
    "signup": "scalewitness.pages.accounts.forms.SignUpForm",
    "reset_password": "scalewitness.pages.accounts.forms.AskForm",
    "reset_password_from_key": "scalewitness.pages.accounts.forms.ResetForm",
    "change_password": "scalewitness.pages.accounts.forms.ChangeForm",
}
ACCOUNT_EMAIL_SUBJECT_PREFIX = ""
ACCOUNT_REAUTHENTICATION_REQUIRED = True
ACCOUNT_REAUTHENTICATION_TIMEOUT = 300
"""Seconds within which what is grave needs no second factor or password again. Long enough to
read a form, too short for whoever finds the screen unlocked (our judgement)."""
SECOND_FACTOR = env.str("SECOND_FACTOR", default="optional")
"""``required``: a keeper without a second factor can do nothing but set one up."""
if SECOND_FACTOR not in {"optional", "required"}:
    raise ImproperlyConfigured("SECOND_FACTOR must be optional or required")
MFA_ADAPTER = "scalewitness.pages.accounts.second_factor.Factors"
MFA_SUPPORTED_TYPES = ["totp", "recovery_codes", "webauthn"]
MFA_RECOVERY_CODES_SHOW_ONCE = True
MFA_ALLOW_UNVERIFIED_EMAIL = True
"""So that a keeper with a second factor can add another address. Who has proved none cannot set
one up: `pages.second_factor.for_owners_of_an_address`."""
MFA_FORMS = {
    "authenticate": "scalewitness.pages.accounts.second_factor_forms.SignInForm",
    "authenticate_webauthn": "scalewitness.pages.accounts.second_factor_forms.SignInPasskeyForm",
    "reauthenticate": "scalewitness.pages.accounts.second_factor_forms.AgainForm",
    "reauthenticate_webauthn": "scalewitness.pages.accounts.second_factor_forms.AgainPasskeyForm",
    "activate_totp": "scalewitness.pages.accounts.second_factor_forms.AppForm",
    "add_webauthn": "scalewitness.pages.accounts.second_factor_forms.PasskeyForm",
    "edit_webauthn": "scalewitness.pages.accounts.second_factor_forms.PasskeyNameForm",
}
ACCOUNT_RATE_LIMITS = {
    "change_password": "10/h/user",
    "reset_password": "20/m/ip,5/h/key",
}
"""The others as allauth has them; guesses at passwords are counted by `guessing` alone. A wrong
old password 10 times an hour, and 5 letters an hour to one address, are our judgement."""
LOGIN_REDIRECT_URL = "/"
LOGIN_URL = "/accounts/login/"
ACCOUNT_LOGOUT_REDIRECT_URL = "/"

REDIS_URL = required("REDIS_URL")
QUEUE_SERVER_PATIENCE = {
    "socket_connect_timeout": 2,
    "socket_timeout": 2,
    "retry": Retry(NoBackoff(), 1, supported_errors=(ConnectionError,)),
}
"""Seconds to wait for it; whoever asks can do without (our judgement). One more attempt at once
where a connection that was idle for long was closed, but not where there was no answer."""
CACHES = {
    "default": {
        "BACKEND": "scalewitness.tries.Cache",
        "LOCATION": REDIS_URL,
        "OPTIONS": QUEUE_SERVER_PATIENCE,
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
CELERY_BEAT_SCHEDULE = {
    "deliver waiting letters": {
        "task": "scalewitness.mail.tasks.deliver_waiting",
        "schedule": 10.0,
    },
    "sign the log's head": {
        "task": "scalewitness.ledger.tasks.sign_head",
        "schedule": 10.0,
    },
    "send the log's head to witnesses": {
        "task": "scalewitness.ledger.tasks.push_to_witnesses",
        "schedule": 10.0,
    },
    "chase disclosures": {
        "task": "scalewitness.intake.tasks.chase_disclosures",
        "schedule": 300.0,
    },
    "write digests": {
        "task": "scalewitness.intake.tasks.write_digests",
        "schedule": crontab(hour="5", minute="10", day_of_week="mon"),
    },
    "end devices": {"task": "scalewitness.intake.tasks.end_devices", "schedule": 300.0},
    "go on reassessing": {
        "task": "scalewitness.intake.tasks.go_on_reassessing",
        "schedule": 600.0,
    },
    "lapse offers": {"task": "scalewitness.intake.tasks.lapse_due_offers", "schedule": 300.0},
    "update examiners' records": {
        "task": "scalewitness.intake.tasks.update_records",
        "schedule": crontab(hour="3", minute="20"),
    },
}

EMAIL = env.email_url("EMAIL_URL", default="smtp://127.0.0.1:25")
EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
EMAIL_HOST = EMAIL["EMAIL_HOST"]
EMAIL_PORT = EMAIL["EMAIL_PORT"]
EMAIL_HOST_USER = EMAIL["EMAIL_HOST_USER"] or ""
EMAIL_HOST_PASSWORD = EMAIL["EMAIL_HOST_PASSWORD"] or ""
EMAIL_USE_TLS = EMAIL.get("EMAIL_USE_TLS", False)
EMAIL_USE_SSL = EMAIL.get("EMAIL_USE_SSL", False)
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = env.str("MAIL_FROM", default="Scalewitness <record@localhost>")
SERVER_EMAIL = DEFAULT_FROM_EMAIL
MAIL_RETURN_PATH = env.str("MAIL_RETURN_PATH", default=parseaddr(DEFAULT_FROM_EMAIL)[1])
"""Where mail hosts report letters that came back; `take_reports` reads what arrives there."""

MAIL_LEASE_SECONDS = env.int("MAIL_LEASE_SECONDS", default=300)
"""How long a worker may take over a claimed batch of letters before another may."""

LANGUAGE_CODE = "en-gb"
TIME_ZONE = "UTC"
USE_TZ = True
USE_I18N = False

STATIC_URL = "/static/"
STATICFILES_DIRS = [HERE / "pages" / "static"]
STATIC_ROOT = env.path("STATIC_ROOT", default=str(HERE.parent.parent / ".run" / "static"))
WHITENOISE_USE_FINDERS = True
RACKSIDE_ROOT = env.path("RACKSIDE_ROOT", default=str(HERE.parent.parent / "clients" / "rackside"))
"""The folder of the web app for the racks, served under ``/rackside/``."""

TRUSTED_PROXIES = env.int("TRUSTED_PROXIES", default=0 if DEMO else 1)
"""How many proxies of ours stand before this, for everything that is counted by address
(`tries.address_of`). Without it a caller could name any address in X-Forwarded-For and be
counted anew, or everyone behind the proxy would be one."""

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["scalewitness.api.authentication.DeviceTokens"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["scalewitness.api.rendering.ShapeRenderer"],
    "DEFAULT_PARSER_CLASSES": [
        "scalewitness.api.parsing.StrictJsonParser",
        "scalewitness.api.parsing.PictureParser",
    ],
    "DEFAULT_SCHEMA_CLASS": "scalewitness.api.openapi.document.OperationSchema",
    "EXCEPTION_HANDLER": "scalewitness.api.problems.as_problem",
    "DEFAULT_THROTTLE_RATES": {
        "link": "60/min",
        "sign_in": "30/min",
        "sign_up": "30/min",
        "device_token": "60/min",
        "look_up": "60/min",
        "witness": "60/min",
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
FEED_WAITERS = env.int("FEED_WAITERS", default=8)
"""Requests of one process that may wait for a change at a time; leave threads for others."""
PUSH_LIMIT = 500
"""Items in one push."""
PUSH_ITEMS_A_MINUTE = env.int("PUSH_ITEMS_A_MINUTE", default=30_000)
"""Items that one keeper may send, from all devices. The largest import there is, thousands of
animals with tags and weights, is through at once; somebody who sends without end leaves most of
what the record can take in a minute to others (our judgement)."""
DATA_UPLOAD_MAX_MEMORY_SIZE = 4 * 1024 * 1024

METRICS_TOKEN = env.str("METRICS_TOKEN", default="")
"""What `GET /metrics` asks for (``Authorization: Bearer …``), as its numbers are the operator's
business. Without one there is no such address, for anybody: where a request comes from does not
say who asks, since a proxy on the same host comes from the loopback too."""
if METRICS_TOKEN and len(METRICS_TOKEN) < 20:
    raise ImproperlyConfigured("METRICS_TOKEN: at least 20 characters, made at random")

SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = not DEMO
SECURE_SSL_REDIRECT = not DEMO and env.bool("SECURE_SSL_REDIRECT", default=True)
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
SECURE_HSTS_PRELOAD = env.bool("SECURE_HSTS_PRELOAD", default=False)
"""These bind hosts that are not this service's, so nobody but the operator can decide them."""
SILENCED_SYSTEM_CHECKS = ["security.W005", "security.W021"]  # the two above are a choice
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

structlog.configure(
    processors=[
        structlog.contextvars.merge_contextvars,
        structlog.processors.add_log_level,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
        structlog.processors.ExceptionRenderer(
            # Values of variables may be names, addresses and passwords.
            structlog.tracebacks.ExceptionDictTransformer(show_locals=False)
        ),
        structlog.processors.JSONRenderer(),
        mask_event,
    ],
)
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"masked": {"()": "scalewitness.serving.masked_logs.MaskedFormatter"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": "masked"}},
    "root": {"handlers": ["console"], "level": env.str("LOG_LEVEL", default="INFO")},
}
