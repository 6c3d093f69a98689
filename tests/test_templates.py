"""The HTML templates as they are written."""

from stack.local import ROOT

MOST = 120
"""Characters in a line, as `LANGUAGE.md` says. A letter's text is sent as it stands."""


def test_no_line_of_a_template_is_too_long() -> None:
    long = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in sorted((ROOT / "server").rglob("templates/**/*.html"))
        for number, line in enumerate(path.read_text().splitlines(), 1)
        if len(line) > MOST
    ]
    assert long == []
