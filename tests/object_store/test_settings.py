"""Settings for photos that cannot work stop the process, with their name."""

import runpy
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured

from scalewitness.settings import photos

WRONG = {
    "PHOTO_STORAGE: database or objects": {"PHOTO_STORAGE": "bucket"},
    "AWS_STORAGE_BUCKET_NAME: photos are to go into which": {"PHOTO_STORAGE": "objects"},
    "PHOTO_OBJECTS_KEPT_DAYS: at least 1": {"PHOTO_OBJECTS_KEPT_DAYS": "0"},
}


def read(monkeypatch: pytest.MonkeyPatch, given: dict[str, str]) -> dict[str, object]:
    for name, value in given.items():
        monkeypatch.setenv(name, value)
    return runpy.run_path(str(Path(photos.__file__)))


@pytest.mark.parametrize("said", WRONG)
def test_what_cannot_work(monkeypatch: pytest.MonkeyPatch, said: str) -> None:
    with pytest.raises(ImproperlyConfigured, match=said):
        read(monkeypatch, WRONG[said])


def test_the_database_unless_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    assert read(monkeypatch, {})["PHOTO_STORAGE"] == "database"
    given = {"PHOTO_STORAGE": "objects", "AWS_STORAGE_BUCKET_NAME": "photos"}
    assert read(monkeypatch, given)["PHOTO_STORAGE"] == "objects"
