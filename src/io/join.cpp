#include "voltkeel/io/join.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>

#include "io/number_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

namespace {

/// Whether the time of one log goes on in the other as if a file had been cut in two. Every logger
/// counts from where it likes, so nothing less says what came first.
bool runs_on(const Log& log, const Log& next) {
    if (log.size() < 2 || next.size() < 2) return false;
    const double step_s =
        std::max(log.time_s.back() - log.time_s[log.size() - 2], next.time_s[1] - next.time_s[0]);
    const double between_s = next.time_s.front() - log.time_s.back();
    return between_s > 0 && between_s <= 1.5 * step_s;
}

}  // namespace

Log join_logs(const std::vector<Log>& logs, const JoinSettings& settings) {
    if (logs.empty()) throw Error("join_logs: no logs");
    if (!(settings.pause_s > 0) || std::isinf(settings.pause_s)) {
        throw Error("JoinSettings: pause_s = " + number_text(settings.pause_s) +
                    " must be > 0 and finite");
    }
    const bool by_clock = logs.front().clock_origin_s.has_value();
    std::size_t rows = 0;
    for (const Log& log : logs) {
        check_log(log);
        if (log.size() == 0) throw Error(log.source + ": the log has no rows");
        if (log.clock_origin_s.has_value() != by_clock) {
            throw Error(log.source + ": has " + (by_clock ? "no " : "") + "time stamps, " +
                        logs.front().source + " has " + (by_clock ? "some" : "none") +
                        ": the time between them is not known");
        }
        rows += log.size();
    }

    Log joined;
    joined.clock_origin_s = logs.front().clock_origin_s;
    for (auto* column :
         {&joined.time_s, &joined.current_A, &joined.voltage_V, &joined.temperature_degC}) {
        column->reserve(rows);
    }
    const Log* before = nullptr;
    for (const Log& log : logs) {
        double shift_s = 0;
        if (before != nullptr) {
            const double end_s = joined.time_s.back();
            shift_s = by_clock ? *log.clock_origin_s - *joined.clock_origin_s
                               : end_s + settings.pause_s - log.time_s.front();
            if (!by_clock && runs_on(log, *before)) {
                throw Error(log.source + ": its time column ends at " +
                            number_text(log.time_s.back(), "%.10g") + " s, and that of " +
                            before->source + " in front of it goes on at " +
                            number_text(before->time_s.front(), "%.10g") +
                            " s: the files stand in the wrong order");
            }
            if (!(log.time_s.front() + shift_s > end_s)) {
                throw Error(log.source + ": starts " +
                            number_text(end_s - log.time_s.front() - shift_s) +
                            " s before the end of " + before->source +
                            "; the files must stand in the order of their time stamps");
            }
        }
        for (const double time_s : log.time_s) {
            if (!joined.time_s.empty() && !(time_s + shift_s > joined.time_s.back())) {
                throw Error(log.source + ": at time " + number_text(time_s) +
                            " s the rows lie too close to tell them apart in the joined log");
            }
            joined.time_s.push_back(time_s + shift_s);
        }
        const auto append = [](std::vector<double>& all, const std::vector<double>& part) {
            all.insert(all.end(), part.begin(), part.end());
        };
        append(joined.current_A, log.current_A);
        append(joined.voltage_V, log.voltage_V);
        append(joined.temperature_degC, log.temperature_degC);
        joined.source += (before == nullptr ? "" : " + ") + log.source;
        before = &log;
    }
    return joined;
}

std::vector<std::string> join_doubts(const std::vector<Log>& logs) {
    (void)join_logs(logs);
    double largest_A = 0;
    double low_V = logs.front().voltage_V.front();
    double high_V = low_V;
    for (const Log& log : logs) {
        for (std::size_t k = 0; k < log.size(); ++k) {
            largest_A = std::max(largest_A, std::abs(log.current_A[k]));
            low_V = std::min(low_V, log.voltage_V[k]);
            high_V = std::max(high_V, log.voltage_V[k]);
        }
    }
    const double rest_A = 0.02 * largest_A;
    // How far the voltage went in the rests of these logs, from the last row under current on.
    double rested_V = 0;
    for (const Log& log : logs) {
        std::size_t loaded = log.size();
        for (std::size_t k = 0; k < log.size(); ++k) {
            if (std::abs(log.current_A[k]) > rest_A) {
                loaded = k;
            } else if (loaded < log.size()) {
                rested_V = std::max(rested_V, std::abs(log.voltage_V[k] - log.voltage_V[loaded]));
            }
        }
    }
    std::vector<std::string> doubts;
    for (std::size_t f = 1; f < logs.size(); ++f) {
        const Log& before = logs[f - 1];
        const Log& log = logs[f];
        const double from_V = before.voltage_V.back();
        const double to_V = log.voltage_V.front();
        const double jump_V = to_V - from_V;
        // The current that flowed last, and the way that a rest behind it goes.
        double last_A = 0;
        for (std::size_t k = before.size(); k-- > 0 && last_A == 0;) {
            if (std::abs(before.current_A[k]) > rest_A) last_A = before.current_A[k];
        }
        constexpr double any_way_V = 0.1;
        constexpr double at_an_end_V = 0.8;
        constexpr double end_V = 0.1;
        const bool relaxes = last_A == 0 || jump_V * last_A < 0;
        const bool at_end = last_A < 0 ? from_V < low_V + end_V : from_V > high_V - end_V;
        double allowed_V = any_way_V;
        if (relaxes && at_end) {
            allowed_V = std::max(at_an_end_V, rested_V + any_way_V);
        } else if (relaxes || std::abs(log.current_A.front()) > rest_A) {
            allowed_V = rested_V + any_way_V;
        }
        if (std::abs(jump_V) <= allowed_V) continue;
        doubts.push_back("from the end of " + before.source + " to the start of " + log.source +
                         " the voltage jumps from " + number_text(from_V, "%.3f") + " to " +
                         number_text(to_V, "%.3f") +
                         " V, more than a rest explains: do the files stand in the right order, "
                         "and is none missing?");
    }
    return doubts;
}

}  // namespace voltkeel
