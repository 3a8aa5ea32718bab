#!/usr/bin/env bash
# Instructions of one step of the double filter with 3 branches, fused at every sample: two runs of different length
# under callgrind, the difference divided by the difference in steps, so that start-up falls out. Repeats exactly.
# Usage: tests/bench/count_instructions.sh BENCH_SOC_FILTER [MOST_INSTRUCTIONS]
set -euo pipefail

bench=${1:?"usage: $0 BENCH_SOC_FILTER [MOST_INSTRUCTIONS]"}
most=${2:-0}
short=4096
long=20480

count() {
    local log
    log=$(valgrind --tool=callgrind --callgrind-out-file=/dev/null "$bench" --once "$1" 2>&1) || {
        echo "$log" >&2
        return 1
    }
    sed -n 's/.*Collected : \([0-9]*\).*/\1/p' <<<"$log"
}

first=$(count "$short")
second=$(count "$long")
per_step=$(((second - first) / (long - short)))
echo "$per_step instructions per step (of which the loop takes about 6)"
if ((most > 0 && per_step > most)); then
    echo "over the limit of $most" >&2
    exit 1
fi
