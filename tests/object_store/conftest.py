"""A bucket for each test: of the stand-in, or with ``./deploy/try_objects`` of a real server."""

import os
from collections.abc import Iterator
from typing import Any
from uuid import UUID, uuid4

import boto3
import pytest
from botocore.config import Config
from tests.object_store.stand_in import StandIn
from tests.pictures import body_of, plain_file
from tests.world import World

from scalewitness.animals.models import Animal, PhotoFile
from scalewitness.animals.queries.photo_files import bucket
from scalewitness.intake.batch import Actor
from scalewitness.intake.rules.photos import take_photo_file
from scalewitness.object_store import bucket as bucket_module

REAL = os.environ.get("OBJECT_STORE", "")
"""Address, key and secret of a real server, with spaces between them."""
KEYS = ("key", "secret")


def put_to_use(settings: Any, address: str, key: str, secret: str, name: str) -> None:
    settings.PHOTO_STORAGE = "objects"
    settings.AWS_STORAGE_BUCKET_NAME = name
    options = settings.PHOTO_BUCKET["OPTIONS"] | {
        "bucket_name": name,
        "endpoint_url": address,
        "access_key": key,
        "secret_key": secret,
    }
    photos = settings.PHOTO_BUCKET | {"OPTIONS": options}
    settings.STORAGES = settings.STORAGES | {"photos": photos}


def by_hand(address: str, key: str, secret: str) -> Any:
    """What an operator, or somebody with the store's own keys, can do to it."""
    return boto3.client(
        "s3",
        endpoint_url=address,
        region_name="us-east-1",
        aws_access_key_id=key,
        aws_secret_access_key=secret,
        config=Config(signature_version="s3v4", s3={"addressing_style": "path"}),
    )


class Store:
    """The bucket from outside the record."""

    def __init__(self, client: Any, name: str) -> None:
        self.client, self.name = client, name

    def names(self) -> list[str]:
        pages = self.client.get_paginator("list_objects_v2").paginate(Bucket=self.name)
        return [one["Key"] for page in pages for one in page.get("Contents", ())]

    def alter(self, key: str, data: bytes) -> None:
        self.client.put_object(Bucket=self.name, Key=key, Body=data)

    def lose(self, key: str) -> None:
        self.client.delete_object(Bucket=self.name, Key=key)


@pytest.fixture
def stand_in() -> Iterator[StandIn]:
    store = StandIn()
    store.address = store.start()  # type: ignore[attr-defined]
    yield store
    store.stop()


@pytest.fixture
def faulty(stand_in: StandIn, settings: Any, monkeypatch: pytest.MonkeyPatch) -> StandIn:
    """The stand-in in use, to be told what to do wrong; asked once, not twice a second later."""
    monkeypatch.setattr(bucket_module, "ATTEMPTS", 1)
    stand_in.buckets["photos"] = {}
    put_to_use(settings, stand_in.address, *KEYS, "photos")  # type: ignore[attr-defined]
    return stand_in


@pytest.fixture
def store(request: pytest.FixtureRequest, settings: Any) -> Iterator[Store]:
    where = REAL.split() if REAL else [request.getfixturevalue("stand_in").address, *KEYS]
    client, name = by_hand(*where), f"photos-{uuid4().hex}"
    client.create_bucket(Bucket=name)
    put_to_use(settings, *where, name)
    yield Store(client, name)
    if REAL:
        settings.AWS_STORAGE_BUCKET_NAME = name
        bucket().remove("")
        client.delete_bucket(Bucket=name)


def photo_of(world: World, animal: Animal, width: int = 60) -> UUID:
    """A photo with its file, in the database as it arrived."""
    data = plain_file(width)
    said = world.say(world.odile, "photo_attached", animal.pk, body_of(data))
    photo = UUID(said.id)
    take_photo_file(photo, data, Actor(keeper=world.odile.pk), world.now)
    return photo


def in_bucket() -> int:
    return PhotoFile.objects.filter(object__isnull=False).count()


@pytest.fixture
def animal(world: World) -> Animal:
    return world.animal("P1")
