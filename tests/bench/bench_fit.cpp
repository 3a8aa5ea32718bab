// How long a fit takes: the whole cell from the demo data, and the pulse fit alone, on one core.
//
// bench_fit [runs, default 5] [most seconds for the whole cell, default 0: no limit]
// Returns 1 when the median of fit_cell takes longer than the given time.

#include <algorithm>
#include <chrono>
#include <cstddef>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <utility>
#include <vector>

#include "voltkeel/fit/fit_cell.hpp"

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
    if (most_s > 0 && cell_s.second > most_s) {
        std::printf("fit_cell takes longer than %.2f s\n", most_s);
        return 1;
    }
    return 0;
}
