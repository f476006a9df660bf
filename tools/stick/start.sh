#!/bin/sh
# Starts Pinproof: shows the demonstration the first time, then leaves a prompt where `pinproof` is known.
here=$(cd "$(dirname "$0")" && pwd) || exit 2
PATH="$here/env/bin:$PATH"
export PATH
if [ ! -x "$here/env/bin/pinproof" ]; then
    echo "Pinproof is not installed here any more. Run the installation from the stick again." >&2
    exit 2
fi
mkdir -p "$here/designs" && cd "$here/designs" || exit 2
[ -d pinproof-demo ] || pinproof demo
echo
echo "You are in $here/designs. Type one of these and press Enter:"
echo "    pinproof new truck.toml      begin your own truck"
echo "    pinproof next truck.toml     what to do now"
echo "    pinproof --help              all commands"
echo "The demonstration's report is in the folder pinproof-demo."
echo
exec "${SHELL:-/bin/sh}"
