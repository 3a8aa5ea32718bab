#!/usr/bin/env bash
# Installs a finished build, builds and runs the consumer project against what was installed, and expects a request for
# a version that is too new to be refused.
# Usage: tests/consumer/run.sh BUILD_DIR
set -euo pipefail

here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
build=$(cd "$1" && pwd)
work=$build/consumer
prefix=$work/prefix

# From nothing each time: a header left over from an earlier install would hide one that is no longer installed.
rm -rf "$work"
mkdir -p "$work"
cmake --install "$build" --prefix "$prefix" >"$work/install.log"

configure() { cmake -S "$here" -B "$work/$1" -G Ninja -DCMAKE_BUILD_TYPE=Release -DCMAKE_PREFIX_PATH="$prefix" "${@:2}"; }

configure build
cmake --build "$work/build"
"$work/build/consumer_core"
"$work/build/consumer_all"

if configure refused -DVOLTKEEL_REQUEST=99 >"$work/refused.log" 2>&1; then
    echo "A request for version 99 was accepted; it must be refused."
    exit 1
fi
# It must have failed for the version, not for some other reason.
if ! tr -s ' \n' ' ' <"$work/refused.log" | grep -q 'compatible with requested version "99"'; then
    echo "A request for version 99 failed, but not because of the version:"
    cat "$work/refused.log"
    exit 1
fi
echo "A request for version 99 is refused."
