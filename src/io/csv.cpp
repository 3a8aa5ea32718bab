#include "voltkeel/io/csv.hpp"

#include <algorithm>
#include <array>
#include <cfloat>
#include <charconv>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <initializer_list>
#include <limits>
#include <nlohmann/json.hpp>
#include <optional>
#include <utility>

#include "io/field_text.hpp"
#include "io/file_bytes.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/group_log.hpp"

namespace voltkeel {
namespace {

using detail::is_digit;
using detail::NumberProblem;
using detail::read_any_number;
using detail::shown;

// ---------------------------------------------------------------- text for messages

/// A number as a message can show it.
std::string shown(double value) {
    std::array<char, 32> text{};
    const auto end =
        std::to_chars(text.data(), text.data() + text.size(), value, std::chars_format::general, 9);
    return {text.data(), end.ptr};
}

/// A name as UTF-8. What is none is taken as Latin-1, in which many testers write a degree sign.
std::string as_utf8(const std::string& name) {
    try {
        (void)nlohmann::json(name).dump();
        return name;
    } catch (const nlohmann::json::type_error&) {
        std::string text;
        for (const char c : name) {
            const auto byte = static_cast<unsigned char>(c);
            if (byte < 0x80) {
                text += c;
            } else {
                text += static_cast<char>(0xC0U | (byte >> 6U));
                text += static_cast<char>(0x80U | (byte & 0x3FU));
            }
        }
        return text;
    }
}

std::string counted(std::size_t count, const std::string& noun) {
    return std::to_string(count) + " " + noun + (count == 1 ? "" : "s");
}

// ---------------------------------------------------------------- numbers

/// Reads a plain decimal, such as -12.0345, of at most 15 digits.
///
/// The digits are below 2^53 and the power of ten is at most 10^15, so both are exact in a double,
/// and their quotient is rounded once: the result is the correctly rounded one (Clinger, "How to
/// read floating point numbers accurately", PLDI 1990, the fast case). This is twice as fast as
/// std::from_chars, which takes everything else. \param at where to start \param end end of the
/// text \tparam point between whole and fraction \param value receives the number \return where the
/// number ends, or nullptr when it is not of this kind
template <char point>
const char* read_plain_decimal(const char* at, const char* end, double& value) {
    static constexpr std::array<double, 16> power_of_ten = {
        1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15};
    // A wider evaluation (x87) would round twice.
    if constexpr (FLT_EVAL_METHOD != 0) return nullptr;

    const bool negative = at != end && *at == '-';
    if (at != end && (negative || *at == '+')) ++at;
    std::uint64_t digits = 0;
    const char* const whole = at;
    for (; at != end && is_digit(*at); ++at)
        digits = 10 * digits + static_cast<unsigned>(*at - '0');
    auto digit_count = at - whole;
    std::ptrdiff_t decimals = 0;
    if (at != end && *at == point) {
        const char* const fraction = ++at;
        for (; at != end && is_digit(*at); ++at) {
            digits = 10 * digits + static_cast<unsigned>(*at - '0');
        }
        decimals = at - fraction;
        digit_count += decimals;
    }
    // More digits may have overflowed `digits`, which is unsigned and therefore harmless.
    if (digit_count < 1 || digit_count > 15) return nullptr;
    const double magnitude =
        static_cast<double>(digits) / power_of_ten[static_cast<std::size_t>(decimals)];
    value = negative ? -magnitude : magnitude;
    return at;
}

// ---------------------------------------------------------------- reading

constexpr std::size_t role_count = 4;
enum Role : std::uint8_t {
    role_time,
    role_current,
    role_voltage,
    role_temperature,
    role_ignored,
    role_clock,  ///< the time, written as a clock shows it
    role_group,  ///< the voltage of one group
    role_pack,   ///< the voltage of all groups, from another sensor
};

/// What a role is called: in the settings, and in the column names of other loggers.
struct RoleWords {
    std::string_view member;   ///< member of LogColumns
    std::string_view meaning;  ///< with the unit that is expected
    std::string_view hint;     ///< part of a column name that suggests this role, small letters
};
constexpr std::array<RoleWords, role_count> role_words = {{
    {"time", "the time in s", "time"},
    {"current", "the current in A", "current"},
    {"voltage", "the voltage in V", "volt"},
    {"temperature", "the temperature in degC", "temp"},
}};

const std::string& column_name(const LogColumns& columns, std::size_t role) {
    switch (role) {
        case role_time:
            return columns.time;
        case role_current:
            return columns.current;
        case role_voltage:
            return columns.voltage;
        default:
            return columns.temperature;
    }
}

const std::string& unit_name(const LogUnits& units, std::size_t role) {
    switch (role) {
        case role_time:
            return units.time;
        case role_current:
            return units.current;
        case role_voltage:
            return units.voltage;
        default:
            return units.temperature;
    }
}

/// A column name of another convention, with the unit it stands for.
struct KnownName {
    Role role;
    std::string_view name;
};
/// Names of the open Battery Data Format in the order they are looked for, labels for people before
/// names for machines (from memory, not re-read).
constexpr std::array<KnownName, 10> known_names = {{
    {role_time, "Test Time / s"},
    {role_time, "test_time_second"},
    {role_current, "Current / A"},
    {role_current, "current_ampere"},
    {role_voltage, "Voltage / V"},
    {role_voltage, "voltage_volt"},
    {role_temperature, "Surface Temperature T1 / degC"},
    {role_temperature, "surface_temperature_t1_celsius"},
    {role_temperature, "Ambient Temperature / degC"},
    {role_temperature, "ambient_temperature_celsius"},
}};

/// From the number in the file to our unit: (number + shift) * multiply / divide. Apart, so that
/// 1500 mV becomes the double nearest to 1.5.
struct Scale {
    double shift = 0;
    double multiply = 1;
    double divide = 1;

