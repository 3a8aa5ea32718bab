// What a replay of one hour at 10 Hz with 96 groups takes: the estimation, and beside it, in the
// same run, reading the log, writing the traces, and a bare hand loop over the same voltages that
// keeps a mean and one gain a group.
//
// bench_group_replay [largest s of the estimation, default 0: no limit]
// Returns 1 when that is exceeded, 2 when a group lost track.

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <string>
#include <vector>

#include "support/simulated_string.hpp"
#include "voltkeel/io/group_replay.hpp"

namespace {

constexpr std::size_t groups = 96;
constexpr std::size_t ticks_a_second = 10;
constexpr std::size_t rows = 3600 * ticks_a_second;

/// Median processor time.
template <class Action>
double time_of_s(int repeats, Action action) {
    std::vector<double> times_s;
    for (int r = 0; r < repeats; ++r) {
        const std::clock_t start = std::clock();
        action();
        times_s.push_back(static_cast<double>(std::clock() - start) / CLOCKS_PER_SEC);
    }
    std::sort(times_s.begin(), times_s.end());
    return times_s[times_s.size() / 2];
}

}  // namespace

int main(int argc, char* argv[]) {
    const double limit_s = argc > 1 ? std::strtod(argv[1], nullptr) : 0;
    voltkeel_test::StringShape shape;
    shape.groups = groups;
    shape.duration_s = 3600;
    const auto run = voltkeel_test::simulated_string(shape);  // 1 Hz, each row held for ten ticks
    voltkeel::GroupLog log;
    log.groups = groups;
    log.source = "hour.csv";
    voltkeel_test::Random random(7);
    for (std::size_t k = 0; k < rows; ++k) {
        const std::size_t from = std::min(k / ticks_a_second, run.size() - 1);
        log.time_s.push_back(0.1 * static_cast<double>(k));
        log.current_A.push_back(run.current_A[from]);
        log.temperature_degC.push_back(run.temperature_degC);
        for (std::size_t g = 0; g < groups; ++g)
            log.voltage_V.push_back(run.voltage_V[from * groups + g] + 0.0005 * random.normal());
    }
    const auto folder = std::filesystem::temp_directory_path();
    const auto log_path = folder / "voltkeel_bench_group_log.csv";
    const auto trace_path = folder / "voltkeel_bench_group_trace.csv";
    const auto groups_path = folder / "voltkeel_bench_group_trace.groups.csv";
    std::vector<std::string> names{"time_s", "current_A", "temperature_degC"};
    std::vector<std::vector<double>> columns{log.time_s, log.current_A, log.temperature_degC};
    for (std::size_t g = 0; g < groups; ++g) {
        names.push_back("voltage_" + std::to_string(g) + "_V");
        auto& column = columns.emplace_back();
        for (std::size_t k = 0; k < rows; ++k)
            column.push_back(log.voltage_V[k * groups + g]);
    }
    voltkeel::write_csv(log_path, names, columns, 5);

    double difference[groups]{};
    const double hand_s = time_of_s(9, [&] {
        for (std::size_t k = 0; k < rows; ++k) {
            const double* const row_V = log.voltage_V.data() + k * groups;
            double sum_V = 0;
            for (std::size_t g = 0; g < groups; ++g)
                sum_V += row_V[g] - difference[g];
            for (std::size_t g = 0; g < groups; ++g)
                difference[g] += 0.01 * (row_V[g] - difference[g] - sum_V / groups);
        }
    });
    voltkeel::GroupTrace trace;
    const double replay_s = time_of_s(9, [&] { trace = voltkeel::replay_groups(run.cell, log); });
    const double read_s = time_of_s(3, [&] { log = voltkeel::read_group_log(log_path).log; });
    const double write_s =
        time_of_s(3, [&] { voltkeel::write_group_trace(trace_path, groups_path, trace); });
    std::printf(
        "replay of one hour at 10 Hz, 96 groups, processor time: estimation %.3f s, reading %.3f s "
        "(%.0f MB), writing %.3f s, hand loop %.4f s\n",
        replay_s, read_s, static_cast<double>(std::filesystem::file_size(log_path)) / 1e6, write_s,
        hand_s);
    for (const auto& path : {log_path, trace_path, groups_path})
        std::filesystem::remove(path);
    double furthest = 0;
    for (std::size_t g = 0; g < groups; ++g) {
        const double truth = run.soc[(run.size() - 1) * groups + g];
        furthest = std::max(furthest, std::abs(trace.end[g].state.soc - truth));
    }
    if (furthest > 0.02 || !(std::abs(difference[0]) < 1)) {
        std::fprintf(stderr, "a group is %.4f off\n", furthest);
        return 2;
    }
    if (limit_s > 0 && replay_s > limit_s) {
        std::fprintf(stderr, "%.3f s, over the limit of %.3f s\n", replay_s, limit_s);
        return 1;
    }
    return 0;
}
