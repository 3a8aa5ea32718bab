# shellcheck shell=bash disable=SC2086  # lists of package names are split into words on purpose
# Set-up shared by examples/demo.sh and tests/run.sh. To be sourced by bash, from anywhere:
#
#   source examples/setup.sh
#   setup_packages [tests]    system packages; installs what is missing when root on a Debian-like system, otherwise
#                             prints one line saying what is missing and exits with 2
#   setup_python [test]       .venv with the package from this source tree; "test" adds the packages the tests need
#
# After setup_python, "$venv/bin/python" and "$venv/bin/voltkeel" are there to call. Logs go to build/logs.

voltkeel_root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
venv=$voltkeel_root/.venv
setup_logs=$voltkeel_root/build/logs

export PIP_DISABLE_PIP_VERSION_CHECK=1

# Runs a command with its output in a log; when it fails, shows the end of the log and passes the exit code on.
# run_quietly NAME COMMAND...
run_quietly() {
    local log=$setup_logs/$1.log status=0
    shift
    mkdir -p "$setup_logs"
    "$@" >"$log" 2>&1 </dev/null || status=$?
    if ((status != 0)); then
        tail -n 40 "$log" >&2
        echo "'$*' failed with code $status; all of its output is in $log" >&2
    fi
    return "$status"
}

# A python3 of at least 3.10 that can make a virtual environment and build a module; the first on PATH that can, or the
# system's own, since the first on PATH may lack headers.
find_python() {
    local candidate
    for candidate in python3 /usr/bin/python3 /usr/local/bin/python3; do
        if "$candidate" - 2>/dev/null <<'PYTHON'
import ensurepip, os, sys, sysconfig, venv
sys.exit(sys.version_info < (3, 10) or not os.path.exists(os.path.join(sysconfig.get_path("include"), "Python.h")))
PYTHON
        then
            echo "$candidate"
            return 0
        fi
    done
    return 1
}

have_header() {
    local folder
    for folder in /usr/include /usr/local/include /opt/homebrew/include; do
        if [[ -e $folder/$1 ]]; then return 0; fi
    done
    return 1
}

# The names of the Debian packages that are not there, one a line. Looked for by what they bring, so that a tool that
# came from elsewhere counts.
missing_packages() {
    command -v g++ >/dev/null && command -v make >/dev/null || echo build-essential
    command -v cmake >/dev/null || echo cmake
    command -v ninja >/dev/null || echo ninja-build
    have_header eigen3/Eigen/Core || echo libeigen3-dev
    have_header boost/numeric/odeint.hpp || echo libboost-dev
    have_header nlohmann/json.hpp || echo nlohmann-json3-dev
    find_python >/dev/null || printf '%s\n' python3 python3-dev python3-venv
    if [[ ${1:-} == tests ]]; then
        have_header catch2/catch.hpp || echo catch2  # version 2; version 3 has no such header
        command -v arm-none-eabi-g++ >/dev/null || echo gcc-arm-none-eabi
        arm-none-eabi-g++ -x c -E - <<<'#include <math.h>' &>/dev/null || echo libnewlib-arm-none-eabi
        arm-none-eabi-g++ -x c++ -E - <<<'#include <cmath>' &>/dev/null || echo libstdc++-arm-none-eabi-newlib
        command -v qemu-system-arm >/dev/null || echo qemu-system-arm
        command -v clang-format >/dev/null || echo clang-format
        command -v run-clang-tidy >/dev/null || echo clang-tidy
        command -v valgrind >/dev/null || echo valgrind
        command -v ccache >/dev/null || echo ccache  # the library's files are the same in two of the three builds
    fi
    return 0
}

apt_install() {
    export DEBIAN_FRONTEND=noninteractive
    apt-get update
    apt-get install -y --no-install-recommends "$@"
}

# setup_packages [tests]
setup_packages() {
    local missing
    missing=$(missing_packages "$@")
    if [[ -n $missing ]] && command -v apt-get >/dev/null && ((EUID == 0)); then
        echo "Installing:" $missing
        run_quietly packages apt_install $missing || exit 2
        missing=$(missing_packages "$@")
    fi
    if [[ -n $missing ]]; then
        echo "Missing, please install (names as in Debian 12):" $missing >&2
        exit 2
    fi
    # Every compiler start goes through ccache where it is there: CMake and pip's build both read this.
    if command -v ccache >/dev/null; then
        export CMAKE_CXX_COMPILER_LAUNCHER=ccache
        # The three builds differ in the folder they work in, which would otherwise count as a difference of the files.
        export CCACHE_NOHASHDIR=1
        export CXX=${CXX:-c++}  # pip's build would call the same compiler by another name
    fi
}

# A digest of everything that goes into the installed Python package.
python_source_digest() {
    (
        cd "$voltkeel_root" || exit
        find src include python data/schema CMakeLists.txt pyproject.toml -type f \
            ! -path '*/__pycache__/*' ! -path '*/.*' -print0 | LC_ALL=C sort -z | xargs -0 sha256sum | sha256sum | cut -c 1-64
    )
}

# setup_python [test]
setup_python() {
    local stamp=$venv/voltkeel-installed python digest extras=${1:-}
    # Without ensurepip's pip the environment was left half-made.
    if ! "$venv/bin/python" -m pip --version &>/dev/null; then
        rm -rf "$venv"
        python=$(find_python) || { echo "No python3 of at least 3.10 with venv and headers" >&2; exit 2; }
        run_quietly venv "$python" -m venv "$venv" || exit 1
    fi
    digest=$(python_source_digest)
    if [[ -e $stamp ]]; then
        # An installation with the test packages serves those who do not need them too.
        if grep -qxF "$digest test" "$stamp" || grep -qxF "$digest $extras" "$stamp"; then return 0; fi
        rm "$stamp"
    fi
    # The build tools stand in the environment itself, not in pip's throw-away one, so that their path, and with it the
    # compiled files in build/python, stays good for the next time. The list is the one in pyproject.toml.
    local build_tools
    mapfile -t build_tools < <(cd "$voltkeel_root" && sed -n 's/^requires = \[\(.*\)\]$/\1/p' pyproject.toml | grep -o '[^", ][^",]*')
    run_quietly build-tools "$venv/bin/python" -m pip install -q "${build_tools[@]}" || exit 1
    run_quietly package "$venv/bin/python" -m pip install -q --no-build-isolation "$voltkeel_root${extras:+[$extras]}" ||
        exit 1
    # A package that carries the speed trace of a published driving cycle. It would also bring an old jsonschema.
    if [[ $extras == test ]]; then
        run_quietly cycles "$venv/bin/python" -m pip install -q --no-deps "wltp>=0.1.2a0" || exit 1
    fi
    echo "$digest $extras" >"$stamp"
}