    [[nodiscard]] double of(double value) const { return (value + shift) * multiply / divide; }
    [[nodiscard]] bool is_one() const { return shift == 0 && multiply == 1 && divide == 1; }
};

struct UnitWord {
    Role role;
    std::string_view word;
    Scale scale;
};
constexpr std::array<UnitWord, 26> unit_words = {{
    {role_time, "s", {}},
    {role_time, "sec", {}},
    {role_time, "second", {}},
    {role_time, "seconds", {}},
    {role_time, "ms", {0, 1, 1000}},
    {role_time, "min", {0, 60, 1}},
    {role_time, "minutes", {0, 60, 1}},
    {role_time, "h", {0, 3600, 1}},
    {role_time, "hr", {0, 3600, 1}},
    {role_time, "hours", {0, 3600, 1}},
    {role_current, "A", {}},
    {role_current, "mA", {0, 1, 1000}},
    {role_current, "ampere", {}},
    {role_voltage, "V", {}},
    {role_voltage, "mV", {0, 1, 1000}},
    {role_voltage, "volt", {}},
    {role_temperature, "degC", {}},
    {role_temperature, "C", {}},
    {role_temperature,
     "\xC2\xB0"
     "C",
     {}},
    {role_temperature, "celsius", {}},
    {role_temperature, "K", {-273.15, 1, 1}},
    {role_temperature, "kelvin", {-273.15, 1, 1}},
    {role_temperature, "degF", {-32, 5, 9}},
    {role_temperature, "F", {-32, 5, 9}},
    {role_temperature,
     "\xC2\xB0"
     "F",
     {-32, 5, 9}},
    {role_temperature, "fahrenheit", {-32, 5, 9}},
}};

/// The scale of a unit; nullptr when it is none of this role.
const Scale* scale_of(std::size_t role, std::string_view word) {
    for (const UnitWord& unit : unit_words) {
        if (unit.role == role && unit.word == word) return &unit.scale;
    }
    return nullptr;
}

/// The units of a role, for messages.
std::string units_of(std::size_t role) {
    std::string text;
    for (const UnitWord& unit : unit_words) {
        if (unit.role == role) text += (text.empty() ? "" : ", ") + std::string(unit.word);
    }
    return text;
}

/// "Voltage / V", "Current (mA)" or "Time [min]" in two: what is measured, and in which unit.
/// The unit is empty where none stands.
std::pair<std::string_view, std::string_view> split_unit(std::string_view name) {
    const auto trimmed = [](std::string_view text) {
        while (!text.empty() && text.front() == ' ')
            text.remove_prefix(1);
        while (!text.empty() && text.back() == ' ')
            text.remove_suffix(1);
        return text;
    };
    name = trimmed(name);
    if (name.empty()) return {name, {}};
    const char close = name.back();
    const char open = close == ')' ? '(' : close == ']' ? '[' : '/';
    const std::size_t at = name.rfind(open);
    if (at == std::string_view::npos || at == 0) return {name, {}};
    std::string_view unit = name.substr(at + 1);
    if (open != '/') unit.remove_suffix(1);
    return {trimmed(name.substr(0, at)), trimmed(unit)};
}

/// Names of columns with a number in them: what stands before and behind it.
struct NumberedName {
    static constexpr std::string_view place = "{}";
    std::string before, behind;

    /// \return false where the name has no place for a number, or more than one
    bool take(std::string_view name) {
        const std::size_t at = name.find(place);
        if (at == std::string_view::npos) return false;
        before = name.substr(0, at);
        behind = name.substr(at + place.size());
        return behind.find(place) == std::string::npos;
    }

    /// The number of a column; -1 when it has another name. Numbers of more than four digits are
    /// none of groups.
    [[nodiscard]] int number_of(std::string_view name) const {
        constexpr std::size_t most_digits = 4;
        if (name.size() <= before.size() + behind.size() ||
            name.size() > before.size() + behind.size() + most_digits ||
            name.substr(0, before.size()) != before ||
            name.substr(name.size() - behind.size()) != behind) {
            return -1;
        }
        int number = 0;
        for (const char c :
             name.substr(before.size(), name.size() - before.size() - behind.size())) {
            if (!is_digit(c)) return -1;
            number = 10 * number + (c - '0');
        }
        return number;
    }

    [[nodiscard]] std::string with(int number) const {
        return before + std::to_string(number) + behind;
    }
};

/// The name of the columns of groups that is asked for; none where the settings name one column.
std::optional<NumberedName> group_name(const LogColumns& columns) {
    NumberedName name;
    const bool is_default = columns.voltage == LogColumns{}.voltage;
    if (name.take(is_default ? "voltage_{}_V" : columns.voltage)) return name;
    return std::nullopt;
}

/// A point in time: whole seconds and the fraction, which a double of both would blur.
struct ClockTime {
    std::int64_t second = 0;
    double fraction = 0;
    bool has_date = false;
    bool has_zone = false;
};

/// Days from 1970-01-01 to a date of the Gregorian calendar. The year is counted from March, so
/// that the leap day is its last.
std::int64_t days_to(std::int64_t year, std::int64_t month, std::int64_t day) {
    if (month < 3) --year;
    const std::int64_t from_march = (month + 9) % 12;
    const std::int64_t days_before_month = (153 * from_march + 2) / 5;
    return 365 * year + year / 4 - year / 100 + year / 400 + days_before_month + day - 1 - 719468;
}

/// Reads YYYY-MM-DD[T ]HH:MM[:SS[.s]][Z|+HH[:]MM] or HH:MM:SS[.s]; the fraction may have a comma,
/// as ISO 8601 allows.
/// \return false when the text is neither
bool read_clock(std::string_view text, ClockTime& time) {
    const char* at = text.data();
    const char* const end = at + text.size();
    const auto number = [&](std::ptrdiff_t fewest, std::ptrdiff_t most, std::int64_t& value) {
        const char* const start = at;
        for (value = 0; at != end && is_digit(*at) && at - start < most; ++at)
            value = 10 * value + (*at - '0');
        return at - start >= fewest;
    };
    const auto passed = [&](std::string_view any) {
        if (at == end || any.find(*at) == std::string_view::npos) return false;
        ++at;
        return true;
    };
    std::int64_t day = 0;
    time = {};
    if (text.size() >= 10 && text[4] == '-') {
        std::int64_t year = 0;
        std::int64_t month = 0;
        if (!number(4, 4, year) || !passed("-") || !number(2, 2, month) || !passed("-") ||
            !number(2, 2, day) || !passed("T ")) {
            return false;
        }
        constexpr std::array<std::int64_t, 12> month_days = {31, 29, 31, 30, 31, 30,
                                                             31, 31, 30, 31, 30, 31};
        const bool leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
        if (year < 1 || month < 1 || month > 12 || day < 1 ||
            day > month_days[static_cast<std::size_t>(month - 1)] ||
            (month == 2 && day == 29 && !leap)) {
            return false;
        }
        time.has_date = true;
        day = days_to(year, month, day);
    }
    std::int64_t hour = 0;
    std::int64_t minute = 0;
    std::int64_t second = 0;
    if (!number(time.has_date ? 2 : 1, time.has_date ? 2 : 7, hour) || !passed(":") ||
        !number(2, 2, minute)) {
        return false;
    }
    if (passed(":")) {
        if (!number(2, 2, second)) return false;
        if (passed(".,")) {
            double digit_value = 0.1;
            const char* const start = at;
            std::int64_t digits = 0;
            double scale = 1;
            for (; at != end && is_digit(*at); ++at) {
                if (at - start >= 12) continue;
                digits = 10 * digits + (*at - '0');
                scale *= 10;
            }
            if (at == start) return false;
            digit_value = static_cast<double>(digits) / scale;
            time.fraction = digit_value;
        }
    } else if (!time.has_date) {
        return false;  // 12:30 may be hours and minutes or minutes and seconds
    }
    // 24:00 and the leap second ISO 8601 allows are left to those who write them.
    if (minute > 59 || second > 59 || (time.has_date && hour > 23)) return false;
    time.second = 86400 * day + 3600 * hour + 60 * minute + second;
    if (time.has_date && at != end) {
        time.has_zone = true;
        if (passed("Z")) return at == end;
        const bool west = *at == '-';
        if (!passed("+-") || !number(2, 2, hour)) return false;
        minute = 0;
        if (at != end) {
            (void)passed(":");
            if (!number(2, 2, minute)) return false;
        }
        if (hour > 23 || minute > 59) return false;
        time.second -= (west ? -1 : 1) * (3600 * hour + 60 * minute);
    }
    return at == end;
}

void check_settings(const LogReadSettings& settings) {
    const char separator = settings.separator;
    const bool is_letter =
        (separator >= 'a' && separator <= 'z') || (separator >= 'A' && separator <= 'Z');
    if (is_letter || is_digit(separator) || separator == '\0' ||
        std::strchr("\"\r\n.+-", separator) != nullptr) {
        throw Error("LogReadSettings: separator " + shown(std::string_view(&separator, 1)) +
                    " must not be a letter, digit, quote, line end, '.', '+' or '-'");
    }
    if (!(settings.gap_s > 0)) {
        throw Error("LogReadSettings: gap_s = " + shown(settings.gap_s) + " must be > 0");
    }
    if (!std::isfinite(settings.current_offset_A)) {
        throw Error("LogReadSettings: current_offset_A = " + shown(settings.current_offset_A) +
                    " must be finite");
    }
    if (settings.temperature_degC && !std::isfinite(*settings.temperature_degC)) {
        throw Error("LogReadSettings: temperature_degC = " + shown(*settings.temperature_degC) +
                    " must be finite");
    }
    if (settings.decimal_comma && separator == ',') {
        throw Error("LogReadSettings: with decimal_comma the separator cannot be ','; is it ';'?");
    }
    for (std::size_t role = 0; role != role_count; ++role) {
        const std::string& unit = unit_name(settings.units, role);
        if (scale_of(role, unit) == nullptr) {
            throw Error("LogReadSettings: units." + std::string(role_words[role].member) + " " +
                        shown(unit) + " must be one of " + units_of(role));
        }
        for (std::size_t other = role + 1; other != role_count; ++other) {
            const std::string& name = column_name(settings.columns, role);
            if (name != column_name(settings.columns, other)) continue;
            throw Error("LogReadSettings: columns." + std::string(role_words[role].member) +
                        " and columns." + std::string(role_words[other].member) + " both are " +
                        shown(name));
        }
    }
}

class LogParser {
  public:
    /// \param groups the name of the columns of groups; none: one voltage
    LogParser(std::string_view text, std::string source, const LogReadSettings& settings,
              std::optional<NumberedName> groups = {})
        : settings_(settings),
          group_name_(std::move(groups)),
          separator_(settings.separator),
          point_(settings.decimal_comma ? ',' : '.'),
          at_(text.data()),
          end_(text.data() + text.size()),
          row_start_(at_) {
        check_settings(settings);
        reading_.log.source = std::move(source);
    }

