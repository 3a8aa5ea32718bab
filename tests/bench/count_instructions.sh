#!/usr/bin/env bash
# Instructions of one step of the double filter on samples at 10 Hz: two runs of different length under callgrind, the
# difference divided by the difference in steps, so that start-up falls out. Repeats exactly.
# Usage: tests/bench/count_instructions.sh BENCH_SOC_FILTER
set -euo pipefail

bench=${1:?"usage: $0 BENCH_SOC_FILTER"}
short=4096
long=20480

# count STEPS BRANCHES UPDATE_INTERVAL_S
count() {
    local log
    log=$(valgrind --tool=callgrind --callgrind-out-file=/dev/null "$bench" --once "$@" 2>&1) || {
        sed -n 's/.*\(vex .*unhandled instruction.*\)/valgrind does not know an instruction: \1/p' <<<"$log" >&2
        echo none
        return
    }
    sed -n 's/.*Collected : \([0-9]*\).*/\1/p' <<<"$log"
}

# per_step BRANCHES UPDATE_INTERVAL_S
per_step() {
    local first second
    first=$(count "$short" "$@")
    second=$(count "$long" "$@")
    if [ "$first" = none ] || [ "$second" = none ]; then
        echo none
        return
    fi
    echo $(((second - first) / (long - short)))
}

echo "instructions per step, double (of which the loop takes about 6)"
echo "        branches  fused  1 in 10"
for branches in 2 3; do
    printf '        %d         %5s    %5s\n' "$branches" "$(per_step "$branches" 0)" "$(per_step "$branches" 1)"
done
