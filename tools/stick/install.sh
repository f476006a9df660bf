#!/bin/sh
# Installs Pinproof from this folder. No network is used.
here=$(cd "$(dirname "$0")" && pwd) || exit 2
frame=/Library/Frameworks/Python.framework/Versions
probe='import sys; sys.exit(sys.version_info[:2] not in [@PROBED@])'
for python in python3 @COMMANDS@ \
    @FRAMES@; do
    if "$python" -c "$probe" >/dev/null 2>&1; then
        exec "$python" "$here/files/install.py" "$@"
    fi
done
echo "No Python @SPOKEN@ was found on this computer." >&2
echo "macOS: if the folder python-installer on this stick holds a package from python.org, double-click it, then" >&2
echo "start this again. If it is empty: fetch one on a computer with a network and put it there." >&2
echo "Linux: install python3 and python3-venv with the system's own package program; that needs a network." >&2
exit 2
