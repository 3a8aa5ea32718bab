#include "voltkeel/simulate/speed_trace.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
#include <utility>

#include "io/field_text.hpp"
#include "io/file_bytes.hpp"
#include "simulate/bounds.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {
namespace {

using detail::grade_largest;
using detail::speed_largest_m_per_s;

constexpr double time_largest_s = 1e12;

struct SpeedColumn {
    const char* name;
    SpeedUnit unit;
    double m_per_s;  ///< of one unit
};

constexpr std::array<SpeedColumn, 4> speed_columns = {{
    {"speed_m_per_s", SpeedUnit::m_per_s, 1},
    {"speed_km_per_h", SpeedUnit::km_per_h, 1 / 3.6},
    {"speed_mi_per_h", SpeedUnit::mi_per_h, 0.44704},
    {"speed_kn", SpeedUnit::kn, 1852.0 / 3600},
}};

/// Text without blanks, and without quotes around it.
std::string_view trimmed(std::string_view text) {
    const auto blank = [](char c) { return c == ' ' || c == '\t' || c == '\r'; };
    while (!text.empty() && blank(text.front()))
        text.remove_prefix(1);
    while (!text.empty() && blank(text.back()))
        text.remove_suffix(1);
    if (text.size() >= 2 && text.front() == '"' && text.back() == '"') {
        text.remove_prefix(1);
        text.remove_suffix(1);
    }
    return text;
}

/// The fields of a row. A comma between quotes divides nothing.
std::vector<std::string_view> fields_of(std::string_view line) {
    std::vector<std::string_view> fields;
    bool quoted = false;
    std::size_t start = 0;
    for (std::size_t k = 0; k < line.size(); ++k) {
        if (line[k] == '"') quoted = !quoted;
        if (line[k] != ',' || quoted) continue;
        fields.push_back(trimmed(line.substr(start, k - start)));
        start = k + 1;
    }
    fields.push_back(trimmed(line.substr(start)));
    return fields;
}

/// Reads the text of one file.
class TraceParser {
  public:
    TraceParser(std::string_view text, std::string source, SpeedUnit unit)
        : rest_(text), source_(std::move(source)), unit_(unit) {}

    SpeedTrace parse() {
        if (rest_.substr(0, 3) == "\xEF\xBB\xBF") rest_.remove_prefix(3);
        std::string_view line;
        if (!next_line(line)) throw Error(source_ + ": is empty, needs a header row");
        read_header(fields_of(line));
        SpeedTrace trace;
        bool ended = false;
        while (next_line(line)) {
            if (trimmed(line).empty()) {
                ended = true;  // blank lines may only stand behind the last row
                continue;
            }
            if (ended) fail("a row behind a blank line");
            read_row(fields_of(line), trace);
        }
        if (trace.size() < 2) {
            throw Error(source_ + ": has " + std::to_string(trace.size()) +
                        " data rows, needs 2 or more");
        }
        trace.source = source_;
        return trace;
    }

  private:
    [[noreturn]] void fail(const std::string& what) const {
        throw Error(source_ + ":" + std::to_string(line_) + ": " + what);
    }

    bool next_line(std::string_view& line) {
        if (rest_.empty()) return false;
        const std::size_t end = rest_.find('\n');
        line = rest_.substr(0, end);
        rest_.remove_prefix(end == std::string_view::npos ? rest_.size() : end + 1);
        ++line_;
        return true;
    }

    void read_header(const std::vector<std::string_view>& names) {
        count_ = names.size();
        time_ = column_called(names, "time_s");
        grade_ = column_called(names, "grade");
        speed_ = column_called(names, "speed");
        if (speed_) speed_name_ = "speed";
        SpeedUnit unit = unit_;
        for (const SpeedColumn& column : speed_columns) {
            const auto found = column_called(names, column.name);
            if (!found) continue;
            if (speed_) {
                fail("has two speed columns, '" + speed_name_ + "' and '" + column.name + "'");
            }
            if (unit_ != SpeedUnit::from_name && unit_ != column.unit) {
                fail("the column '" + std::string(column.name) +
                     "' is not in the unit that was given");
            }
            speed_ = found;
            speed_name_ = column.name;
            unit = column.unit;
        }
        if (!time_) fail("has no column 'time_s'");
        if (!speed_) {
            fail(
                "has no speed column: speed_m_per_s, speed_km_per_h, speed_mi_per_h, speed_kn, or "
                "speed with a unit given");
        }
        if (unit == SpeedUnit::from_name) {
            fail(
                "the column 'speed' does not tell its unit: say which one it is, or call it "
                "speed_m_per_s, speed_km_per_h, speed_mi_per_h or speed_kn");
        }
        for (const SpeedColumn& column : speed_columns) {
            if (column.unit == unit) m_per_s_ = column.m_per_s;
        }
    }