    LogReading parse() {
        skip_byte_order_mark();
        read_header();
        reserve_rows();
        if (settings_.decimal_comma) {
            read_rows<','>();
        } else {
            read_rows<'.'>();
        }
        reading_.report.rows = reading_.log.size();
        if (clock_has_date_) {
            reading_.report.columns.front().unit = *clock_has_date_ ? "timestamp" : "elapsed";
        }
        if (reading_.report.rows == 0) fail(line_, "no data rows after the header");
        return std::move(reading_);
    }

    GroupLogReading parse_groups() {
        LogReading reading = parse();
        Log& log = reading.log;
        return {{std::move(log.time_s), std::move(log.current_A), std::move(log.temperature_degC),
                 std::move(group_voltage_V_), group_row_V_.size(), first_number_,
                 std::move(log.source), log.clock_origin_s, std::move(pack_voltage_V_)},
                std::move(reading.report)};
    }

    /// Columns of groups in the header, 0 when it lacks another one that is needed.
    std::size_t count_group_columns() {
        try {
            skip_byte_order_mark();
            find_names();
        } catch (const Error&) {
            return 0;  // whoever reads the file will say it
        }
        if (!names_needed_columns()) return 0;
        return static_cast<std::size_t>(
            std::count_if(names_.begin(), names_.end(),
                          [&](const std::string& name) { return group_number(name) >= 0; }));
    }

  private:
    [[noreturn]] void fail(std::size_t line, const std::string& what) const {
        throw Error(reading_.log.source + ":" + std::to_string(line) + ": " + what);
    }

    [[noreturn]] void fail_cell(std::size_t column, const std::string& what) const {
        fail(line_,
             "column " + shown(names_[column]) + " (" + std::to_string(column + 1) + "): " + what);
    }

    // -------- characters

    [[nodiscard]] bool is_blank(char c) const { return (c == ' ' || c == '\t') && c != separator_; }

    [[nodiscard]] const char* skip_blanks(const char* at) const {
        while (at != end_ && is_blank(*at))
            ++at;
        return at;
    }

    [[nodiscard]] bool is_line_end(const char* at) const {
        return at == end_ || *at == '\n' || (*at == '\r' && (at + 1 == end_ || at[1] == '\n'));
    }

    [[nodiscard]] bool is_field_end(const char* at) const {
        return at == end_ || *at == separator_ || is_line_end(at);
    }

    [[nodiscard]] std::string_view without_blanks(const char* first, const char* last) const {
        first = skip_blanks(first);
        while (last > first && is_blank(last[-1]))
            --last;
        // A quoted field of blanks only lets `first` pass its end.
        return first < last ? std::string_view(first, static_cast<std::size_t>(last - first))
                            : std::string_view();
    }

    // -------- fields

    /// Takes the field at `at_` and stops at the separator or line end behind it.
    /// \return its text without outer quotes and blanks; quotes inside a quoted field are still
    /// doubled
    std::string_view take_field() {
        const char* const first = skip_blanks(at_);
        if (first == end_ || *first != '"') {
            const char* const start = at_;
            while (!is_field_end(at_))
                ++at_;
            return without_blanks(start, at_);
        }
        const std::size_t opened = line_;
        const char* const start = first + 1;
        for (at_ = start;; ++at_) {
            if (at_ == end_) fail(opened, "the quote that opens on this line is never closed");
            if (*at_ == '\n') ++line_;
            if (*at_ != '"') continue;
            if (at_ + 1 == end_ || at_[1] != '"') break;
            ++at_;  // a doubled quote stands for one
        }
        const std::string_view inside = without_blanks(start, at_);
        at_ = skip_blanks(at_ + 1);
        if (!is_field_end(at_)) fail(line_, "text after the closing quote of a field");
        return inside;
    }

