#!/usr/bin/env bash
# The whole job on invented data, from a bare machine on: cell tests to a model, the state of charge along a day on the
# water, what the cell may do then, and when it will be full. Everything it writes goes to build/demo.
set -euo pipefail
cd "$(dirname "${BASH_SOURCE[0]}")/.."
source examples/setup.sh

setup_packages
echo "Building (a few minutes the first time) ..."
setup_python
export PATH="$venv/bin:$PATH"
data=data/demo
out=build/demo
mkdir -p "$out"

show() {
    echo
    echo "\$ $*"
    "$@"
}

echo
echo "An invented harbour workboat: one cell of its pack, tested on a bench, then logged along a working day."
show voltkeel fit --ocv $data/slow_test_25degC.csv \
    --pulses $data/pulses_25degC.csv $data/pulses_10degC.csv $data/pulses_0degC.csv \
    --out $out/cell.json --name "HW-50 (invented)" --plot $out/fit.png
show voltkeel replay $data/harbour_day.csv --cell $out/cell.json --initial-soc 0.8 --initial-soc-std 0.2 --out $out/estimate.csv
show voltkeel limits --cell $out/cell.json --soc 0.18 --temperature-degC 14
show voltkeel charge --cell $out/cell.json --soc 0.18 --temperature-degC 14 --current-A 2.5 --end-current-A 0.25 \
    --plot $out/charge.png
echo
"$venv/bin/python" examples/demo_summary.py $data $out
