#pragma once
/// \file
/// Several files of one test as one log.

#include <string>
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
/// \throws Error naming the file that starts before the one in front of it ends (by the stamps, or
/// by a time column without stamps that goes on from the later file to the one in front of it, row
/// by row), that alone has a clock or none, or that is no log (see `check_log`)
[[nodiscard]] Log join_logs(const std::vector<Log>& logs, const JoinSettings& settings = {});

/// What speaks against logs being one test in the order given: a voltage that jumps from one to the
/// next by more than a rest between them explains, the way it goes or how far.
///
/// In a rest the voltage rises after a discharge and falls after a charge. Behind the end of a
/// discharge or a charge at the ends of the window it may go by 0.8 V, elsewhere by as much as it
/// does in the rests of these logs and 0.1 V.
/// \return one line in plain words for each doubt, naming both files and both voltages
/// \throws Error as `join_logs` does
[[nodiscard]] std::vector<std::string> join_doubts(const std::vector<Log>& logs);

}  // namespace voltkeel