    void end_line() {
        if (at_ != end_ && *at_ == '\r') ++at_;
        if (at_ == end_) {
            reading_.report.last_line_open = true;
        } else {
            ++at_;
            ++line_;
        }
    }

    /// Says that the present row has the wrong number of fields, if that is so.
    void check_field_count() {
        at_ = row_start_;
        line_ = row_line_;
        std::size_t found = 1;
        for (take_field(); !is_line_end(at_); take_field()) {
            ++at_;
            ++found;
        }
        const bool cut = at_ == end_ && found < names_.size();
        if (found == names_.size()) return;
        fail(row_line_, "the row has " + counted(found, "field") + ", the header has " +
                            std::to_string(names_.size()) +
                            (cut ? "; the file ends inside this row" : ""));
    }

    /// The number at `at_`, in a column that is needed.
    template <char point>
    double take_number(std::size_t column, std::size_t role) {
        double value = 0;
        const char* at = read_plain_decimal<point>(skip_blanks(at_), end_, value);
        if (at != nullptr) {
            at = skip_blanks(at);
            if (is_field_end(at)) {
                at_ = at;
                return value;
            }
        }
        return take_unusual_number(column, role);
    }

    /// The voltage of a group at `at_`; NaN where nothing came.
    template <char point>
    double take_group_voltage(std::size_t column, const Scale& scale) {
        double value = 0;
        const char* at = read_plain_decimal<point>(skip_blanks(at_), end_, value);
        if (at != nullptr) at = skip_blanks(at);
        if (at != nullptr && is_field_end(at)) {
            at_ = at;
        } else {
            const std::size_t line = line_;
            const std::string_view text = take_field();
            const NumberProblem problem = read_written_number(text, value);
            if (text.empty() || problem == NumberProblem::not_finite)
                return std::numeric_limits<double>::quiet_NaN();
            if (problem != NumberProblem::none) {
                check_field_count();
                line_ = line;
                fail_cell(column, shown(text) + (problem == NumberProblem::too_large
                                                     ? " is beyond the range of a double"
                                                     : " is not a number"));
            }
        }
        return scale.of(value);
    }

    double take_unusual_number(std::size_t column, std::size_t role) {
        const std::size_t line = line_;
        const std::string_view text = take_field();
        if (text.empty() && role == role_temperature && settings_.temperature_degC) {
            temperature_filled_ = true;
            return *settings_.temperature_degC;
        }
        double value = 0;
        const NumberProblem problem = read_written_number(text, value);
        if (problem == NumberProblem::none) return value;
        if (settings_.keep_missing && role != role_time &&
            (text.empty() || problem == NumberProblem::not_finite)) {
            return std::numeric_limits<double>::quiet_NaN();
        }
        if (role == role_time && settings_.time_format == TimeFormat::automatic &&
            reading_.log.time_s.empty()) {
            ClockTime clock;
            if (read_clock(text, clock)) {
                roles_[column] = role_clock;
                clock_has_date_ = clock.has_date;
                return clock_time_s(column, clock);
            }
        }

        // A missing or surplus field moves all those behind it: then that is the trouble, not this
        // cell.
        check_field_count();
        line_ = line;
        if (text.empty() && role == role_temperature) {
            fail_cell(column, "the cell is empty; set temperature_degC to fill such cells");
        }
        if (text.empty()) fail_cell(column, "the cell is empty");
        if (problem == NumberProblem::not_finite) {
            fail_cell(column, shown(text) + " is not a finite number");
        }
        if (problem == NumberProblem::too_large) {
            fail_cell(column, shown(text) + " is beyond the range of a double");
        }
        if (role == role_time && text.find(':') != std::string_view::npos) {
            fail_cell(column, shown(text) +
                                  " is neither a number, a time stamp YYYY-MM-DD HH:MM:SS nor an "
                                  "elapsed time HH:MM:SS");
        }
        fail_cell(column, shown(text) + " is not a number");
    }

    /// Reads a number as the file writes its decimals.
    [[nodiscard]] NumberProblem read_written_number(std::string_view text, double& value) const {
        if (point_ == '.') return read_any_number(text, value);
        std::string with_point(text);
        for (char& c : with_point) {
            if (c == '.') return NumberProblem::not_a_number;  // of thousands: not read
            if (c == point_) c = '.';
        }
        return read_any_number(with_point, value);
    }

    /// The time at `at_`, written as a clock shows it.
    double take_clock(std::size_t column) {
        const std::size_t line = line_;
        const std::string_view text = take_field();
        ClockTime clock;
        if (read_clock(text, clock) && clock.has_date == *clock_has_date_) {
            return clock_time_s(column, clock);
        }
        check_field_count();
        line_ = line;
        if (text.empty()) fail_cell(column, "the cell is empty");
        fail_cell(column, shown(text) + (*clock_has_date_ ? " is no time stamp YYYY-MM-DD HH:MM:SS"
                                                          : " is no elapsed time HH:MM:SS"));
    }

    double clock_time_s(std::size_t column, const ClockTime& clock) {
        if (!clock.has_date) return static_cast<double>(clock.second) + clock.fraction;
        if (!clock_started_) {
            clock_started_ = true;
            clock_has_zone_ = clock.has_zone;
            // The whole second of the first row: fractions then stay the decimals that they are.
            clock_origin_s_ = clock.second;
            reading_.log.clock_origin_s = static_cast<double>(clock.second);
        }
        if (clock.has_zone != clock_has_zone_) {
            fail_cell(column, "some time stamps name their zone and some do not");
        }
        return static_cast<double>(clock.second - clock_origin_s_) + clock.fraction;
    }

    // -------- header

    void skip_byte_order_mark() {
        const std::string_view text(at_, static_cast<std::size_t>(end_ - at_));
        if (text.substr(0, 3) == "\xEF\xBB\xBF") at_ += 3;
        if (text.substr(0, 2) == "\xFF\xFE" || text.substr(0, 2) == "\xFE\xFF") {
            fail(1, "the file is UTF-16; save it as UTF-8");
        }
    }

    void read_header() {
        find_names();
        choose_columns();
        end_line();
        for (std::size_t i = 0; i != settings_.lines_after_header && at_ != end_; ++i)
            pass_line();
        reading_.report.header_line = header_line_;
        reading_.report.first_row_line = line_;
    }

    /// Takes the names in the line that is the header.
    void find_names() {
        if (std::all_of(at_, end_,
                        [this](char c) { return is_blank(c) || c == '\r' || c == '\n'; })) {
            fail(1, "the file is empty; a header row is required");
        }
        for (std::size_t line = 1; line < settings_.header_line; ++line)
            pass_line();
        if (at_ == end_) fail(line_, "the file ends before header_line");
        const char* const first = at_;
        const std::size_t first_line = line_;
        std::optional<Error> trouble;
        try {
            take_names();
        } catch (const Error& error) {
            trouble = error;  // a stray quote in a remark above the header, perhaps
        }
        if ((trouble || !names_needed_columns()) && settings_.header_line == 0) {
            const std::vector<std::string> first_names = names_;
            const char* const behind_first = at_;
            const std::size_t behind_first_line = line_;
            at_ = first;
            line_ = first_line;
            if (find_header()) {
                trouble.reset();
            } else {
                at_ = behind_first;
                line_ = behind_first_line;
                names_ = first_names;
                header_line_ = first_line;
            }
        }
        if (trouble) throw Error(*trouble);
    }

