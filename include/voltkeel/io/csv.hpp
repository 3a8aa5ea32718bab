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

/// A log: one entry per row in each vector, time strictly increasing, every value finite (but for
/// readings that did not come, see LogReadSettings::keep_missing).
struct Log {
    std::vector<double> time_s;            ///< time since an origin of the logger's choice
    std::vector<double> current_A;         ///< positive = charge
    std::vector<double> voltage_V;         ///< at the terminals
    std::vector<double> temperature_degC;  ///< where the logger's sensor sits
    std::string source;                    ///< the file it came from, for messages

    /// Where the file has time stamps: seconds from 1970-01-01 00:00 to the row time_s = 0, on the
    /// clock of the stamps (UTC when they name a zone).
    std::optional<double> clock_origin_s{};

    /// Number of rows.
    [[nodiscard]] std::size_t size() const { return time_s.size(); }
};

/// Which direction of current the file writes as positive.
enum class CurrentSign { charge_positive, discharge_positive };

/// The names of the columns in the header row of the file, compared letter by letter. A header that
/// is no UTF-8 is read as Latin-1.
///
/// A name left at its default also finds the columns of the open Battery Data Format, where a file
/// has none of ours: "Test Time / s", "Current / A", "Voltage / V", "Surface Temperature T1 /
/// degC", "Ambient Temperature / degC", or test_time_second, current_ampere, voltage_volt,
/// surface_temperature_t1_celsius, ambient_temperature_celsius (from memory, not re-read).
struct LogColumns {
    std::string time = "time_s";        ///< holds s
    std::string current = "current_A";  ///< holds A
    std::string voltage = "voltage_V";  ///< holds V; empty: not read, all 0; {}: see group_log.hpp
    std::string temperature = "temperature_degC";  ///< holds degC

    /// In a log of groups: the voltage of all in series, from a sensor of its own, in the units of
    /// `voltage`. Read where the file has it; a name other than the default must be there.
    std::string pack_voltage = "pack_voltage_V";
};

/// The units the columns hold. A column of the Battery Data Format has the unit in its name.
struct LogUnits {
    std::string time = "s";            ///< s, ms, min or h
    std::string current = "A";         ///< A or mA
    std::string voltage = "V";         ///< V or mV
    std::string temperature = "degC";  ///< degC (or C), K, degF (or F); a degree sign may stand
};

/// How the time column is written.
enum class TimeFormat {
    automatic,  ///< as the first row has it: nobody takes one of the three for another
    number,     ///< a number of `units.time`
    timestamp,  ///< ISO 8601: 2024-03-01T12:00:00.5 or with a blank for the T; Z or +01:00 may
                ///< follow
    elapsed,    ///< HH:MM:SS.s since the start, the hours unbounded
};

/// How to read a log.
struct LogReadSettings {
    LogColumns columns;
    LogUnits units;

    /// The units stand in the header: "Voltage / V", "Current (mA)" or "Time [min]". The names in
    /// `columns` may then leave the unit out. A column without one has that of `units`.
    bool units_from_header = false;

    TimeFormat time_format = TimeFormat::automatic;

    /// Numbers have ',' where others have '.'; needs another separator.
    bool decimal_comma = false;

    /// Line of the header, counted from 1. 0: the first line or, where that does not name the
    /// columns, the first of 200 lines that does.
    std::size_t header_line = 0;

    /// Lines to pass over behind the header, such as a line of units.
    std::size_t lines_after_header = 0;

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

    /// An empty, NaN or infinite cell of current, voltage or temperature is a reading that did not
    /// come, NaN in the log, and no error. For `replay` with SensorUse::replaced, which alone takes
    /// such logs.
    bool keep_missing = false;

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

/// A column that was read.
struct LogColumnTaken {
    std::string quantity;  ///< our name of it, such as voltage_V
    std::string name;      ///< its name in the file
    std::string unit;      ///< that it was read in; "timestamp" and "elapsed" for clock times
};

/// What reading a log came across. Nothing is left out of a log without standing here.
struct LogReport {
    std::vector<LogFinding> findings;     ///< in the order of the file
    std::vector<LogColumnTaken> columns;  ///< time, current, voltage and, if any, temperature
    std::size_t header_line = 1;          ///< line of the header
    std::size_t first_row_line = 2;       ///< line of the first data row
    std::size_t rows = 0;                 ///< rows kept, the size of the log
    std::size_t rows_dropped = 0;         ///< rows left out, each of them in `findings`
    std::size_t temperatures_filled = 0;  ///< temperatures taken from the settings
    std::size_t readings_missing = 0;     ///< current, voltage or temperature, with `keep_missing`
    bool last_line_open =
        false;  ///< no line end after the last row: its last value may have been cut short

    /// The report in plain words, one line per kind of finding. Columns are listed when one has
    /// another name than ours.
    [[nodiscard]] std::string summary() const;

    /// Line of the file that holds a row of the log; quoted line ends are not counted.
    [[nodiscard]] std::size_t line_of(std::size_t row) const;
};

/// A log and what reading it came across.
struct LogReading {
    Log log;
    LogReport report;
};

/// Reads a log from a CSV file (RFC 4180, UTF-8 with or without a byte order mark, any line end but
/// a lone carriage return). The header row is required; columns may stand in any order, further
/// columns are ignored. Numbers are decimal, with '.' (or ',' where set), and correctly rounded;
/// blanks around them and a leading '+' are accepted. \param path the file; it is read whole, so a
/// logger may go on appending to it \param settings columns, sign, offset, gap, stand-in
/// temperature, separator \return the log in the units and sign of voltkeel/units.hpp, and the
/// report \throws Error when the file cannot be read, lacks a column or a data row, has a row with
/// too few or too many fields,
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
/// strictly increasing. \param missing_allowed NaN may stand for a current, a voltage and a
/// temperature \throws Error naming column, row (from 0) and value
void check_log(const Log& log, bool missing_allowed = false);

/// Writes columns of numbers as a CSV file with a header row. The file appears complete or not at
/// all: it is written under a temporary name in the same folder and then renamed. \param path the
/// file; one that exists is replaced \param names name of each column \param columns one vector per
/// column, all of the same length, every value finite \param significant_digits 1 to 17; 17 writes
/// the shortest text that reads back to the same number \throws Error when names and columns do not
/// match, a value is not finite, or the file cannot be written
void write_csv(const std::filesystem::path& path, const std::vector<std::string>& names,
               const std::vector<std::vector<double>>& columns, int significant_digits = 9);

}  // namespace voltkeel
