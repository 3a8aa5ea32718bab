#!/usr/bin/env bash
# Speed on this machine: builds the benches, runs them one after the other on one core, and prints a summary, which also
# goes to build/logs/bench.txt. Needs valgrind for the instruction counts.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/../.."

cmake --preset release >/dev/null
cmake --build --preset release --target bench_csv bench_fit bench_forecast bench_group_replay bench_limits bench_pack_filter bench_simulate bench_soc_filter >/dev/null
mkdir -p build/logs
one_core=(env)
if command -v taskset >/dev/null; then one_core=(taskset -c 0); fi

# The instruction count once more for processors with AVX2 and FMA, as a desktop user would build.
fast=build/bench_soc_filter_v3
eigen=$(sed -n 's/^Eigen3_DIR:PATH=//p' build/release/CMakeCache.txt)/../../../include/eigen3
g++ -std=c++17 -O2 -DNDEBUG -march=x86-64-v3 -Iinclude -Itests -isystem "$eigen" tests/bench/bench_soc_filter.cpp -o $fast

{
    echo "filter step, plain -O2 (x86-64)"
    "${one_core[@]}" build/release/tests/bench_soc_filter
    bash tests/bench/count_instructions.sh build/release/tests/bench_soc_filter
    echo
    echo "filter step, -O2 -march=x86-64-v3"
    "${one_core[@]}" $fast
    bash tests/bench/count_instructions.sh $fast
    echo
    "${one_core[@]}" build/release/tests/bench_pack_filter
    "${one_core[@]}" build/release/tests/bench_group_replay
    echo
    "${one_core[@]}" build/release/tests/bench_csv
    echo
    "${one_core[@]}" build/release/tests/bench_fit
    echo
    "${one_core[@]}" build/release/tests/bench_simulate
    echo
    "${one_core[@]}" build/release/tests/bench_limits
    echo
    "${one_core[@]}" build/release/tests/bench_forecast
    # SciPy beside it, where the Python package is installed.
    if python3 -c 'import scipy, voltkeel' 2>/dev/null; then
        "${one_core[@]}" python3 tests/bench/bench_fit_scipy.py
    fi
} | tee build/logs/bench.txt