    /// Takes the names in the line at `at_`.
    void take_names() {
        names_.clear();
        header_line_ = line_;
        for (;;) {
            std::string name(take_field());
            for (std::size_t i = 0; (i = name.find("\"\"", i)) != std::string::npos; ++i) {
                name.erase(i, 1);
            }
            names_.push_back(as_utf8(name));
            if (is_line_end(at_)) break;
            ++at_;
        }
    }

    /// Passes the rest of the line at `at_`, whatever it holds.
    void pass_line() {
        at_ = std::find(at_, end_, '\n');
        if (at_ == end_) return;
        ++at_;
        ++line_;
    }

    /// Looks for the line that names the columns. \return whether there is one; then its names are
    /// taken
    bool find_header() {
        constexpr std::size_t most_lines = 200;
        const char* const text_end = end_;
        for (std::size_t i = 0; i != most_lines; ++i) {
            pass_line();
            if (at_ == text_end) return false;
            const std::size_t line = line_;
            const char* const start = at_;
            end_ = std::find(at_, text_end, '\n');
            bool found = false;
            try {
                take_names();
                found = names_needed_columns();
            } catch (const Error&) {  // a stray quote: no header
            }
            if (found && at_ != start && end_ != text_end) {
                // `at_` may stand on the '\r'.
                end_ = text_end;
                return true;
            }
            end_ = text_end;
            at_ = start;
            line_ = line;
        }
        return false;
    }

    /// Whether a column of the file has a name that is looked for.
    [[nodiscard]] bool is_named(const std::string& name, std::string_view wanted) const {
        return name == wanted || (settings_.units_from_header && split_unit(name).first == wanted);
    }

    /// The column of a role, names_.size() when there is none. Our name comes first.
    [[nodiscard]] std::size_t column_of(std::size_t role, std::string& wanted) const {
        const auto place = [&](std::string_view name) {
            return static_cast<std::size_t>(
                std::find_if(names_.begin(), names_.end(),
                             [&](const std::string& n) { return is_named(n, name); }) -
                names_.begin());
        };
        wanted = column_name(settings_.columns, role);
        std::size_t column = place(wanted);
        const bool is_default = wanted == column_name(LogColumns{}, role);
        for (std::size_t i = 0; i != known_names.size() && is_default && column == names_.size();
             ++i) {
            if (known_names[i].role != role) continue;
            column = place(known_names[i].name);
            if (column != names_.size()) wanted = known_names[i].name;
        }
        return column;
    }

    /// A voltage without a name is not asked for, nor one beside those of groups.
    [[nodiscard]] bool not_read(std::size_t role) const {
        return role == role_voltage && (group_name_ || settings_.columns.voltage.empty());
    }

    /// The number of the group whose voltage a column holds; -1 when it is none.
    [[nodiscard]] int group_number(const std::string& name) const {
        int number = group_name_->number_of(name);
        if (number < 0 && settings_.units_from_header)
            number = group_name_->number_of(split_unit(name).first);
        return number;
    }

    [[nodiscard]] bool names_needed_columns() const {
        std::string wanted;
        for (const std::size_t role : {role_time, role_current, role_voltage}) {
            if (not_read(role)) continue;
            if (column_of(role, wanted) == names_.size()) return false;
        }
        return !group_name_ ||
               std::any_of(names_.begin(), names_.end(),
                           [&](const std::string& name) { return group_number(name) >= 0; });
    }

    void choose_columns() {
        roles_.assign(names_.size(), role_ignored);
        for (std::size_t role = 0; role != role_count; ++role) {
            if (not_read(role)) continue;
            std::string wanted;
            const std::size_t column = column_of(role, wanted);
            if (column == names_.size()) {
                if (role == role_temperature && settings_.temperature_degC) continue;
                fail_missing(role);
            }
            if (std::any_of(names_.begin() + static_cast<std::ptrdiff_t>(column) + 1, names_.end(),
                            [&](const std::string& name) { return is_named(name, wanted); })) {
                fail(header_line_,
                     "column " + shown(wanted) + " stands more than once in the header");
            }
            roles_[column] = static_cast<Role>(role);
            take_unit(role, column, wanted == column_name(settings_.columns, role));
        }
        if (group_name_) {
            choose_groups();
            choose_pack_voltage();
        }
        if (settings_.time_format == TimeFormat::timestamp ||
            settings_.time_format == TimeFormat::elapsed) {
            clock_has_date_ = settings_.time_format == TimeFormat::timestamp;
            std::replace(roles_.begin(), roles_.end(), role_time, role_clock);
        }
        temperature_column_ =
            std::find(roles_.begin(), roles_.end(), role_temperature) != roles_.end();
    }

    /// Finds the columns of groups, which are numbered without a gap.
    void choose_groups() {
        constexpr std::size_t none = std::numeric_limits<std::size_t>::max();
        std::vector<std::size_t> column_of_number;
        group_of_.assign(names_.size(), 0);
        for (std::size_t column = 0; column != names_.size(); ++column) {
            const int number = roles_[column] == role_ignored ? group_number(names_[column]) : -1;
            if (number < 0) continue;
            const auto at = static_cast<std::size_t>(number);
            if (at >= column_of_number.size()) column_of_number.resize(at + 1, none);
            if (column_of_number[at] != none) {
                fail(header_line_, "columns " + shown(names_[column_of_number[at]]) + " and " +
                                       shown(names_[column]) + " both are group " +
                                       std::to_string(number));
            }
            column_of_number[at] = column;
        }
        if (column_of_number.empty()) fail_missing(role_voltage);
        first_number_ = column_of_number[0] == none ? 1 : 0;
        const auto first = static_cast<std::size_t>(first_number_);
        for (std::size_t at = first; at != column_of_number.size(); ++at) {
            if (column_of_number[at] != none) continue;
            fail(header_line_, "no column " + shown(group_name_->with(static_cast<int>(at))) +
                                   ", but " + shown(names_[column_of_number.back()]) +
                                   ": groups are numbered from 0 or 1 without a gap");
        }
        const std::size_t groups = column_of_number.size() - first;
        if (groups > most_log_groups) {
            fail(header_line_, std::to_string(groups) + " columns of groups are more than " +
                                   std::to_string(most_log_groups));
        }
        group_row_V_.resize(groups);
        for (std::size_t at = first; at != column_of_number.size(); ++at) {
            const std::size_t column = column_of_number[at];
            roles_[column] = role_group;
            group_of_[column] = at - first;
            take_unit(role_voltage, column, true);
            if (at == first) continue;
            // One entry in the report stands for all.
            const std::string unit = reading_.report.columns.back().unit;
            reading_.report.columns.pop_back();
            if (unit != reading_.report.columns.back().unit) {
                fail(header_line_, "column " + shown(names_[column]) + " is in " + unit + ", " +
                                       shown(reading_.report.columns.back().name) + " in " +
                                       reading_.report.columns.back().unit);
            }
        }
        LogColumnTaken& all = reading_.report.columns.back();
        all.quantity = "voltage_{}_V";
        all.name = group_name_->before + std::string(NumberedName::place) + group_name_->behind;
    }

