"""Where photos' files are kept: in the database, or in the bucket of an S3-compatible store."""

from importlib.util import find_spec

from django.core.exceptions import ImproperlyConfigured

from scalewitness.settings.environment import env

PHOTO_STORAGE = env.str("PHOTO_STORAGE", default="database")
"""``database`` or ``objects``: where files come to rest. Each arrives in the database first; with
``objects`` the worker then moves it into the bucket."""
PHOTO_OBJECTS_KEPT_DAYS = env.int("PHOTO_OBJECTS_KEPT_DAYS", default=35)
"""Days for which an object stays that no photo refers to any more: as long as the oldest backup
that may be restored. What was erased goes at once."""
AWS_STORAGE_BUCKET_NAME = env.str("AWS_STORAGE_BUCKET_NAME", default="")
"""The bucket, of this record alone. It stays set for as long as any photo is in it."""
AWS_S3_ENDPOINT_URL = env.str("AWS_S3_ENDPOINT_URL", default="")
"""Where the store answers, such as https://objects.example; empty: as botocore finds it."""
AWS_S3_REGION_NAME = env.str("AWS_S3_REGION_NAME", default="us-east-1")
"""The store's region; most that are not a cloud's take this one."""
AWS_ACCESS_KEY_ID = env.str("AWS_ACCESS_KEY_ID", default="")
"""The key; empty: as botocore finds it, such as by the role of the host."""
AWS_SECRET_ACCESS_KEY = env.str("AWS_SECRET_ACCESS_KEY", default="")
"""The secret of that key."""
AWS_S3_ADDRESSING_STYLE = env.str("AWS_S3_ADDRESSING_STYLE", default="path")
"""Whether the bucket's name goes into the path or into the host's name (``virtual``)."""

if PHOTO_STORAGE not in ("database", "objects"):
    raise ImproperlyConfigured("PHOTO_STORAGE: database or objects")
if PHOTO_STORAGE == "objects" and not AWS_STORAGE_BUCKET_NAME:
    raise ImproperlyConfigured("AWS_STORAGE_BUCKET_NAME: photos are to go into which bucket?")
if AWS_STORAGE_BUCKET_NAME and find_spec("storages") is None:
    raise ImproperlyConfigured(
        "AWS_STORAGE_BUCKET_NAME: this takes more packages: scalewitness-server[objects]"
    )
if PHOTO_OBJECTS_KEPT_DAYS < 1:
    raise ImproperlyConfigured("PHOTO_OBJECTS_KEPT_DAYS: at least 1")

PHOTO_BUCKET = {
    "BACKEND": "scalewitness.object_store.bucket.ObjectBucket",
    "OPTIONS": {
        "bucket_name": AWS_STORAGE_BUCKET_NAME,
        "endpoint_url": AWS_S3_ENDPOINT_URL or None,
        "region_name": AWS_S3_REGION_NAME,
        "access_key": AWS_ACCESS_KEY_ID or None,
        "secret_key": AWS_SECRET_ACCESS_KEY or None,
        "addressing_style": AWS_S3_ADDRESSING_STYLE,
    },
}
"""As Django's STORAGES has it; the package that it needs is loaded when it is first asked for."""
