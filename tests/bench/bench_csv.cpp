// How fast a log is read: a file as a logger writes it (four columns, 5 to 8 digits), read into
// vectors on one core. Counting the line ends of the same bytes with memchr shows in the same run
// what the memory allows.
//
// bench_csv [size in MB, default 50] [least MB/s, default 0]
// Returns 1 when reading is slower than the given speed, 2 when a row went missing.

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <random>
#include <string>
#include <utility>
#include <vector>

#include "support/seed.hpp"
#include "voltkeel/io/csv.hpp"

namespace {

constexpr int repeats = 7;

/// Text of a log of about `bytes` bytes; `rows` receives the number of rows.
std::string logger_text(std::size_t bytes, std::size_t& rows) {
    std::mt19937_64 random(voltkeel_test::seed());
    std::normal_distribution<double> load_A(-20, 60);
    std::string text = "time_s,current_A,voltage_V,temperature_degC\n";
    text.reserve(bytes + 128);
    char line[128];
    for (rows = 0; text.size() < bytes; ++rows) {
        const double current_A = load_A(random);
        const double time_s = 0.1 * static_cast<double>(rows);
        const int length =
            std::snprintf(line, sizeof line, "%.3f,%.4f,%.4f,%.3f\n", time_s, current_A,
                          46.8 + 0.012 * current_A, 24 + 6 * std::sin(time_s / 900));
        text.append(line, static_cast<std::size_t>(length));
    }
    return text;
}

/// Smallest and median time of some runs of `work`, in seconds.
template <class Work>
std::pair<double, double> time_of(Work work) {
    std::vector<double> times_s;
    for (int i = 0; i != repeats; ++i) {
        const auto start = std::chrono::steady_clock::now();
        work();
        times_s.push_back(
            std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
    }
    std::sort(times_s.begin(), times_s.end());
    return {times_s.front(), times_s[times_s.size() / 2]};
}

}  // namespace

int main(int argc, char* argv[]) {
    const double size_MB = argc > 1 ? std::atof(argv[1]) : 50;
    const double least_MB_per_s = argc > 2 ? std::atof(argv[2]) : 0;
    std::size_t rows = 0;
    const std::string text = logger_text(static_cast<std::size_t>(1e6 * size_MB), rows);
    const double text_MB = 1e-6 * static_cast<double>(text.size());
    const auto path = std::filesystem::temp_directory_path() /
                      ("voltkeel_bench_" + std::to_string(std::random_device{}()) + ".csv");
    std::ofstream(path, std::ios::binary) << text;

    std::size_t line_ends = 0;
    const auto [count_s, count_median_s] = time_of([&] {
        line_ends = 0;
        const char* const end = text.data() + text.size();
        for (const char* at = text.data();
             (at = static_cast<const char*>(
                  std::memchr(at, '\n', static_cast<std::size_t>(end - at)))) != nullptr;
             ++at) {
            ++line_ends;
        }
    });
    std::size_t parsed_rows = 0;
    const auto [parse_s, parse_median_s] =
        time_of([&] { parsed_rows = voltkeel::parse_log(text, "bench").log.size(); });
    std::size_t read_rows = 0;
    const auto [read_s, read_median_s] =
        time_of([&] { read_rows = voltkeel::read_log(path).log.size(); });
    std::filesystem::remove(path);

    std::printf("%.1f MB, %zu rows, best and median of %d runs\n", text_MB, rows, repeats);
    std::printf("count line ends (memchr)  %7.0f %7.0f MB/s\n", text_MB / count_s,
                text_MB / count_median_s);
    std::printf("parse_log (in memory)     %7.0f %7.0f MB/s\n", text_MB / parse_s,
                text_MB / parse_median_s);
    std::printf("read_log (file, cached)   %7.0f %7.0f MB/s\n", text_MB / read_s,
                text_MB / read_median_s);
    if (line_ends != rows + 1 || parsed_rows != rows || read_rows != rows) {
        std::printf("rows went missing\n");
        return 2;
    }
    if (text_MB / read_s < least_MB_per_s) {
        std::printf("read_log is slower than %.0f MB/s\n", least_MB_per_s);
        return 1;
    }
    return 0;
}