    /// The column of another sensor, where there is one. It is read in the units of the groups.
    void choose_pack_voltage() {
        const std::string& wanted = settings_.columns.pack_voltage;
        for (std::size_t column = 0; column != names_.size(); ++column) {
            if (roles_[column] != role_ignored || !is_named(names_[column], wanted)) continue;
            if (pack_voltage_column_) {
                fail(header_line_,
                     "column " + shown(wanted) + " stands more than once in the header");
            }
            roles_[column] = role_pack;
            pack_voltage_column_ = true;
            const Scale of_groups = scales_[role_voltage];
            take_unit(role_voltage, column, true);
            pack_scale_ = scales_[role_voltage];
            scales_[role_voltage] = of_groups;
            reading_.report.columns.back().quantity = LogColumns{}.pack_voltage;
        }
        if (!pack_voltage_column_ && wanted != LogColumns{}.pack_voltage && !wanted.empty())
            fail(header_line_, "no column " + shown(wanted) + " for the voltage of the pack");
    }

    /// Notes the column, and the unit it holds.
    void take_unit(std::size_t role, std::size_t column, bool by_our_settings) {
        std::string unit =
            by_our_settings ? unit_name(settings_.units, role) : unit_name(LogUnits{}, role);
        if (settings_.units_from_header) {
            const std::string_view written = split_unit(names_[column]).second;
            if (!written.empty()) {
                if (scale_of(role, written) == nullptr) {
                    fail(header_line_, "column " + shown(names_[column]) + ": the unit " +
                                           shown(written) + " is none of " + units_of(role));
                }
                unit = written;
            }
        }
        scales_[role] = *scale_of(role, unit);
        converts_ = converts_ || !scales_[role].is_one();
        reading_.report.columns.push_back(
            {column_name(LogColumns{}, role), names_[column], std::move(unit)});
    }

    [[noreturn]] void fail_missing(std::size_t role) const {
        const RoleWords& words = role_words[role];
        const std::string wanted = role == role_voltage && group_name_
                                       ? group_name_->with(0) + " or " + group_name_->with(1)
                                       : column_name(settings_.columns, role);
        std::string text = "no column " + shown(wanted) + "; the header has ";
        for (std::size_t i = 0; i != names_.size(); ++i) {
            text += (i == 0 ? "" : ", ") + shown(names_[i]);
        }
        if (names_.size() == 1 && names_[0].find_first_of(",;\t|") != std::string::npos) {
            fail(header_line_, text + "; is " +
                                   shown(names_[0].substr(names_[0].find_first_of(",;\t|"), 1)) +
                                   " the separator?");
        }
        double number = 0;
        if (std::all_of(names_.begin(), names_.end(), [&](const std::string& name) {
                return read_any_number(name, number) == NumberProblem::none;
            })) {
            fail(header_line_, text + "; the first row must name the columns");
        }
        const auto similar = [&](const std::string& name) {
            std::string small;
            for (const char c : name) {
                small += c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
            }
            return small.find(words.hint) != std::string::npos;
        };
        const auto candidate = std::find_if(names_.begin(), names_.end(), similar);
        const std::string setting = "set columns." + std::string(words.member);
        if (candidate != names_.end()) {
            text += "; if " + shown(*candidate) + " is " + std::string(words.meaning) + ", " +
                    setting + " to it";
        } else {
            text += "; " + setting + " to the one that holds " + std::string(words.meaning);
        }
        if (role == role_temperature) text += ", or give temperature_degC for the whole log";
        if (role == role_voltage && !group_name_ && wanted.find("{}") != std::string::npos)
            text += "; {} stands for the number of a group in a log of groups alone";
        fail(header_line_, text);
    }

    // -------- rows

    /// Makes room from the row length at the start of the data: growing vectors copy, and the
    /// copies cost most.
    void reserve_rows() {
        const auto left = static_cast<std::size_t>(end_ - at_);
        const std::size_t sample = std::min<std::size_t>(left, 65536);
        const auto sample_rows = static_cast<std::size_t>(
            1 + std::count(at_, at_ + static_cast<std::ptrdiff_t>(sample), '\n'));
        // No row of three fields is shorter than 6 characters: bounds what a misleading start can
        // ask for.
        const std::size_t row_length = std::max<std::size_t>(6, sample / sample_rows);
        const std::size_t rows = left / row_length + left / row_length / 16 + 2;
        Log& log = reading_.log;
        for (auto* column : {&log.time_s, &log.current_A, &log.voltage_V, &log.temperature_degC}) {
            column->reserve(rows);
        }
        group_voltage_V_.reserve(rows * group_row_V_.size());
        if (pack_voltage_column_) pack_voltage_V_.reserve(rows);
    }

    template <char point>
    void read_rows() {
        std::array<double, role_count> values{};
        values[role_temperature] = settings_.temperature_degC.value_or(0);
        while (at_ != end_) {
            if (is_line_end(skip_blanks(at_))) {
                pass_blank_end();
                return;
            }
            row_start_ = at_;
            row_line_ = line_;
            temperature_filled_ = !temperature_column_;
            for (std::size_t column = 0; column != roles_.size(); ++column) {
                if (column != 0) {
                    if (is_line_end(at_)) check_field_count();
                    ++at_;
                }
                const Role role = roles_[column];
                if (role < role_ignored) {
                    values[role] = take_number<point>(column, role);
                } else if (role == role_ignored) {
                    take_field();
                } else if (role == role_group) {
                    group_row_V_[group_of_[column]] =
                        take_group_voltage<point>(column, scales_[role_voltage]);
                } else if (role == role_pack) {
                    pack_V_ = take_group_voltage<point>(column, pack_scale_);
                } else {
                    values[role_time] = take_clock(column);
                }
            }
            if (!is_line_end(at_)) check_field_count();
            end_line();
            if (converts_) convert(values);
            keep_row(values);
        }
    }

