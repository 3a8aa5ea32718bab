#pragma once
/// \file
/// Speed over time, from a file or made by hand: what a road or propeller load is computed from.

#include <cstddef>
#include <filesystem>
#include <functional>
#include <string>
#include <string_view>
#include <vector>

namespace voltkeel {

/// Speed over time. Between its rows the speed follows a straight line.
struct SpeedTrace {
    std::vector<double> time_s;         ///< 2 rows or more, strictly increasing, -1e12 .. 1e12
    std::vector<double> speed_m_per_s;  ///< 0 .. 150
    /// Rise over run of the way between the row before and this one (that of the first row is not
    /// read), within -0.5 .. 0.5. Empty: level.
    std::vector<double> grade;
    std::string source;  ///< the file it came from, for messages

    /// Number of rows.
    [[nodiscard]] std::size_t size() const { return time_s.size(); }
};

/// How a file writes speed, for a column that is called `speed`.
enum class SpeedUnit {
    from_name,  ///< speed_m_per_s, speed_km_per_h, speed_mi_per_h or speed_kn; `speed` is refused
    m_per_s,    ///<
    km_per_h,   ///<
    mi_per_h,   ///< 0.44704 m/s (exact)
    kn,         ///< knot, 1852 m per hour (exact)
};

/// Reads a speed trace from a CSV file with a header row: a column `time_s`, one speed column, and
/// if there is one, `grade`. Columns may stand in any order; others are ignored.
/// \param path the file
/// \param unit of a column called `speed`; nothing is guessed from the numbers, and a column whose
///   name says another unit is refused
/// \throws Error naming file, line and column when the file cannot be read, a column is missing or
///   given twice, a cell is no finite number or out of bounds, or time does not increase
[[nodiscard]] SpeedTrace read_speed_trace(const std::filesystem::path& path,
                                          SpeedUnit unit = SpeedUnit::from_name);

/// Reads a speed trace from CSV text, as `read_speed_trace` does.
/// \param source what to call the text in messages
[[nodiscard]] SpeedTrace parse_speed_trace(std::string_view text, std::string source,
                                           SpeedUnit unit = SpeedUnit::from_name);

/// Checks a trace that did not come from a file.
/// \throws Error naming column, row (from 0), value and bound
void check_speed_trace(const SpeedTrace& trace);

/// Distance along a trace in m, exact for straight lines between the rows.
/// \throws Error as `check_speed_trace`
[[nodiscard]] double distance_m(const SpeedTrace& trace);

}  // namespace voltkeel