    std::optional<std::size_t> column_called(const std::vector<std::string_view>& names,
                                             std::string_view name) const {
        const auto found = std::find(names.begin(), names.end(), name);
        if (found == names.end()) return std::nullopt;
        if (std::find(found + 1, names.end(), name) != names.end()) {
            fail("has two columns '" + std::string(name) + "'");
        }
        return static_cast<std::size_t>(found - names.begin());
    }

    double number(std::string_view text, const std::string& column) const {
        double value = 0;
        if (detail::read_any_number(text, value) != detail::NumberProblem::none) {
            fail(column + ": " + detail::shown(text) + " is not a finite number");
        }
        return value;
    }

    void read_row(const std::vector<std::string_view>& fields, SpeedTrace& trace) const {
        if (fields.size() != count_) {
            fail("has " + std::to_string(fields.size()) + " fields, the header has " +
                 std::to_string(count_));
        }
        const double time_s = number(fields[*time_], "time_s");
        if (!(std::abs(time_s) <= time_largest_s)) {
            fail("time_s: " + detail::shown(fields[*time_]) + " is outside -1e12 .. 1e12");
        }
        if (!trace.time_s.empty() && !(time_s > trace.time_s.back())) {
            fail("time_s: " + detail::shown(fields[*time_]) + " is not after the row before it");
        }
        const double speed = number(fields[*speed_], speed_name_) * m_per_s_;
        if (!(speed >= 0 && speed <= speed_largest_m_per_s)) {
            fail(speed_name_ + ": " + detail::shown(fields[*speed_]) + " is outside 0 .. " +
                 number_text(speed_largest_m_per_s) + " m/s");
        }
        if (grade_) {
            const double grade = number(fields[*grade_], "grade");
            if (!(std::abs(grade) <= grade_largest)) {
                fail("grade: " + detail::shown(fields[*grade_]) +
                     " is outside -0.5 .. 0.5 (rise over run, not percent)");
            }
            trace.grade.push_back(grade);
        }
        trace.time_s.push_back(time_s);
        trace.speed_m_per_s.push_back(speed);
    }

    std::string_view rest_;
    std::string source_;
    SpeedUnit unit_;
    std::size_t line_ = 0;
    std::size_t count_ = 0;
    std::optional<std::size_t> time_;
    std::optional<std::size_t> speed_;
    std::optional<std::size_t> grade_;
    std::string speed_name_;
    double m_per_s_ = 1;
};

}  // namespace

SpeedTrace read_speed_trace(const std::filesystem::path& path, SpeedUnit unit) {
    const detail::Bytes bytes = detail::read_bytes(path);
    return parse_speed_trace(bytes.view(), path.string(), unit);
}

SpeedTrace parse_speed_trace(std::string_view text, std::string source, SpeedUnit unit) {
    return TraceParser(text, std::move(source), unit).parse();
}

void check_speed_trace(const SpeedTrace& trace) {
    const std::string start = trace.source.empty() ? "speed trace: " : trace.source + ": ";
    if (trace.size() < 2) {
        throw Error(start + "has " + std::to_string(trace.size()) + " rows, needs 2 or more");
    }
    if (trace.speed_m_per_s.size() != trace.size()) {
        throw Error(start + "speed_m_per_s has " + std::to_string(trace.speed_m_per_s.size()) +
                    " values, time_s has " + std::to_string(trace.size()));
    }
    if (!trace.grade.empty() && trace.grade.size() != trace.size()) {
        throw Error(start + "grade has " + std::to_string(trace.grade.size()) +
                    " values, time_s has " + std::to_string(trace.size()));
    }
    // Names are made only for a value that is wrong.
    const auto need = [&](const char* column, std::size_t k, double value, double low,
                          double high) {
        if (value >= low && value <= high) return;  // false for NaN
        std::string field = start;
        field.append(column).append("[").append(std::to_string(k)).append("]");
        detail::need_within(field, value, low, high);
    };
    for (std::size_t k = 0; k < trace.size(); ++k) {
        need("time_s", k, trace.time_s[k], -time_largest_s, time_largest_s);
        if (k > 0 && !(trace.time_s[k] > trace.time_s[k - 1])) {
            throw Error(start + "time_s[" + std::to_string(k) +
                        "]: " + number_text(trace.time_s[k], "%.9g") + " is not after " +
                        number_text(trace.time_s[k - 1], "%.9g"));
        }
        need("speed_m_per_s", k, trace.speed_m_per_s[k], 0, speed_largest_m_per_s);
        if (!trace.grade.empty()) need("grade", k, trace.grade[k], -grade_largest, grade_largest);
    }
}

double distance_m(const SpeedTrace& trace) {
    check_speed_trace(trace);
    double distance = 0;
    for (std::size_t k = 1; k < trace.size(); ++k) {
        distance += 0.5 * (trace.speed_m_per_s[k - 1] + trace.speed_m_per_s[k]) *
                    (trace.time_s[k] - trace.time_s[k - 1]);
    }
    return distance;
}

}  // namespace voltkeel