    /// Turns a row into our units. A clock time and a temperature from the settings are in them
    /// already.
    void convert(std::array<double, role_count>& values) const {
        for (std::size_t role = 0; role != role_count; ++role) {
            if (role == role_temperature && temperature_filled_) continue;
            if (role == role_time && clock_has_date_.has_value()) continue;
            if (std::isnan(values[role])) continue;  // did not come
            values[role] = scales_[role].of(values[role]);
            if (!std::isfinite(values[role])) {
                fail(row_line_,
                     std::string(role_words[role].meaning) + " is beyond the range of a double");
            }
        }
    }

    /// Passes blank lines, behind which nothing may stand.
    void pass_blank_end() {
        const std::size_t blank_line = line_;
        while (at_ != end_) {
            at_ = skip_blanks(at_);
            if (!is_line_end(at_)) fail(blank_line, "a blank line between the rows");
            end_line();
        }
        reading_.report.last_line_open =
            false;  // whatever these lines lack, the last row has its line end
    }

    void keep_row(const std::array<double, role_count>& values) {
        Log& log = reading_.log;
        LogReport& report = reading_.report;
        const double time_s = values[role_time];
        if (!log.time_s.empty()) {
            const double step_s = time_s - log.time_s.back();
            if (!(step_s > 0)) {
                const auto kind = step_s < 0 ? TimeFinding::backward : TimeFinding::repeated;
                report.findings.push_back({kind, row_line_, time_s, step_s});
                ++report.rows_dropped;
                return;
            }
            if (step_s > settings_.gap_s) {
                report.findings.push_back({TimeFinding::gap, row_line_, time_s, step_s});
            }
        }
        if (temperature_filled_) ++report.temperatures_filled;
        for (const std::size_t role : {role_current, role_voltage, role_temperature})
            report.readings_missing += std::isnan(values[role]) ? 1 : 0;
        // Exactly 0 stays 0, and does not turn into -0.
        double current_A = 0;
        if (values[role_current] != 0) {
            const bool same_sign = settings_.current_sign == CurrentSign::charge_positive;
            current_A = (same_sign ? values[role_current] : -values[role_current]) +
                        settings_.current_offset_A;
            if (std::isinf(current_A))
                fail(row_line_, "the current with current_offset_A added is too large");
        }
        log.time_s.push_back(time_s);
        log.current_A.push_back(current_A);
        if (group_name_) {
            group_voltage_V_.insert(group_voltage_V_.end(), group_row_V_.begin(),
                                    group_row_V_.end());
            if (pack_voltage_column_) pack_voltage_V_.push_back(pack_V_);
        } else {
            log.voltage_V.push_back(values[role_voltage]);
        }
        log.temperature_degC.push_back(values[role_temperature]);
    }

