"""What nothing but a test calls is dead: it goes, or moves to the benches."""

import re
from pathlib import Path

from vulture import Vulture

ROOT = Path(__file__).parents[1]
PARTS = ("server", "clients/scalewitness_cli")
APPS = sorted((ROOT / "server").rglob("apps.py"))
CALLABLE = {"function", "class", "method", "property", "import", "unreachable_code"}
"""Fields of shapes, settings and models are read by their name from JSON, SQL or templates."""

REGISTERED = ["@register.*", "@shared_task*", "@app.*", "@*.connect*", "@traits.command*"]
"""What a decorator hands to a framework."""

CALLED_FROM_OUTSIDE = {
    "django": {
        *(
            f"{app}Config"
            for app in ["Animals", "Breeding", "Calls", "Disclosures", "Disputes", "Fsck"]
        ),
        *(
            f"{app}Config"
            for app in ["Intake", "Ledger", "Letters", "Mail", "Pages", "People", "Sales"]
        ),
        *("ImportingConfig", "SignInConfig", "StandingsConfig", "VisitsConfig", "ExaminersConfig"),
        *("BooksConfig", "OperatingConfig", "SeasonsConfig", "TraitsConfig", "QuotedConfig"),
        *("add_arguments", "process_view", "process_exception", "form_valid"),
        *("get_queryset", "as_sql"),
        *("clean_animals", "clean_answer", "clean_code", "clean_credential", "clean_picture"),
        *("clean_file", "clean_ids", "clean_pattern", "clean_read"),
        *("clean_report", "clean_represents", "validate", "get_help_text", "get_queryset"),
    },
    "django-allauth": {
        *("_authenticate_by_email", "_delete_login_attempts_cached_email", "validate_unique_email"),
        *("try_save", "populate_username", "send_notification_mail", "send_confirmation_mail"),
        *("get_client_ip", "pre_authenticate", "get_totp_issuer", "build_totp_svg"),
        *("generate_authenticator_name", "get_public_key_credential_rp_entity"),
    },
    "django-rest-framework": {
        *("authenticate_credentials", "get_operation", "allow_request", "select_parser", "parse"),
        *("select_renderer", "get_permissions", "get_throttles"),
    },
    "gunicorn": {"on_starting", "on_exit", "child_exit", "pre_request"},
    "prometheus_client": {"collect"},
    "opentelemetry": {"force_flush"},
    "mypy, in a quoted annotation": {"WithAnnotations", "WithSight"},
    "deploy/words, for the words on the phone": {"brief"},
    "the demonstration, through the client": {"all_animals"},
    "sexing-3, which is not in force yet": {"marker_settles", "only_in", "deviation"},
    "a decorator of ours, by the kind of fact": {
        "_linkage",
        "_identifier",
        "_device_key",
        "_season_note",
    },
}


def _unused():
    finder = Vulture(ignore_decorators=REGISTERED)
    finder.scavenge([ROOT / part for part in PARTS])
    return {one.name for one in finder.get_unused_code() if one.typ in CALLABLE}


def _named_elsewhere():
    """Names in templates, and the last part of every dotted name that is a string."""
    server = list((ROOT / "server").rglob("*"))
    templates = [one.read_text() for one in server if one.suffix in {".html", ".txt", ".xml"}]
    code = [one.read_text() for one in server if one.suffix == ".py"]
    dotted = [name for text in code for name in re.findall(r'"([\w.]+)"', text)]
    return {
        *(word for text in templates for word in re.findall(r"\w+", text)),
        *(name.rpartition(".")[2] for name in dotted),
    }


def test_nothing_is_kept_for_tests_alone():
    called = set().union(*CALLED_FROM_OUTSIDE.values())
    assert _unused() - _named_elsewhere() - called - {"Migration"} == set()
