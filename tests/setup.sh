#!/bin/sh
# Everything partgen needs on a fresh Debian with Python 3.11 or newer, in one go:
#
#   sh tests/setup.sh demo    install, then build the demo's cap set and report
#   sh tests/setup.sh test    install with everything the tests need, then run them all
#
# Python packages go into the folder .venv beside this project and nowhere else. System libraries
# are installed with apt where that is allowed (as root or by sudo); where it is not, the one line to
# run is printed and nothing else is done.
set -eu
cd "$(dirname "$0")/.."

job=${1:-}
case "$job" in
    demo) extra="" libraries="libgl1 libegl1" ;;
    test) extra="[test,dev]" libraries="libgl1 libegl1 chromium libatomic1 poppler-utils" ;;
    *)
        echo "usage: sh tests/setup.sh demo | test" >&2
        exit 2
        ;;
esac

# python3-venv is a package of its own on Debian, and only Debian's own Python needs it
python=$(command -v python3.11 || command -v python3 || true)
if [ -z "$python" ]; then
    libraries="$libraries python3 python3-venv"
elif ! "$python" -c 'import ensurepip' 2>/dev/null; then
    libraries="$libraries python3-venv"
fi

missing=""
for library in $libraries; do
    dpkg-query -W -f='${Status}' "$library" 2>/dev/null | grep -q 'ok installed' || missing="$missing $library"
done
if [ -n "$missing" ]; then
    # shellcheck disable=SC2086 # the list is meant to be split into words
    if ! command -v apt-get >/dev/null 2>&1; then
        echo "This system has no apt. Install what these Debian packages hold, then run this again:$missing" >&2
        exit 3
    elif [ "$(id -u)" = 0 ]; then
        apt-get update -q && DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends $missing
    elif command -v sudo >/dev/null 2>&1 && sudo -n true 2>/dev/null; then
        sudo apt-get update -q && sudo DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends $missing
    else
        echo "System libraries are missing. Run this line, then this script again:" >&2
        echo "  sudo apt-get install -y --no-install-recommends$missing" >&2
        exit 3
    fi
fi
python=$(command -v python3.11 || command -v python3)
"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || {
    echo "partgen needs Python 3.11 or newer; this is $("$python" --version)." >&2
    exit 3
}

[ -x .venv/bin/python ] || "$python" -m venv .venv
.venv/bin/python -m pip install -q --disable-pip-version-check -e ".$extra"

if [ "$job" = demo ]; then
    .venv/bin/partgen build profiles/fog-signal-controller.toml
    echo
    echo "From now on:  . .venv/bin/activate  and then  partgen --help"
else
    .venv/bin/poe check # style, types, imports, tests: see [tool.poe.tasks] in pyproject.toml
fi