    const LogReadSettings& settings_;
    const std::optional<NumberedName> group_name_;  ///< set when groups are read
    const char separator_;
    const char point_;
    const char* at_;
    const char* end_;
    const char* row_start_;
    std::size_t line_ = 1;
    std::size_t row_line_ = 1;
    std::size_t header_line_ = 1;
    std::array<Scale, role_count> scales_{};
    bool converts_ = false;               ///< some unit is not ours
    std::optional<bool> clock_has_date_;  ///< set when the time is written as a clock shows it
    bool clock_started_ = false;
    bool clock_has_zone_ = false;
    std::int64_t clock_origin_s_ = 0;
    bool temperature_column_ = false;
    bool pack_voltage_column_ = false;
    Scale pack_scale_{};
    double pack_V_ = 0;  ///< in the present row
    std::vector<double> pack_voltage_V_;
    bool temperature_filled_ = false;  ///< in the present row
    std::vector<std::string> names_;
    std::vector<Role> roles_;
    std::vector<std::size_t> group_of_;  ///< of each column
    std::vector<double> group_row_V_;    ///< of the present row
    std::vector<double> group_voltage_V_;
    int first_number_ = 0;
    LogReading reading_;
};

// ---------------------------------------------------------------- writing

/// A name as a CSV field, quoted where RFC 4180 asks for it or a reader could mistake it.
std::string as_field(const std::string& name) {
    const bool plain = name.find_first_of(",;\"\r\n\t") == std::string::npos && !name.empty() &&
                       name.front() != ' ' && name.back() != ' ';
    if (plain) return name;
    std::string field = "\"";
    for (const char c : name)
        field += c == '"' ? std::string("\"\"") : std::string(1, c);
    return field + "\"";
}

void check_table(const std::string& file, const std::vector<std::string>& names,
                 const std::vector<std::vector<double>>& columns, int significant_digits) {
    const auto check = [&](bool good, const std::string& what) {
        if (!good) throw Error(file + ": " + what);
    };
    check(significant_digits >= 1 && significant_digits <= 17,
          "significant_digits = " + std::to_string(significant_digits) + " must be from 1 to 17");
    check(!columns.empty(), "no columns to write");
    check(names.size() == columns.size(),
          counted(names.size(), "name") + " for " + counted(columns.size(), "column"));
    for (std::size_t i = 0; i != columns.size(); ++i) {
        check(columns[i].size() == columns[0].size(),
              "column " + shown(names[i]) + " has " + counted(columns[i].size(), "row") +
                  ", column " + shown(names[0]) + " has " + std::to_string(columns[0].size()));
        const auto bad = std::find_if_not(columns[i].begin(), columns[i].end(),
                                          [](double value) { return std::isfinite(value); });
        if (bad == columns[i].end()) continue;
        check(false, "column " + shown(names[i]) + ", row " +
                         std::to_string(bad - columns[i].begin() + 1) + ": " + shown(*bad) +
                         " is not a finite number");
    }
}

// ---------------------------------------------------------------- report

/// "(lines 4, 7, 9)", with the first few only.
std::string lines_of(const std::vector<LogFinding>& findings, TimeFinding kind) {
    constexpr std::size_t most = 5;
    std::string text;
    std::size_t count = 0;
    for (const LogFinding& finding : findings) {
        if (finding.kind != kind || ++count > most) continue;
        text += (count == 1 ? "" : ", ") + std::to_string(finding.line);
    }
    if (count > most) text += " and " + std::to_string(count - most) + " more";
    return (count == 1 ? "(line " : "(lines ") + text + ")";
}

}  // namespace

std::string LogReport::summary() const {
    std::array<std::size_t, 3> counts{};
    const LogFinding* longest = nullptr;
    for (const LogFinding& finding : findings) {
        ++counts.at(static_cast<std::size_t>(finding.kind));
        if (finding.kind != TimeFinding::gap) continue;
        if (longest == nullptr || finding.step_s > longest->step_s) longest = &finding;
    }
    const auto count_of = [&](TimeFinding kind) {
        return counts.at(static_cast<std::size_t>(kind));
    };
    std::string text =
        counted(rows, "row") + " kept, " + std::to_string(rows_dropped) + " left out.";
    if (std::any_of(columns.begin(), columns.end(),
                    [](const LogColumnTaken& column) { return column.name != column.quantity; })) {
        text += "\nColumns: ";
        for (const LogColumnTaken& column : columns) {
            text += (&column == &columns.front() ? "" : ", ") + column.quantity + " from " +
                    shown(column.name) + " in " + column.unit;
        }
        text += ".";
    }
    if (longest != nullptr) {
        text += "\n" + counted(count_of(TimeFinding::gap), "gap") + " in time " +
                lines_of(findings, TimeFinding::gap) + ", the longest " + shown(longest->step_s) +
                " s before line " + std::to_string(longest->line) + ".";
    }
    if (count_of(TimeFinding::repeated) != 0) {
        text += "\n" + counted(count_of(TimeFinding::repeated), "row") +
                " left out with the time of the row before " +
                lines_of(findings, TimeFinding::repeated) + ".";
    }
    if (count_of(TimeFinding::backward) != 0) {
        text += "\n" + counted(count_of(TimeFinding::backward), "row") +
                " left out with a time before that of the last row kept " +
                lines_of(findings, TimeFinding::backward) + ".";
    }
    if (temperatures_filled != 0) {
        text += "\n" + counted(temperatures_filled, "temperature") +
                " missing, filled with the given one.";
    }
    if (readings_missing != 0) text += "\n" + counted(readings_missing, "reading") + " missing.";
    if (last_line_open) {
        text += "\nThe last row has no line end: its last value may have been cut short.";
    }
    return text;
}

std::size_t LogReport::line_of(std::size_t row) const {
    std::size_t line = first_row_line + row;
    for (const LogFinding& finding : findings) {
        if (finding.kind != TimeFinding::gap && finding.line <= line) ++line;
    }
    return line;
}

LogReading read_log(const std::filesystem::path& path, const LogReadSettings& settings) {
    const detail::Bytes bytes = detail::read_bytes(path);
    return parse_log(bytes.view(), path.string(), settings);
}

LogReading parse_log(std::string_view text, std::string source, const LogReadSettings& settings) {
    return LogParser(text, std::move(source), settings).parse();
}

GroupLogReading read_group_log(const std::filesystem::path& path, const LogReadSettings& settings) {
    const detail::Bytes bytes = detail::read_bytes(path);
    return parse_group_log(bytes.view(), path.string(), settings);
}

GroupLogReading parse_group_log(std::string_view text, std::string source,
                                const LogReadSettings& settings) {
    const std::optional<NumberedName> name = group_name(settings.columns);
    if (!name) {
        throw Error("LogReadSettings: columns.voltage " + shown(settings.columns.voltage) +
                    " must hold {} once, where the number of the group stands");
    }
    return LogParser(text, std::move(source), settings, name).parse_groups();
}

std::size_t group_column_count(const std::filesystem::path& path, const LogReadSettings& settings) {
    const std::optional<NumberedName> name = group_name(settings.columns);
    if (!name) return 0;
    const detail::Bytes bytes = detail::read_bytes(path);
    return LogParser(bytes.view(), path.string(), settings, name).count_group_columns();
}

void write_csv(const std::filesystem::path& path, const std::vector<std::string>& names,
               const std::vector<std::vector<double>>& columns, int significant_digits) {
    check_table(path.string(), names, columns, significant_digits);
    detail::ReplacementFile file(path);
    std::string text;
    for (std::size_t i = 0; i != names.size(); ++i)
        text += (i == 0 ? "" : ",") + as_field(names[i]);
    text += '\n';
    std::array<char, 32> number{};
    char* const number_end = number.data() + number.size();
    for (std::size_t row = 0; row != columns[0].size(); ++row) {
        for (std::size_t i = 0; i != columns.size(); ++i) {
            if (i != 0) text += ',';
            const double value = columns[i][row];
            const auto written =
                significant_digits == std::numeric_limits<double>::max_digits10
                    ? std::to_chars(number.data(), number_end, value)
                    : std::to_chars(number.data(), number_end, value, std::chars_format::general,
                                    significant_digits);
            text.append(number.data(), written.ptr);
        }
        text += '\n';
        if (text.size() >= 65536) {
            file.write(text);
            text.clear();
        }
    }
    file.write(text);
    file.complete();
}

namespace {

struct NamedColumn {
    const char* name;
    const std::vector<double>& values;
};

/// Columns as long as the time, finite, and a time that goes on.
void check_columns(const std::string& source, const std::vector<double>& time_s,
                   std::initializer_list<NamedColumn> columns, bool missing_allowed) {
    for (const NamedColumn& column : columns) {
        if (column.values.size() != time_s.size()) {
            throw Error(source + ": " + column.name + " has " +
                        std::to_string(column.values.size()) + " values, time_s has " +
                        std::to_string(time_s.size()));
        }
        for (std::size_t k = 0; k < time_s.size(); ++k) {
            const double value = column.values[k];
            if (std::isnan(value) && missing_allowed && &column.values != &time_s) continue;
            if (!std::isfinite(value)) {
                throw Error(source + ": " + column.name + "[" + std::to_string(k) +
                            "] is not a finite number");
            }
        }
    }
    for (std::size_t k = 1; k < time_s.size(); ++k) {
        if (!(time_s[k] > time_s[k - 1])) {
            throw Error(source + ": time_s[" + std::to_string(k) +
                        "]: " + std::to_string(time_s[k]) + " is not after " +
                        std::to_string(time_s[k - 1]));
        }
    }
}

}  // namespace

void check_log(const Log& log, bool missing_allowed) {
    check_columns(log.source, log.time_s,
                  {{"time_s", log.time_s},
                   {"current_A", log.current_A},
                   {"voltage_V", log.voltage_V},
                   {"temperature_degC", log.temperature_degC}},
                  missing_allowed);
}

void check_log(const GroupLog& log, bool missing_allowed) {
    if (log.groups < 1 || log.groups > most_log_groups) {
        throw Error(log.source + ": groups " + std::to_string(log.groups) + " must be from 1 to " +
                    std::to_string(most_log_groups));
    }
    if (log.first_number != 0 && log.first_number != 1) {
        throw Error(log.source + ": first_number " + std::to_string(log.first_number) +
                    " must be 0 or 1");
    }
    check_columns(log.source, log.time_s,
                  {{"time_s", log.time_s},
                   {"current_A", log.current_A},
                   {"temperature_degC", log.temperature_degC}},
                  missing_allowed);
    if (!log.pack_voltage_V.empty() && log.pack_voltage_V.size() != log.size()) {
        throw Error(log.source + ": pack_voltage_V has " +
                    std::to_string(log.pack_voltage_V.size()) + " values, time_s has " +
                    std::to_string(log.size()));
    }
    if (log.voltage_V.size() != log.size() * log.groups) {
        throw Error(log.source + ": voltage_V has " + std::to_string(log.voltage_V.size()) +
                    " values, needs " + std::to_string(log.size()) + " rows of " +
                    std::to_string(log.groups) + " groups");
    }
}

}  // namespace voltkeel
