#!/bin/sh
# What a Mac opens with a double-click: see open-desk.sh, beside it.
exec "$(dirname "$0")/open-desk.sh" "$@"
