# Sourced: sets `python` to a Python of 3.11 or later that can make environments, or explains.

find_python() {
    incomplete=
    for candidate in ${PYTHON:-} python3 python3.14 python3.13 python3.12 python3.11 python; do
        "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || continue
        if "$candidate" -c 'import venv, ensurepip' 2>/dev/null; then
            python=$candidate
            return
        fi
        incomplete=${incomplete:-$candidate}
    done
    if [ -n "$incomplete" ]; then
        version=$("$incomplete" -c 'import sys; print("%d.%d" % sys.version_info[:2])')
        echo "$incomplete is Python $version but cannot make environments (no venv or ensurepip)." >&2
        echo "On Debian and Ubuntu: apt-get install python$version-venv" >&2
    else
        echo "This needs Python 3.11 or later, and found none (python3 is $(python3 -V 2>&1 || true))." >&2
        echo "Install one, or name it: PYTHON=/path/to/python3.12 $0" >&2
    fi
    exit 2
}

find_python
