#pragma once
/// \file group_log.hpp
/// Logs of a string whose groups are measured one by one. Units and the sign of the current:
/// voltkeel/units.hpp.

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Most groups that a log can have.
inline constexpr std::size_t most_log_groups = 512;

/// A log with a voltage for each group of a string: one entry per row in each vector, time strictly
/// increasing, every value finite but the voltages.
struct GroupLog {
    std::vector<double> time_s;              ///< time since an origin of the logger's choice
    std::vector<double> current_A;           ///< of the string, positive = charge
    std::vector<double> temperature_degC;    ///< where the logger's sensor sits
    std::vector<double> voltage_V;           ///< (rows, groups), row by row; NaN where nothing came
    std::size_t groups{0};                   ///< 1 .. `most_log_groups`
    int first_number{0};                     ///< what the file calls the first group: 0 or 1
    std::string source;                      ///< the file it came from, for messages
    std::optional<double> clock_origin_s{};  ///< see Log
    std::vector<double> pack_voltage_V{};    ///< of all groups from another sensor; empty: none

    /// Number of rows.
    [[nodiscard]] std::size_t size() const { return time_s.size(); }
};

/// A log and what reading it came across.
struct GroupLogReading {
    GroupLog log;
    LogReport report;
};

/// Reads a log with one column of voltages for each group, as `read_log` reads one with a single
/// voltage. `columns.voltage` holds {} where the number of the group stands in the header, as in
/// "Cell {} (mV)"; left at its default it is "voltage_{}_V". Numbers go up by one from 0 or 1, from
/// the negative end of the string, in any order of columns; leading zeros may stand. A cell that is
/// empty, NaN or infinite is a voltage that did not come. A column "pack_voltage_V" (or that of
/// `columns.pack_voltage`) is the voltage of all groups from another sensor, in the units of the
/// voltage.
/// \throws Error as `read_log` does, and when a group of the row of numbers has no column, two have
///   the same, there are more than `most_log_groups`, or with units from the header they differ
[[nodiscard]] GroupLogReading read_group_log(const std::filesystem::path& path,
                                             const LogReadSettings& settings = {});

/// Reads such a log from CSV text. \param source what to call the text in messages
[[nodiscard]] GroupLogReading parse_group_log(std::string_view text, std::string source,
                                              const LogReadSettings& settings = {});

/// How many columns of group voltages the header of a file has, 0 where `read_log` is to read it:
/// none, no other column that is needed, or a name in `columns.voltage` that is that of one column.
/// \throws Error when the file cannot be read or a setting is out of range
[[nodiscard]] std::size_t group_column_count(const std::filesystem::path& path,
                                             const LogReadSettings& settings = {});

/// Checks a log that did not come from a file: lengths, values finite but the voltages, time
/// strictly increasing. \param missing_allowed NaN may stand for a current and a temperature
/// \throws Error naming column, row (from 0) and value
void check_log(const GroupLog& log, bool missing_allowed = false);

}  // namespace voltkeel
