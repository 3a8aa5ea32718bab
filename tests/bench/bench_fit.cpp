// How long a fit takes: the whole cell from the demo data, and the pulse fit alone, on one core.
//
// One pulse of 3000 samples (10 s rest, 60 s pulse, 230 s rest, 0.2 mV noise) is fitted as well;
// bench_fit_scipy.py times SciPy on the same kind of rows.
//
// bench_fit [runs, default 5] [most seconds for the whole cell, default 0: no limit]
// Returns 1 when the median of fit_cell takes longer than the given time.

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <random>
#include <utility>
#include <vector>

#include "voltkeel/fit/fit_cell.hpp"
#include "voltkeel/fit/single_pulse.hpp"

namespace {

/// Smallest and median time of some runs of `work`, in seconds.
template <class Work>
std::pair<double, double> time_of(int runs, Work work) {
    std::vector<double> times_s;
    for (int i = 0; i < runs; ++i) {
        const auto start = std::chrono::steady_clock::now();
        work();
        times_s.push_back(
            std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
    }
    std::sort(times_s.begin(), times_s.end());
    return {times_s.front(), times_s[times_s.size() / 2]};
}

void print(const char* what, std::pair<double, double> time_s, std::size_t rows) {
    std::printf("%-34s %8.3f %8.3f s %12.0f rows/s\n", what, time_s.first, time_s.second,
                static_cast<double>(rows) / time_s.second);
}

/// 3000 samples every 0.1 s of a cell with two branches, from their closed form.
voltkeel::Log single_pulse() {
    std::mt19937_64 engine(1);
    std::normal_distribution<double> normal;
    voltkeel::Log log;
    log.source = "pulse";
    const auto branches_V = [](double since_s) {
        return since_s > 0
                   ? -5 * (0.015 * -std::expm1(-since_s / 8) + 0.010 * -std::expm1(-since_s / 60))
                   : 0.0;
    };
    for (int k = 0; k < 3000; ++k) {
        const double t = 0.1 * k;
        const double current_A = k > 100 && k <= 700 ? -5 : 0;
        log.time_s.push_back(t);
        log.current_A.push_back(current_A);
        log.voltage_V.push_back(3.7 + 0.020 * current_A + branches_V(t - 10) - branches_V(t - 70) +
                                2e-4 * normal(engine));
        log.temperature_degC.push_back(25);
    }
    return log;
}

}  // namespace

int main(int argc, char* argv[]) {
    const int runs = std::max(1, argc > 1 ? std::atoi(argv[1]) : 5);
    const double most_s = argc > 2 ? std::atof(argv[2]) : 0;
    const std::filesystem::path folder = std::filesystem::path(VOLTKEEL_SOURCE_DIR) / "data/demo";
    const auto log = [&](const char* name) { return voltkeel::read_log(folder / name).log; };
    const voltkeel::Log slow = log("slow_test_25degC.csv");
    const std::vector<voltkeel::Log> pulses{log("pulses_25degC.csv"), log("pulses_10degC.csv"),
                                            log("pulses_0degC.csv")};
    std::size_t rows = slow.size();
    for (const voltkeel::Log& one : pulses)
        rows += one.size();

    voltkeel::FitResult result;
    const auto cell_s = time_of(runs, [&] { result = fit_cell(slow, pulses); });
    std::printf("demo data, %zu rows, best and median of %d runs; rows/s of the median\n", rows,
                runs);
    print("fit_cell (3 temperatures, 3 rounds)", cell_s, rows);
    for (int branches = 1; branches <= 4; ++branches) {
        voltkeel::PulseFitSettings settings;
        settings.branches = branches;
        settings.charge_transfer = false;
        voltkeel::Cell base = result.cell;
        base.resistance = {};
        voltkeel::PulseFit fit;
        const auto pulse_s =
            time_of(runs, [&] { fit = fit_pulses({&pulses[0]}, base, nullptr, settings); });
        char what[64];
        std::snprintf(what, sizeof what, "fit_pulses, 25 degC, %d branch%s", branches,
                      branches > 1 ? "es" : "");
        print(what, pulse_s, pulses[0].size());
        std::printf("    %zu rows after thinning, %d iterations, residual %.2f mV\n", fit.rows_used,
                    fit.iterations, 1e3 * fit.residual_rms_V[0]);
    }
    const voltkeel::Log pulse = single_pulse();
    voltkeel::SinglePulseSettings one;
    one.slow_time_s = 60;
    voltkeel::SinglePulseFit fit;
    const auto single_s = time_of(100 * runs, [&] { fit = fit_single_pulse(pulse, one); });
    std::printf("fit_single_pulse, 3000 samples     %8.4f %8.4f ms %11.0f rows/s\n",
                1e3 * single_s.first, 1e3 * single_s.second,
                static_cast<double>(pulse.size()) / single_s.second);
    std::printf("    %d passes over the rows, residual %.3f mV\n", fit.evaluations,
                1e3 * fit.residual_rms_V);
    if (most_s > 0 && cell_s.second > most_s) {
        std::printf("fit_cell takes longer than %.2f s\n", most_s);
        return 1;
    }
    return 0;
}
