"""One pulse of 3000 samples: fit_single_pulse beside scipy.optimize.least_squares, same rows and same cost.

The rows are those of bench_fit: 10 s of rest, 60 s of pulse, 230 s of rest, 0.2 mV of noise.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np
import voltkeel as vk
from scipy.optimize import least_squares
from scipy.signal import lfilter

STEP_S = 0.1
ROWS = 3000
SLOW_S = 60.0


def lag(current: np.ndarray, tau_s: float) -> np.ndarray:
    kept = np.exp(-STEP_S / tau_s)
    return np.concatenate(([0.0], lfilter([1 - kept], [1, -kept], current[1:])))


def median_ms(runs: int, work: Callable[[], object]) -> float:
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return 1e3 * statistics.median(times)


def main() -> None:
    k = np.arange(ROWS)
    current = np.where((k > 100) & (k <= 700), -5.0, 0.0)
    slow = lag(current, SLOW_S)

    def model(x: np.ndarray) -> np.ndarray:
        return x[0] + x[1] * current + x[2] * lag(current, np.exp(x[3])) + x[4] * slow

    truth = np.array([3.7, 0.020, 0.015, np.log(8.0), 0.010])
    voltage = model(truth) + 2e-4 * np.random.default_rng(1).standard_normal(ROWS)
    start = np.array([voltage[0], 0.01, 0.01, np.log(20.0), 0.01])
    log = vk.Log(STEP_S * k, current, voltage, 25.0)
    settings = vk.SinglePulseSettings(slow_time_s=SLOW_S)
    ours = vk.fit_single_pulse(log, settings)
    ours_ms = median_ms(500, lambda: vk.fit_single_pulse(log, settings))
    print(f"one pulse, {ROWS} samples, 5 parameters     median ms   passes   cost against ours")
    print(f"fit_single_pulse                          {ours_ms:9.3f} {ours.evaluations:8d}")
    for method in ("trf", "lm"):

        def fit(method: str = method) -> object:
            return least_squares(lambda x: model(x) - voltage, start, x_scale="jac", method=method)

        found = least_squares(lambda x: model(x) - voltage, start, x_scale="jac", method=method)
        print(
            f"scipy least_squares, {method:4s}                 {median_ms(20, fit):9.3f} {found.nfev:8d} "
            f"{found.cost / ours.cost_V2 - 1:+19.1e}"
        )


if __name__ == "__main__":
    main()
