#pragma once
/// \file
/// Several files of one test as one log.

#include <vector>

#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// How logs are joined.
struct JoinSettings {
    /// Time from the last row of a log to the first row of the next where their stamps do not tell
    /// it; > 0. The current of that first row is taken to have flowed for so long.
    double pause_s = 1;
};

/// Joins logs to one, in the order given, with time that goes on. Logs that all have a clock
/// (`Log::clock_origin_s`) keep the time between them; logs that have none follow each other by
/// `pause_s`. Time starts at that of the first log.
/// \param logs at least one
/// \return the log; its source names all files
/// \throws Error naming the file that starts before the one in front of it ends, that alone has a
/// clock or none, or that is no log (see `check_log`)
[[nodiscard]] Log join_logs(const std::vector<Log>& logs, const JoinSettings& settings = {});

}  // namespace voltkeel
