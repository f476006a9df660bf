#!/bin/sh
# Sets Pinproof up the first time (needs a network once), shows the demonstration, leaves a prompt.
# macOS: double-click. Linux: sh start-mac-linux.command
here=$(cd "$(dirname "$0")" && pwd) && cd "$here" || exit 2
frame=/Library/Frameworks/Python.framework/Versions
probe='import sys; sys.exit(sys.version_info < (3, 11))'
found=
for python in python3 python3.14 python3.13 python3.12 python3.11 \
    $frame/3.14/bin/python3 $frame/3.13/bin/python3 $frame/3.12/bin/python3 $frame/3.11/bin/python3; do
    if "$python" -c "$probe" >/dev/null 2>&1; then
        found=$python
        break
    fi
done
if [ -z "$found" ]; then
    echo "No Python 3.11 or newer was found on this computer." >&2
    echo "macOS: get the universal2 installer of Python 3.13 from python.org. Linux: sudo apt-get install python3-venv" >&2
    echo "or what your system calls it. Then start this again." >&2
    exit 2
fi
"$found" dev.py demo
if [ $? -ge 2 ]; then
    echo "That did not work. The lines above say why; docs/install.md says what to do." >&2
    exit 2
fi
PATH="$here/.venv/bin:$PATH"
export PATH
echo
echo "Type one of these and press Enter:"
echo "    pinproof new truck.toml      begin your own truck"
echo "    pinproof next truck.toml     what to do now"
echo "    pinproof --help              all commands"
echo "The demonstration's report is in the folder pinproof-demo."
echo
exec "${SHELL:-/bin/sh}"
