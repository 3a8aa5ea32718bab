#include "voltkeel/io/join.hpp"

#include <cmath>
#include <cstddef>
#include <string>

#include "io/number_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

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

}  // namespace voltkeel
