#!/usr/bin/env bash
# All tests, from a bare machine on: installs what is missing (see examples/setup.sh), builds, and runs every check.
# Each step writes its output to build/logs; the end of it is shown when the step fails. The last line counts the steps.
set -uo pipefail

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
cd "$root" || exit 2
source examples/setup.sh

jobs=2

passed=0
failed=0

# step HEADING FUNCTION: runs the function with errexit on, in a shell of its own.
step() {
    local heading=$1 log started status
    log=$setup_logs/step-$((passed + failed + 1)).log
    started=$SECONDS
    printf '%-62s' "$heading"
    # Not inside an 'if' or '||': there bash would ignore errexit.
    (
        set -e
        "$2"
    ) >"$log" 2>&1 </dev/null
    status=$?
    if ((status == 0)); then
        passed=$((passed + 1))
        echo "passed  ($((SECONDS - started)) s)"
    else
        failed=$((failed + 1))
        echo "FAILED  ($((SECONDS - started)) s), code $status, $log:"
        tail -n 30 "$log" | sed 's/^/    /'
    fi
}

# build PRESET [--target TARGET...]
build() {
    cmake --preset "$1"
    cmake --build --preset "$1" -j "$jobs" "${@:2}"
}

# run_tests PRESET TEST...: on all cores; one which does not exist fails instead of passing unseen.
run_tests() {
    local preset=$1 names
    shift
    names="^($(IFS='|' && echo "$*"))\$"
    (($(ctest --preset "$preset" -N -R "$names" | grep -c 'Test *#') == $#))
    ctest --preset "$preset" --no-tests=error -j "$jobs" -R "$names"
}

release_build() { build release; }
release_tests() {
    local names=(unit unit_fit reference example_01_first_look example_02_truth_counted_filtered example_03_controller_loop
        example_05_load_of_a_day example_06_two_strings example_07_cold_morning example_08_quay_charge
        example_09_pull_off example_10_pack_state example_11_ready_by_morning example_12_groups_of_a_log
        example_13_bad_sensors example_14_start_in_use)
    if compgen -G 'tests/data/*.cpp' >/dev/null; then names+=(data); fi
    run_tests release "${names[@]}"
}
sanitize() {
    build sanitize --target voltkeel_unit_tests voltkeel_reference_tests
    run_tests sanitize unit unit_fit reference
}
# The unit tests run both scalars in the release build; the reference tests are built once more for the preset.
single_precision() {
    build float --target voltkeel_reference_tests
    run_tests float reference
}
consumer() { run_tests release consumer; }
controller() { bash tests/controller/run.sh; }
python_package() { setup_python test; }
python_tests() { "$venv/bin/python" -m pytest -n "$jobs" --dist worksteal; }

formatting() {
    local formatter=clang-format sources
    if command -v clang-format-14 >/dev/null; then formatter=clang-format-14; fi
    mapfile -t sources < <(find include src python tests examples -name '*.[ch]pp' -o -name '*.[ch]')
    ((${#sources[@]} > 0))
    "$formatter" --version
    "$formatter" --dry-run -Werror "${sources[@]}"
}

static_analysis() {
    local tidy=run-clang-tidy
    if command -v run-clang-tidy-14 >/dev/null; then tidy=run-clang-tidy-14; fi
    # A pattern that matches nothing would pass.
    grep -q "\"file\": \"$root/src/" build/release/compile_commands.json
    grep -q "\"file\": \"$root/build/release/header_check/" build/release/compile_commands.json
    timeout 900 "$tidy" -quiet -j "$jobs" -p build/release "^$root/(src|build/release/header_check)/.*\.cpp\$" |
        sed 's/\x1b\[[0-9;]*m//g'  # it writes in colour even to a file
}

python_style() { "$venv/bin/ruff" check .; }
python_types() { "$venv/bin/mypy"; }

setup_packages tests
mkdir -p "$setup_logs"

step "C++: build, all warnings as errors" release_build
step "C++: unit, reference and data tests" release_tests
step "C++: address and undefined-behaviour sanitizers" sanitize
step "C++: single precision" single_precision
step "C++: installed package, used by an outside project" consumer
step "controller: cross-compiled, checked, emulated, compared" controller
step "Python: package, built and installed" python_package
step "Python: tests" python_tests
step "C++: format" formatting
step "C++: static analysis" static_analysis
step "Python: style" python_style
step "Python: types" python_types

echo "steps: $passed passed, $failed failed"
((failed == 0))
