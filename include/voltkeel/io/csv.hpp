#pragma once
/// \file
/// Logs of cells and packs: CSV in, CSV out. Units and the sign of the current: voltkeel/units.hpp.

#include <cstddef>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace voltkeel {

/// A log: one entry per row in each vector, time strictly increasing, every value finite.
struct Log {
    std::vector<double> time_s;            ///< time since an origin of the logger's choice
    std::vector<double> current_A;         ///< positive = charge
    std::vector<double> voltage_V;         ///< at the terminals
    std::vector<double> temperature_degC;  ///< where the logger's sensor sits
    std::string source;                    ///< the file it came from, for messages

    /// Number of rows.
    [[nodiscard]] std::size_t size() const { return time_s.size(); }
};

/// Which direction of current the file writes as positive.
enum class CurrentSign { charge_positive, discharge_positive };

/// The names of the columns in the header row of the file, compared letter by letter.
struct LogColumns {
    std::string time = "time_s";                   ///< holds s
    std::string current = "current_A";             ///< holds A
    std::string voltage = "voltage_V";             ///< holds V
    std::string temperature = "temperature_degC";  ///< holds degC
};

/// How to read a log.
struct LogReadSettings {
    LogColumns columns;

    /// The sign the file uses. Nothing is guessed from the data.
    CurrentSign current_sign = CurrentSign::charge_positive;

    /// Offset of the current sensor, charge positive: true current = logged current + offset. It is
    /// added after the sign is applied, and not to readings of exactly 0, which a tester writes
    /// when its output is open.
    double current_offset_A = 0;

    /// A longer step from one row to the next is reported as a gap; > 0, infinity reports none.
    double gap_s = 600;

    /// Stands in for every empty temperature cell, or for the whole column where the file has none.
    std::optional<double> temperature_degC;

    /// Between the fields of a row. Not a letter, digit, quote, line end, '.', '+' or '-'.
    char separator = ',';
};

/// What can be odd about the time of a row, compared with the last row kept.
enum class TimeFinding {
    gap,       ///< later by more than `gap_s`; the row is kept
    repeated,  ///< the same time; the row is left out
    backward,  ///< earlier; the row is left out
};

/// One row with an odd time.
struct LogFinding {
    TimeFinding kind = TimeFinding::gap;
    std::size_t line = 0;  ///< line of the file, counted from 1
    double time_s = 0;     ///< time in that row
    double step_s = 0;     ///< that time less the time of the last row kept
};

/// What reading a log came across. Nothing is left out of a log without standing here.
struct LogReport {
    std::vector<LogFinding> findings;     ///< in the order of the file
    std::size_t rows = 0;                 ///< rows kept, the size of the log
    std::size_t rows_dropped = 0;         ///< rows left out, each of them in `findings`
    std::size_t temperatures_filled = 0;  ///< temperatures taken from the settings
    bool last_line_open =
        false;  ///< no line end after the last row: its last value may have been cut short

    /// The report in plain words, one line per kind of finding.
    [[nodiscard]] std::string summary() const;
};

/// A log and what reading it came across.
struct LogReading {
    Log log;
    LogReport report;
};

/// Reads a log from a CSV file (RFC 4180, UTF-8 with or without a byte order mark, any line end but
/// a lone carriage return). The header row is required; columns may stand in any order, further
/// columns are ignored. Numbers are decimal, with '.', and correctly rounded; blanks around them
/// and a leading '+' are accepted. \param path the file; it is read whole, so a logger may go on
/// appending to it \param settings columns, sign, offset, gap, stand-in temperature, separator
/// \return the log in the units and sign of voltkeel/units.hpp, and the report
/// \throws Error when the file cannot be read, lacks a column or a data row, has a row with too few
/// or too many fields,
///   a blank line between rows, or a cell in a needed column that is no finite number; or when a
///   setting is out of range
[[nodiscard]] LogReading read_log(const std::filesystem::path& path,
                                  const LogReadSettings& settings = {});

/// Reads a log from CSV text, as `read_log` does.
/// \param text the text of the whole file
/// \param source what to call the text in messages
/// \param settings as in `read_log`
/// \return the log and the report
/// \throws Error as `read_log` does
[[nodiscard]] LogReading parse_log(std::string_view text, std::string source,
                                   const LogReadSettings& settings = {});

/// Checks a log that did not come from a file: columns of one length, every value finite, time
/// strictly increasing. \throws Error naming column, row (from 0) and value
void check_log(const Log& log);

/// Writes columns of numbers as a CSV file with a header row. The file appears complete or not at
/// all: it is written under a temporary name in the same folder and then renamed. \param path the
/// file; one that exists is replaced \param names name of each column \param columns one vector per
/// column, all of the same length, every value finite \param significant_digits 1 to 17; 17 writes
/// the shortest text that reads back to the same number \throws Error when names and columns do not
/// match, a value is not finite, or the file cannot be written
void write_csv(const std::filesystem::path& path, const std::vector<std::string>& names,
               const std::vector<std::vector<double>>& columns, int significant_digits = 9);

}  // namespace voltkeel
