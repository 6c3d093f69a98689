"""The pages' static files as a service serves them: by version, compressed, for good."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders, storage
from django.core.management import call_command
from django.test import Client, override_settings
from django.utils.functional import empty

from scalewitness import settings as real
from scalewitness.serving import static_files


@pytest.fixture(scope="module")
def collected(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Those of this project alone, which is quicker: the finder of others' is left out."""
    root = tmp_path_factory.mktemp("static")
    backend = {"BACKEND": "scalewitness.serving.static_files.VersionedFiles"}
    with override_settings(
        STATIC_ROOT=str(root),
        STORAGES=real.global_settings.STORAGES | {"staticfiles": backend},
        STATICFILES_FINDERS=["django.contrib.staticfiles.finders.FileSystemFinder"],
        MIDDLEWARE=real.MIDDLEWARE,
        WHITENOISE_USE_FINDERS=False,
    ):
        forget()
        call_command("collectstatic", interactive=False, verbosity=0)
        yield root
    forget()


def forget() -> None:
    static_files.version.cache_clear()
    storage.staticfiles_storage._wrapped = empty


def test_a_page_names_files_that_are_compressed_and_kept_for_good(
    collected: Path, db: None
) -> None:
    client = Client()
    page = client.get("/accounts/login/").text
    names = re.findall(r'(?:href|src)="(/static/[^"]+)"', page)
    assert len(names) > 2
    for name in names:
        assert name.startswith(f"/static/{static_files.version()}/")
        answer = client.get(name, headers={"Accept-Encoding": "gzip"})
        assert answer.status_code == 200
        assert answer.headers["Cache-Control"] == "max-age=315360000, public, immutable"
        if name.endswith(".css"):
            assert answer.headers["Content-Encoding"] == "gzip"
        answer.close()


def test_what_a_module_imports_lies_where_it_looks_for_it(collected: Path) -> None:
    modules = list((collected / static_files.version()).rglob("*.js"))
    imported = [
        one.parent / path
        for one in modules
        for path in re.findall(r"(?:from |import\()\"(\.[^\"]+)\"", one.read_text())
    ]
    assert len(imported) > 50
    assert not [path for path in imported if not path.is_file()]


def test_another_versions_files_are_noticed(collected: Path, tmp_path: Path) -> None:
    assert static_files.are_collected()
    (tmp_path / "newer.js").write_text("")
    with override_settings(STATICFILES_DIRS=[*real.STATICFILES_DIRS, tmp_path]):
        finders.get_finder.cache_clear()
        static_files.version.cache_clear()
        assert not static_files.are_collected()
    finders.get_finder.cache_clear()
    static_files.version.cache_clear()
    assert static_files.are_collected()
