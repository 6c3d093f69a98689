"""What the command is made of: installed without the server, it has no numeric libraries. They take
long to load, and their threads may hear a signal in the place of the main one."""

import subprocess
import sys


def test_the_command_needs_no_numeric_library() -> None:
    asked = (
        "import sys; import scalewitness_cli.main; "
        "print(sorted({'numpy', 'scipy', 'django'} & sys.modules.keys()))"
    )
    found = subprocess.run(
        [sys.executable, "-c", asked], capture_output=True, text=True, check=True
    )
    assert found.stdout.strip() == "[]"
