#!/bin/sh
# Opens Tercet's desk, where songs are written and heard. Double-click this file, or run it in a terminal.
# The first time it sets Tercet up in the folder .venv beside it: a minute or two, with a connection to the internet.
# Nothing else on this computer is changed. Your songs lie in the folder Tercet of your documents.
cd "$(dirname "$0")" || exit 1

leave() {
    echo "$1" >&2
    if [ -t 0 ]; then printf 'Press Enter to close this window. ' && read -r _; fi
    exit 3
}

found=
for name in python3 python3.15 python3.14 python3.13 python3.12 python3.11 python; do
    if "$name" -c 'import sys; sys.exit(sys.version_info < (3, 6))' >/dev/null 2>&1; then found=$name && break; fi
done
[ -n "$found" ] || leave "No Python was found. Install Python 3.11 or newer, then open this file again."
"$found" tools/set_up.py run || leave "Tercet couldn't be set up: the lines above say why."
.venv/bin/tercet desk "$@" || leave "The desk has ended: the lines above say why."
