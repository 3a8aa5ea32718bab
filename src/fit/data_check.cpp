#include "voltkeel/fit/data_check.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <utility>

#include "fit/statistics.hpp"
#include "io/number_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {
namespace {

constexpr double zero_degC_K = 273.15;

void check_settings(const DataCheckSettings& settings) {
    const auto check = [](bool good, const char* name, double value, const char* bound) {
        if (!good) {
            throw Error("DataCheckSettings: " + std::string(name) + " = " + number_text(value) +
                        " must be " + bound);
        }
    };
    const std::pair<const char*, double> positive[] = {
        {"gap_s", settings.gap_s},
        {"voltage_spike_V", settings.voltage_spike_V},
        {"temperature_spike_K", settings.temperature_spike_K},
        {"temperature_rate_K_per_s", settings.temperature_rate_K_per_s},
        {"edge_s", settings.edge_s},
        {"frozen_charge_share", settings.frozen_charge_share}};
    for (const auto& [name, value] : positive)
        check(value > 0, name, value, "> 0");
    check(settings.full_share_std >= 0 && std::isfinite(settings.full_share_std), "full_share_std",
          settings.full_share_std, ">= 0 and finite");
    check(settings.efficiency_std >= 0 && std::isfinite(settings.efficiency_std), "efficiency_std",
          settings.efficiency_std, ">= 0 and finite");
    check(settings.temperature_min_degC < settings.temperature_max_degC, "temperature_min_degC",
          settings.temperature_min_degC, "below temperature_max_degC");
}

std::string time_text(double time_s) {
    return number_text(time_s, "%.10g") + " s";
}

std::string span_text(double span_s) {
    if (span_s >= 5400) return number_text(span_s / 3600, "%.3g") + " h";
    return number_text(span_s, "%.4g") + " s";
}

/// What several checks need of a log.
struct Overview {
    explicit Overview(const Log& the_log, const DataCheckSettings& settings)
        : log(the_log),
          steps(find_steps(the_log, settings.steps)),
          rest_A(rest_current_A(the_log, settings.steps)),
          charge_Ah(the_log.size()),
          active_s(the_log.size()) {
        double low_Ah = 0;
        double high_Ah = 0;
        for (std::size_t row = 1; row < log.size(); ++row) {
            const double step_s = log.time_s[row] - log.time_s[row - 1];
            charge_Ah[row] = charge_Ah[row - 1] + log.current_A[row] * step_s / 3600;
            active_s[row] = active_s[row - 1] + (log.current_A[row] != 0 ? step_s : 0);
            low_Ah = std::min(low_Ah, charge_Ah[row]);
            high_Ah = std::max(high_Ah, charge_Ah[row]);
            largest_A = std::max(largest_A, std::fabs(log.current_A[row]));
        }
        capacity_Ah = settings.steps.capacity_Ah.value_or(high_Ah - low_Ah);
        for (const Step& step : steps)
            largest_step_Ah = std::max(largest_step_Ah, std::fabs(step.charge_Ah));
    }

    [[nodiscard]] double step_s(std::size_t row) const {
        return row == 0 ? 0 : log.time_s[row] - log.time_s[row - 1];
    }
    [[nodiscard]] bool is_rest(std::size_t row) const {
        return std::fabs(log.current_A[row]) <= rest_A;
    }

    const Log& log;
    std::vector<Step> steps;
    double rest_A;
    std::vector<double> charge_Ah;  ///< counted from the first row
    std::vector<double> active_s;   ///< time with a reading other than 0, from the first row
    double largest_A = 0;
    double largest_step_Ah = 0;
    double capacity_Ah = 0;  ///< as given, or else the widest span of the counted charge
};

// ---------------------------------------------------------------- spikes

/// Rows that stand apart from both neighbours in the voltage, while the current stood still.
std::vector<std::size_t> voltage_spikes(const Overview& over, const DataCheckSettings& settings) {
    const Log& log = over.log;
    std::vector<std::size_t> rows;
    const std::vector<double>& V = log.voltage_V;
    for (std::size_t row = 1; row + 1 < log.size(); ++row) {
        const double from_before_V = V[row] - V[row - 1];
        const double from_behind_V = V[row] - V[row + 1];
        if (from_before_V * from_behind_V <= 0) continue;
        const double height_V = std::min(std::fabs(from_before_V), std::fabs(from_behind_V));
        if (height_V < settings.voltage_spike_V) continue;
        // The neighbours agree, so it is no step; and the current has not made it.
        if (std::fabs(V[row + 1] - V[row - 1]) > 0.3 * height_V) continue;
        const std::size_t first = row > 2 ? row - 2 : 0;
        const std::size_t last = std::min(row + 2, log.size() - 1);
        const auto [low, high] =
            std::minmax_element(log.current_A.begin() + static_cast<std::ptrdiff_t>(first),
                                log.current_A.begin() + static_cast<std::ptrdiff_t>(last) + 1);
        const double allowed_A =
            std::max(over.rest_A,
                     settings.steps.current_share * std::max(std::fabs(*low), std::fabs(*high)));
        if (*high - *low > allowed_A) continue;
        rows.push_back(row);
    }
    return rows;
}

std::vector<std::size_t> temperature_spikes(const Log& log, const DataCheckSettings& settings) {
    std::vector<std::size_t> rows;
    const std::vector<double>& T = log.temperature_degC;
    for (std::size_t row = 1; row + 1 < log.size(); ++row) {
        const double from_before_K = T[row] - T[row - 1];
        const double from_behind_K = T[row] - T[row + 1];
        if (from_before_K * from_behind_K <= 0) continue;
        const double height_K = std::min(std::fabs(from_before_K), std::fabs(from_behind_K));
        const double pair_s = log.time_s[row + 1] - log.time_s[row - 1];
        // In long steps a cell can warm and cool again.
        if (height_K >= settings.temperature_spike_K + 0.01 * pair_s &&
            std::fabs(T[row + 1] - T[row - 1]) <= 0.3 * height_K) {
            rows.push_back(row);
        }
    }
    return rows;
}

// ---------------------------------------------------------------- offset

/// A row at which the cell was full, and how that is known.
struct FullMark {
    enum class Kind { start, charge_end, rest } kind = Kind::start;
    std::size_t row = 0;
    double voltage_V = 0;
    double temperature_degC = 0;
    double current_A = 0;
};

/// The last row of a rest in which the voltage has settled and the temperature is still that of
/// the rest.
std::optional<std::size_t> settled_row(const Log& log, const Step& rest) {
    constexpr double settled_V = 0.002;
    constexpr double look_back_s = 600;
    const double start_s = log.time_s[rest.first_row];
    std::vector<double> warmth(
        log.temperature_degC.begin() + static_cast<std::ptrdiff_t>(rest.first_row),
        log.temperature_degC.begin() + static_cast<std::ptrdiff_t>(rest.last_row) + 1);
    const double usual_degC = quantile(std::move(warmth), 0.5);
    for (std::size_t row = rest.last_row; row > rest.first_row; --row) {
        if (std::fabs(log.temperature_degC[row] - usual_degC) > 2) continue;
        const double rested_s = log.time_s[row] - start_s;
        const bool at_start = rest.first_row == 0;  // it may have rested before
        if (rested_s < (at_start ? 60 : 1800)) return std::nullopt;
        const double since_s = log.time_s[row] - std::min(look_back_s, 0.5 * rested_s);
        const auto earlier = static_cast<std::size_t>(
            std::upper_bound(log.time_s.begin(), log.time_s.end(), since_s) - log.time_s.begin() -
            1);
        if (std::fabs(log.voltage_V[row] - log.voltage_V[earlier]) <= settled_V) return row;
        return std::nullopt;
    }
    return std::nullopt;
}

std::vector<FullMark> full_marks(const Overview& over, const DataCheckSettings& settings) {
    constexpr double near_full_V = 0.06;
    const Log& log = over.log;
    std::vector<FullMark> marks;
    const auto add = [&](FullMark::Kind kind, std::size_t row) {
        marks.push_back(
            {kind, row, log.voltage_V[row], log.temperature_degC[row], log.current_A[row]});
    };
    if (settings.starts_full) add(FullMark::Kind::start, 0);
    double highest_rest_V = -std::numeric_limits<double>::infinity();
    for (std::size_t i = 0; i != over.steps.size(); ++i) {
        const Step& step = over.steps[i];
        if (step.kind == StepKind::constant_voltage && step.mean_current_A > 0) {
            add(FullMark::Kind::charge_end, step.last_row);
        }
        if (step.kind != StepKind::rest) continue;
        // Rests behind a charge only: behind a discharge the voltage tells of another charge.
        const bool behind_charge = i == 0 || over.steps[i - 1].mean_current_A > 0;
        const std::optional<std::size_t> row =
            behind_charge ? settled_row(log, step) : std::nullopt;
        if (!row) continue;
        add(FullMark::Kind::rest, *row);
        highest_rest_V = std::max(highest_rest_V, log.voltage_V[*row]);
    }
    marks.erase(std::remove_if(marks.begin(), marks.end(),
                               [&](const FullMark& mark) {
                                   return mark.kind == FullMark::Kind::rest &&
                                          mark.voltage_V < highest_rest_V - near_full_V;
                               }),
                marks.end());
    // Ends of charges count as full at the highest voltage only.
    double highest_V = -std::numeric_limits<double>::infinity();
    for (const FullMark& mark : marks) {
        if (mark.kind == FullMark::Kind::charge_end)
            highest_V = std::max(highest_V, mark.voltage_V);
    }
    marks.erase(std::remove_if(marks.begin(), marks.end(),
                               [&](const FullMark& mark) {
                                   return mark.kind == FullMark::Kind::charge_end &&
                                          mark.voltage_V < highest_V - 0.01;
                               }),
                marks.end());
    return marks;
}

/// Voltage per charge near the end of the slowest charge of at least an hour.
/// \param offset_A what the current is known to read too little
std::optional<double> slope_near_full_V_per_Ah(const Overview& over, double rested_V,
                                               double offset_A) {
    constexpr double window_V = 0.05;
    const Log& log = over.log;
    const Step* slowest = nullptr;
    for (const Step& step : over.steps) {
        if (step.kind != StepKind::constant_current || step.mean_current_A <= 0) continue;
        if (step.duration_s < 3600 || step.end_voltage_V < rested_V) continue;
        if (slowest == nullptr || step.mean_current_A < slowest->mean_current_A) slowest = &step;
    }
    if (slowest == nullptr) return std::nullopt;
    double count = 0;
    double q = 0;
    double v = 0;
    double qq = 0;
    double qv = 0;
    for (std::size_t row = slowest->first_row; row <= slowest->last_row; ++row) {
        if (log.voltage_V[row] < slowest->end_voltage_V - window_V) continue;
        const std::size_t end = slowest->last_row;
        const double charge_Ah = over.charge_Ah[row] - over.charge_Ah[end] +
                                 offset_A * (over.active_s[row] - over.active_s[end]) / 3600;
        count += 1;
        q += charge_Ah;
        v += log.voltage_V[row];
        qq += charge_Ah * charge_Ah;
        qv += charge_Ah * log.voltage_V[row];
    }
    const double spread = count * qq - q * q;
    if (count < 5 || !(spread > 0)) return std::nullopt;
    const double slope = (count * qv - q * v) / spread;
    return slope > 0 ? std::optional<double>(slope) : std::nullopt;
}

/// What happened between two times at which the cell was equally full.
struct FullSpan {
    std::size_t from_row = 0;
    std::size_t to_row = 0;
    double active_s = 0;    ///< with current
    double gained_Ah = 0;   ///< by which the second time is fuller, from rested voltages
    double charge_var = 0;  ///< in Ah^2: of the states and of edges inside rows
    double through_Ah = 0;  ///< put in and taken out, summed
};

/// \param known_offset_A of the round before
std::vector<FullSpan> full_spans(const Overview& over, const DataCheckSettings& settings,
                                 double known_offset_A) {
    constexpr double least_active_s = 3600;
    constexpr double rest_voltage_std_V = 0.003;
    const std::vector<FullMark> marks = full_marks(over, settings);
    std::vector<FullSpan> spans;
    const auto balance = [&](const FullMark& from, const FullMark& to) {
        FullSpan span;
        span.from_row = from.row;
        span.to_row = to.row;
        span.active_s = over.active_s[to.row] - over.active_s[from.row];
        if (span.active_s < least_active_s ||
            std::fabs(to.temperature_degC - from.temperature_degC) > 5)
            return;
        double state_std_Ah = settings.full_share_std * over.capacity_Ah;
        if (to.kind == FullMark::Kind::rest) {
            const std::optional<double> slope =
                slope_near_full_V_per_Ah(over, to.voltage_V, known_offset_A);
            if (!slope) {
                if (std::fabs(to.voltage_V - from.voltage_V) > rest_voltage_std_V) return;
            } else {
                span.gained_Ah = (to.voltage_V - from.voltage_V) / *slope;
                // The slope is that of a charge, not of rests: a fifth of it is not known.
                state_std_Ah =
                    std::hypot(rest_voltage_std_V / *slope, 0.2 * std::fabs(span.gained_Ah));
            }
        } else if (from.kind == FullMark::Kind::charge_end) {
            // Two charges that end at other currents end at other charges.
            const double least_A = std::min(from.current_A, to.current_A);
            if (std::max(from.current_A, to.current_A) > 1.5 * least_A + over.rest_A) return;
        }
        // An edge lies somewhere in the row it was logged with.
        double edge_var = 0;
        for (const Step& step : over.steps) {
            if (step.first_row <= from.row || step.first_row > to.row) continue;
            span.through_Ah += std::fabs(step.charge_Ah);
            if (step.kind == StepKind::drive) continue;
            const double row_Ah =
                std::fabs(over.log.current_A[step.first_row]) * over.step_s(step.first_row) / 3600;
            edge_var += row_Ah * row_Ah / 12;
        }
        span.charge_var = state_std_Ah * state_std_Ah + edge_var;
        spans.push_back(span);
    };
    const auto balance_all = [&](auto belongs) {
        const FullMark* last = nullptr;
        for (const FullMark& mark : marks) {
            if (!belongs(mark)) continue;
            if (last != nullptr) balance(*last, mark);
            last = &mark;
        }
    };
    // Ends of charges first: where there are some, rests would say the same once more.
    balance_all([](const FullMark& mark) { return mark.kind != FullMark::Kind::rest; });
    if (spans.empty())
        balance_all([](const FullMark& mark) { return mark.kind == FullMark::Kind::rest; });
    return spans;
}

/// One round of a balance, with the offset of the round before.
std::optional<OffsetBalance> balance_with(const Overview& over, const DataCheckSettings& settings,
                                          double known_offset_A) {
    double weight_sum = 0;
    double offset_sum = 0;
    OffsetBalance result;
    for (const FullSpan& span : full_spans(over, settings, known_offset_A)) {
        const double efficiency_std_Ah = settings.efficiency_std * span.through_Ah / 2;
        const double charge_var = span.charge_var + efficiency_std_Ah * efficiency_std_Ah;
        const double active_h = span.active_s / 3600;
        const double counted_Ah = over.charge_Ah[span.to_row] - over.charge_Ah[span.from_row];
        const double offset_var = std::max(charge_var / (active_h * active_h), 1e-20);
        weight_sum += 1 / offset_var;
        offset_sum += (span.gained_Ah - counted_Ah) / active_h / offset_var;
        ++result.balances;
        result.time_s += span.active_s;
    }
    if (result.balances == 0) return std::nullopt;
    result.current_offset_A = offset_sum / weight_sum;
    result.current_offset_A_std = std::sqrt(1 / weight_sum);
    return result;
}

std::optional<OffsetBalance> balance_of(const Overview& over, const DataCheckSettings& settings) {
    // The slope that turns a difference of rests into charge is itself counted with the offset. A
    // slow current may be off by a tenth: each round leaves a tenth of the error of the one before.
    constexpr int rounds = 5;
    std::optional<OffsetBalance> balance = OffsetBalance{};
    for (int round = 0; round != rounds && balance; ++round)
        balance = balance_with(over, settings, balance->current_offset_A);
    return balance;
}

// ---------------------------------------------------------------- the checks

class DataCheck {
  public:
    DataCheck(const Log& log, const DataCheckSettings& settings, const LogReport* report)
        : log_(log), settings_(settings), report_(report), over_(log, settings) {
        if (report == nullptr) return;
        // LogReport::line_of row by row would walk the findings each time.
        lines_.reserve(log.size());
        auto dropped = report->findings.begin();
        std::size_t line = report->first_row_line;
        for (std::size_t row = 0; row != log.size(); ++row, ++line) {
            for (; dropped != report->findings.end() && dropped->line <= line; ++dropped) {
                if (dropped->kind != TimeFinding::gap) ++line;
            }
            lines_.push_back(line);
        }
    }

    std::vector<DataFinding> run() {
        units();
        times();
        left_out_rows();
        frozen();
        spikes();
        quantisation();
        offset();
        sign();
        temperature();
        sampling();
        return std::move(findings_);
    }

  private:
    void add(DataFault kind, DataSeverity severity, std::optional<std::size_t> row, double value,
             std::string text) {
        std::optional<std::size_t> line;
        if (row && !lines_.empty()) line = lines_[*row];
        findings_.push_back({kind, severity, row, line, value, std::move(text)});
    }

    [[nodiscard]] std::string place(std::size_t row) const {
        std::string text = "row " + std::to_string(row);
        if (!lines_.empty()) text += " (line " + std::to_string(lines_[row]) + ")";
        return text + ", " + time_text(log_.time_s[row]);
    }

    // -------- time

    void times() {
        std::vector<std::size_t> under_current;
        std::vector<std::size_t> in_rest;
        for (std::size_t row = 1; row < log_.size(); ++row) {
            const double step_s = over_.step_s(row);
            if (step_s <= settings_.gap_s) continue;
            if (went_on(row)) {
                add(DataFault::clock_jump, DataSeverity::warning, row, step_s,
                    "the clock jumps forward by " + span_text(step_s) + " at " + place(row) +
                        ", while voltage and current go on as if no time had passed: the charge "
                        "of " +
                        number_text(std::fabs(log_.current_A[row]) * step_s / 3600) +
                        " Ah counted there is doubtful");
            } else if (!over_.is_rest(row) || !over_.is_rest(row - 1)) {
                under_current.push_back(row);
            } else {
                in_rest.push_back(row);
            }
        }
        gaps(under_current, DataSeverity::warning,
             "with current on a side of it: the charge in between is not known");
        gaps(in_rest, DataSeverity::note, "in a rest");
    }

    /// Few gaps one by one, many in one finding.
    void gaps(const std::vector<std::size_t>& rows, DataSeverity severity, const char* words) {
        constexpr std::size_t most = 3;
        if (rows.size() > most) {
            const std::size_t longest = *std::max_element(
                rows.begin(), rows.end(), [&](std::size_t one, std::size_t other) {
                    return over_.step_s(one) < over_.step_s(other);
                });
            double sum_s = 0;
            for (const std::size_t row : rows)
                sum_s += over_.step_s(row);
            add(DataFault::gap, severity, longest, over_.step_s(longest),
                std::to_string(rows.size()) + " times there are no rows for longer than " +
                    span_text(settings_.gap_s) + ", " + span_text(sum_s) +
                    " together; the longest, " + span_text(over_.step_s(longest)) + " before " +
                    place(longest) + ", " + words);
            return;
        }
        for (const std::size_t row : rows) {
            add(DataFault::gap, severity, row, over_.step_s(row),
                "no rows for " + span_text(over_.step_s(row)) + " before " + place(row) + ", " +
                    words);
        }
    }

    /// Whether the data before and behind a long step follow each other as rows of a short one do,
    /// under a current that would have moved the voltage.
    [[nodiscard]] bool went_on(std::size_t row) const {
        if (row < 3 || row + 2 >= log_.size()) return false;
        if (over_.is_rest(row) || over_.is_rest(row - 1)) return false;
        const double current_A = log_.current_A[row];
        const double step_s = over_.step_s(row);
        if (std::fabs(current_A - log_.current_A[row - 1]) >
            settings_.steps.current_share * std::fabs(current_A)) {
            return false;
        }
        // Rows that are always as far apart are no jump.
        const double usual_s = std::max(over_.step_s(row - 1), over_.step_s(row + 1));
        if (step_s < 10 * usual_s) return false;
        if (std::fabs(current_A) * step_s / 3600 < 0.02 * over_.capacity_Ah) return false;
        double usual_V = 0;
        for (const std::size_t near : {row - 2, row - 1, row + 1, row + 2})
            usual_V = std::max(usual_V, std::fabs(log_.voltage_V[near] - log_.voltage_V[near - 1]));
        return std::fabs(log_.voltage_V[row] - log_.voltage_V[row - 1]) <= 2 * usual_V + 0.0005;
    }

    void left_out_rows() {
        if (report_ == nullptr) return;
        const auto left_out = [&](TimeFinding kind, DataFault fault, const char* words) {
            const LogFinding* first = nullptr;
            std::size_t count = 0;
            double largest_s = 0;
            for (const LogFinding& finding : report_->findings) {
                if (finding.kind != kind) continue;
                if (first == nullptr) first = &finding;
                largest_s = std::min(largest_s, finding.step_s);
                ++count;
            }
            if (count == 0) return;
            add(fault, kind == TimeFinding::backward ? DataSeverity::warning : DataSeverity::note,
                std::nullopt,
                kind == TimeFinding::backward ? largest_s : static_cast<double>(count),
                std::to_string(count) + (count == 1 ? " row was" : " rows were") +
                    " left out: " + words + ", first in line " + std::to_string(first->line));
            findings_.back().line = first->line;
        };
        left_out(TimeFinding::repeated, DataFault::repeated_row, "the time of the row before");
        left_out(TimeFinding::backward, DataFault::clock_jump,
                 "the clock had gone back behind a time already logged");
    }

    // -------- values that stand still or stand apart

    void frozen() {
        constexpr std::size_t fewest_rows = 10;
        const auto same = [&](std::size_t row) {
            return log_.current_A[row] == log_.current_A[row - 1] &&
                   log_.voltage_V[row] == log_.voltage_V[row - 1] &&
                   log_.temperature_degC[row] == log_.temperature_degC[row - 1];
        };
        for (std::size_t row = 1; row < log_.size();) {
            if (!same(row) || over_.is_rest(row)) {
                ++row;
                continue;
            }
            const std::size_t first = row - 1;
            while (row < log_.size() && same(row))
                ++row;
            const double charge_Ah = std::fabs(over_.charge_Ah[row - 1] - over_.charge_Ah[first]);
            if (row - first < fewest_rows ||
                charge_Ah < settings_.frozen_charge_share * over_.capacity_Ah) {
                continue;
            }
            const double span_s = log_.time_s[row - 1] - log_.time_s[first];
            add(DataFault::frozen, DataSeverity::error, first, span_s,
                "current, voltage and temperature stand still for " + span_text(span_s) + " from " +
                    place(first) + ", while " + number_text(charge_Ah) +
                    " Ah are said to flow: the logger repeated its last values");
        }
    }

    void spikes() {
        const auto report = [&](const std::vector<std::size_t>& rows,
                                const std::vector<double>& values, const char* what,
                                const char* unit) {
            if (rows.empty()) return;
            std::size_t worst = rows.front();
            const auto height = [&](std::size_t row) {
                return values[row] - 0.5 * (values[row - 1] + values[row + 1]);
            };
            for (const std::size_t row : rows) {
                if (std::fabs(height(row)) > std::fabs(height(worst))) worst = row;
            }
            add(DataFault::spike, DataSeverity::warning, worst, height(worst),
                std::to_string(rows.size()) +
                    (rows.size() == 1 ? " single row stands" : " single rows stand") +
                    " apart in the " + what + ", the worst by " + number_text(height(worst)) +
                    unit + " at " + place(worst));
        };
        if (!voltage_in_mV_) {
            report(voltage_spikes(over_, settings_), log_.voltage_V, "voltage", " V");
        }
        report(temperature_spikes(log_, settings_), log_.temperature_degC, "temperature", " K");
    }

    /// The step in which a channel moves: the smallest change, if the others are its multiples.
    /// \param edge whether the change to a row is one of the test and not of the sensor
    [[nodiscard]] static std::optional<double> step_of(const std::vector<double>& values,
                                                       const std::vector<bool>& edge) {
        std::vector<double> changes;
        for (std::size_t row = 1; row < values.size(); ++row) {
            const double change = std::fabs(values[row] - values[row - 1]);
            const double rounding =
                8 * std::numeric_limits<double>::epsilon() * std::fabs(values[row]);
            if (change > rounding && !edge[row]) changes.push_back(change);
        }
        if (changes.size() < 20) return std::nullopt;
        const double step = quantile(changes, 0.01);
        double multiples = 0;
        for (const double change : changes) {
            const double count = change / step;
            if (std::fabs(count - std::round(count)) < 0.1) ++multiples;
        }
        // By chance a fifth would be.
        if (multiples < 0.9 * static_cast<double>(changes.size())) return std::nullopt;
        return step;
    }

    void quantisation() {
        const std::vector<bool> no_edge(log_.size(), false);
        // A test goes between round currents: that is no step of the sensor.
        std::vector<bool> edge = no_edge;
        for (const Step& step : over_.steps)
            edge[step.first_row] = true;
        const auto report = [&](const std::vector<double>& values, const char* what,
                                const char* unit, double coarse, bool is_current) {
            const std::optional<double> step = step_of(values, is_current ? edge : no_edge);
            if (!step) return;
            const bool is_coarse = *step > coarse;
            add(DataFault::quantisation, is_coarse ? DataSeverity::warning : DataSeverity::note,
                std::nullopt, *step,
                "the " + std::string(what) + " moves in steps of " + number_text(*step) + unit +
                    (is_coarse ? ", too coarse for a good fit" : ""));
        };
        report(log_.current_A, "current", " A", 0.01 * over_.largest_A, true);
        if (!voltage_in_mV_) report(log_.voltage_V, "voltage", " V", 0.0055, false);
        report(log_.temperature_degC, "temperature", " K", 1.1, false);
    }

    // -------- current

    void offset() {
        rest_offset();
        const std::optional<OffsetBalance> balance = balance_of(over_, settings_);
        if (!balance) return;
        const double offset_A = balance->current_offset_A;
        const double std_A = balance->current_offset_A_std;
        const bool clear = std::fabs(offset_A) > 3 * std_A;
        add(DataFault::current_offset, clear ? DataSeverity::warning : DataSeverity::note,
            std::nullopt, offset_A,
            "between " + std::string(balance->balances == 1 ? "two times" : "times") +
                " at which the cell was equally full the counted charge does not close: true "
                "current = logged current " +
                number_text(offset_A, "%+.2g") + " A (std " + number_text(std_A, "%.2g") +
                ", over " + span_text(balance->time_s) + " with current)" +
                (clear ? "" : ", which may be chance"));
    }

    /// What the current reads while none should flow.
    void rest_offset() {
        constexpr double edge_share = 0.1;
        double sum_A = 0;
        double sum_sq = 0;
        double count = 0;
        double zeros = 0;
        for (const Step& step : over_.steps) {
            if (step.kind != StepKind::rest || step.duration_s < 60) continue;
            const std::size_t rows = step.last_row - step.first_row + 1;
            const auto edge = static_cast<std::size_t>(edge_share * static_cast<double>(rows)) + 1;
            for (std::size_t row = step.first_row + edge; row + edge <= step.last_row; ++row) {
                const double current_A = log_.current_A[row];
                sum_A += current_A;
                sum_sq += current_A * current_A;
                zeros += current_A == 0 ? 1 : 0;
                ++count;
            }
        }
        if (count < 20) return;
        if (zeros == count) {
            add(DataFault::current_offset, DataSeverity::note, std::nullopt, 0,
                "rests are logged as exactly 0 A: they tell nothing about the offset of the "
                "current");
            return;
        }
        const double mean_A = sum_A / count;
        const double spread_A = std::sqrt(std::max(0.0, sum_sq / count - mean_A * mean_A));
        // Neighbouring rows repeat; 20 count as one.
        const double std_A = spread_A / std::sqrt(std::max(1.0, count / 20));
        if (std::fabs(mean_A) <= 3 * std_A || std::fabs(mean_A) < 1e-4 * over_.largest_A) return;
        add(DataFault::current_offset, DataSeverity::warning, std::nullopt, -mean_A,
            "in rests the current reads " + number_text(mean_A, "%.3g") +
                " A on average: if truly nothing flowed, true current = logged current " +
                number_text(-mean_A, "%+.3g") + " A");
    }

    [[nodiscard]] std::string sign_of_current() const {
        return "the sign of " + channel("current", "current_A");
    }

    void sign() {
        const double edge_A = std::max(0.1 * over_.largest_A, 2 * over_.rest_A);
        std::size_t with = 0;
        std::size_t against = 0;
        std::size_t first_against = 0;
        for (std::size_t row = 1; row < log_.size(); ++row) {
            const double change_A = log_.current_A[row] - log_.current_A[row - 1];
            const double change_V = log_.voltage_V[row] - log_.voltage_V[row - 1];
            if (std::fabs(change_A) < edge_A || std::fabs(change_V) < 0.001) continue;
            if ((change_A > 0) == (change_V > 0)) {
                ++with;
            } else {
                if (against == 0) first_against = row;
                ++against;
            }
        }
        if (against >= 3 && against > 4 * with) {
            add(DataFault::current_sign, DataSeverity::error, first_against,
                static_cast<double>(against),
                sign_of_current() + " looks wrong: at " + std::to_string(against) + " of " +
                    std::to_string(with + against) +
                    " edges the voltage falls when the current is said to go towards charging, or "
                    "rises when it goes towards discharging; does the file write discharge as "
                    "positive?");
            return;
        }
        if (with + against >= 3) return;
        // No edges to judge by: the way the voltage goes under a steady current.
        for (const Step& step : over_.steps) {
            if (step.kind != StepKind::constant_current || step.duration_s < 600) continue;
            const double change_V = step.end_voltage_V - log_.voltage_V[step.first_row];
            if (std::fabs(change_V) < 0.05 || (change_V > 0) == (step.mean_current_A > 0)) continue;
            add(DataFault::current_sign, DataSeverity::error, step.first_row, change_V,
                sign_of_current() + " looks wrong: from " + place(step.first_row) +
                    " on the cell is said to " +
                    (step.mean_current_A > 0 ? "charge, but its voltage falls by "
                                             : "discharge, but its voltage rises by ") +
                    number_text(std::fabs(change_V)) + " V");
            return;
        }
    }

    // -------- units

    /// A channel as a person finds it in the file.
    [[nodiscard]] std::string channel(const char* word, const char* quantity) const {
        std::string text = "the " + std::string(word);
        if (report_ == nullptr) return text;
        for (const LogColumnTaken& column : report_->columns) {
            if (column.quantity == quantity) text += " (column '" + column.name + "')";
        }
        return text;
    }

    void units() {
        const double voltage_V = quantile(log_.voltage_V, 0.5);
        const std::string is = channel("voltage", "voltage_V") + " is " + number_text(voltage_V);
        if (voltage_V > 1000 && voltage_V < 6000) {
            voltage_in_mV_ = true;  // bounds in V say nothing then
            add(DataFault::voltage_unit, DataSeverity::error, std::nullopt, voltage_V,
                is + " in the middle: that looks like mV, not V");
        } else if (voltage_V > 0.0005 && voltage_V < 0.006) {
            add(DataFault::voltage_unit, DataSeverity::error, std::nullopt, voltage_V,
                is + " V in the middle: that looks like V read as mV");
        } else if (voltage_V > 6 || voltage_V < 0.5) {
            add(DataFault::voltage_unit, DataSeverity::warning, std::nullopt, voltage_V,
                is + " V in the middle, which is not that of one lithium cell");
        }
        current_unit();
    }

    void current_unit() {
        const auto looks_like_mA = [&](double value, const std::string& why) {
            add(DataFault::current_unit, DataSeverity::error, std::nullopt, value,
                channel("current", "current_A") + " " + why + ": that looks like mA, not A");
        };
        const std::string up_to = "goes up to " + number_text(over_.largest_A) + " A";
        const std::string moves = "moves " + number_text(over_.largest_step_Ah) + " Ah";
        if (const std::optional<double>& capacity_Ah = settings_.steps.capacity_Ah) {
            const std::string of = number_text(*capacity_Ah) + " Ah";
            if (over_.largest_A > 100 * *capacity_Ah) {
                looks_like_mA(over_.largest_A, up_to + " with a capacity of " + of);
                return;
            }
            // A slow test stays far below that current. Step by step: of some tests the charges
            // were not logged, and what all steps count up to says nothing.
            if (over_.largest_step_Ah > 50 * *capacity_Ah) {
                looks_like_mA(over_.largest_step_Ah,
                              moves + " in one step with a capacity of " + of);
                return;
            }
        }
        // The largest cells that are sold hold some 1200 Ah and have some 0.1 mohm (from memory).
        constexpr double largest_cell_Ah = 2000;
        constexpr double least_cell_ohm = 5e-5;
        constexpr double large_A = 100;
        if (over_.largest_step_Ah > largest_cell_Ah) {
            looks_like_mA(over_.largest_step_Ah, moves + " in one step, more than any cell holds");
            return;
        }
        constexpr double largest_cell_A = 10000;
        if (over_.largest_A > largest_cell_A) {
            looks_like_mA(over_.largest_A, up_to + ", more than any cell gives");
            return;
        }
        const std::optional<double> ohm = edge_ohm();
        if (over_.largest_A > large_A && ohm && *ohm > 0 && *ohm < least_cell_ohm) {
            looks_like_mA(over_.largest_A, up_to + " and its edges show a resistance of " +
                                               number_text(1e6 * *ohm) +
                                               " uohm, less than any cell has");
        }
    }

    /// Median of voltage step over current step at the edges, none where there are few.
    [[nodiscard]] std::optional<double> edge_ohm() const {
        constexpr std::size_t fewest = 4;
        std::vector<double> found_ohm;
        for (std::size_t row = 1; row < log_.size(); ++row) {
            const double change_A = log_.current_A[row] - log_.current_A[row - 1];
            if (std::fabs(change_A) < 0.1 * over_.largest_A || over_.step_s(row) > settings_.edge_s)
                continue;
            found_ohm.push_back((log_.voltage_V[row] - log_.voltage_V[row - 1]) / change_A);
        }
        if (found_ohm.size() < fewest) return std::nullopt;
        return quantile(std::move(found_ohm), 0.5);
    }

    // -------- temperature

    void temperature() {
        const std::vector<double>& T = log_.temperature_degC;
        const double usual = quantile(T, 0.5);
        const std::string is =
            channel("temperature", "temperature_degC") + " is " + number_text(usual);
        if (usual >= zero_degC_K + settings_.temperature_min_degC &&
            usual <= zero_degC_K + settings_.temperature_max_degC) {
            add(DataFault::temperature_unit, DataSeverity::error, std::nullopt, usual,
                is + " in the middle: that looks like K (" + number_text(usual - zero_degC_K) +
                    " degC), not degC");
            return;
        }
        if (usual > -zero_degC_K - 30 && usual < -zero_degC_K + settings_.temperature_max_degC) {
            add(DataFault::temperature_unit, DataSeverity::error, std::nullopt, usual,
                is + " degC in the middle: that looks like degC read as K");
            return;
        }
        const double low_degF = 60;
        if (usual >= low_degF && usual <= 130 && T.front() >= low_degF) {
            add(DataFault::temperature_unit, DataSeverity::warning, std::nullopt, usual,
                is + " in the middle: that is hot for a cell and would be " +
                    number_text((usual - 32) * 5 / 9) + " degC if it were degF");
        }
        const auto [low, high] = std::minmax_element(T.begin(), T.end());
        const double too_cold_K = settings_.temperature_min_degC - *low;
        const double too_hot_K = *high - settings_.temperature_max_degC;
        if (std::max(too_cold_K, too_hot_K) > 0) {
            const auto worst = too_cold_K > too_hot_K ? low : high;
            const auto row = static_cast<std::size_t>(worst - T.begin());
            add(DataFault::temperature_range, DataSeverity::error, row, *worst,
                "the temperature is " + number_text(*worst) + " degC at " + place(row) +
                    ", outside " + number_text(settings_.temperature_min_degC) + " .. " +
                    number_text(settings_.temperature_max_degC) + " degC");
        }
        if (*low == *high) {
            constant_temperature();
        } else {
            temperature_jumps();
        }
    }

    void constant_temperature() {
        const bool filled = report_ != nullptr && report_->temperatures_filled == log_.size();
        double heated_s = 0;
        for (std::size_t row = 1; row < log_.size(); ++row) {
            // From a third of the capacity per hour on a cell warms visibly.
            if (std::fabs(log_.current_A[row]) > over_.capacity_Ah / 3)
                heated_s += over_.step_s(row);
        }
        if (filled) {
            add(DataFault::temperature_constant, DataSeverity::note, std::nullopt,
                log_.temperature_degC.front(),
                "the file has no temperature: it was taken as " +
                    number_text(log_.temperature_degC.front()) + " degC throughout");
        } else if (over_.capacity_Ah > 0 && heated_s > 600) {
            add(DataFault::temperature_constant, DataSeverity::warning, std::nullopt,
                log_.temperature_degC.front(),
                "the temperature reads " + number_text(log_.temperature_degC.front()) +
                    " degC throughout, although " + span_text(heated_s) +
                    " of current warmed the cell: is the sensor on the cell?");
        }
    }

    void temperature_jumps() {
        const std::vector<double>& T = log_.temperature_degC;
        const std::vector<std::size_t> spikes = temperature_spikes(log_, settings_);
        for (std::size_t row = 1; row < log_.size(); ++row) {
            const double change_K = T[row] - T[row - 1];
            // Two steps of a coarse sensor, and what a cell can do in the time.
            if (std::fabs(change_K) <=
                2.5 + settings_.temperature_rate_K_per_s * over_.step_s(row)) {
                continue;
            }
            if (std::binary_search(spikes.begin(), spikes.end(), row) ||
                std::binary_search(spikes.begin(), spikes.end(), row - 1)) {
                continue;
            }
            add(DataFault::temperature_jump, DataSeverity::warning, row, change_K,
                "the temperature jumps by " + number_text(change_K) + " K in " +
                    span_text(over_.step_s(row)) + " at " + place(row) +
                    ", faster than a cell can");
        }
    }

    // -------- sampling

    void sampling() {
        std::size_t pulses = 0;
        std::size_t slow = 0;
        std::size_t first = 0;
        double slowest_s = 0;
        for (const Step& step : over_.steps) {
            if (step.kind != StepKind::pulse) continue;
            ++pulses;
            const double edge_s = over_.step_s(step.first_row);
            if (edge_s <= settings_.edge_s) continue;
            if (slow == 0) first = step.first_row;
            ++slow;
            slowest_s = std::max(slowest_s, edge_s);
        }
        if (slow == 0) return;
        add(DataFault::slow_sampling, DataSeverity::warning, first, slowest_s,
            "at " + std::to_string(slow) + " of " + std::to_string(pulses) +
                " pulses the first row comes up to " + span_text(slowest_s) +
                " after the edge, first at " + place(first) +
                ": the ohmic resistance cannot be told from the slower ones");
    }

    const Log& log_;
    const DataCheckSettings& settings_;
    const LogReport* report_;
    Overview over_;
    std::vector<std::size_t> lines_;
    std::vector<DataFinding> findings_;
    bool voltage_in_mV_ = false;
};

}  // namespace

std::vector<DataFinding> check_data(const Log& log, const DataCheckSettings& settings,
                                    const LogReport* report) {
    check_settings(settings);
    return DataCheck(log, settings, report).run();
}

std::optional<OffsetBalance> offset_from_balance(const Log& log,
                                                 const DataCheckSettings& settings) {
    check_settings(settings);
    return balance_of(Overview(log, settings), settings);
}

std::vector<FullBalance> full_balances(const Log& log, const DataCheckSettings& settings,
                                       double current_offset_A) {
    check_settings(settings);
    const Overview over(log, settings);
    std::vector<FullBalance> balances;
    for (const FullSpan& span : full_spans(over, settings, current_offset_A)) {
        FullBalance balance;
        balance.first_row = span.from_row;
        balance.last_row = span.to_row;
        balance.gained_Ah = span.gained_Ah;
        balance.active_s = span.active_s;
        balance.std_Ah = std::sqrt(span.charge_var);
        for (std::size_t row = span.from_row + 1; row <= span.to_row; ++row) {
            const double charge_Ah = over.charge_Ah[row] - over.charge_Ah[row - 1];
            (charge_Ah > 0 ? balance.charged_Ah : balance.discharged_Ah) += std::fabs(charge_Ah);
        }
        balances.push_back(balance);
    }
    return balances;
}

CorrectedLog correct_log(const Log& log, const LogCorrections& corrections,
                         const DataCheckSettings& settings) {
    check_settings(settings);
    check_log(log);
    if (corrections.temperature_from_K && corrections.temperature_from_degF) {
        throw Error(
            "LogCorrections: temperature_from_K and temperature_from_degF exclude each "
            "other");
    }
    if (!std::isfinite(corrections.current_offset_A)) {
        throw Error("LogCorrections: current_offset_A = " +
                    number_text(corrections.current_offset_A) + " must be finite");
    }
    CorrectedLog result{log, {}};
    Log& out = result.log;
    const auto change = [&](bool asked, std::vector<double>& values, auto rule, const char* said) {
        if (!asked) return;
        for (double& value : values)
            value = rule(value);
        result.record.push_back(log.source + ": " + said);
    };
    change(
        corrections.voltage_from_mV, out.voltage_V, [](double v) { return v / 1000; },
        "voltages read as mV");
    change(
        corrections.current_from_mA, out.current_A, [](double i) { return i / 1000; },
        "currents read as mA");
    change(
        corrections.temperature_from_K, out.temperature_degC,
        [](double t) { return t - zero_degC_K; }, "temperatures read as K");
    change(
        corrections.temperature_from_degF, out.temperature_degC,
        [](double t) { return (t - 32) * 5 / 9; }, "temperatures read as degF");
    change(
        corrections.turn_current, out.current_A, [](double i) { return i == 0 ? 0 : -i; },
        "sign of the current turned");
    const double offset_A = corrections.current_offset_A;
    change(
        offset_A != 0, out.current_A, [=](double i) { return i == 0 ? 0 : i + offset_A; },
        ("added " + number_text(offset_A) + " A to every current that was not exactly 0").c_str());
    if (corrections.drop_spikes && out.size() != 0) {
        std::vector<std::size_t> rows = voltage_spikes(Overview(out, settings), settings);
        const std::vector<std::size_t> warm = temperature_spikes(out, settings);
        rows.insert(rows.end(), warm.begin(), warm.end());
        std::sort(rows.begin(), rows.end());
        rows.erase(std::unique(rows.begin(), rows.end()), rows.end());
        std::string where;
        for (std::size_t i = 0; i != rows.size() && i != 5; ++i)
            where += (i == 0 ? "" : ", ") + time_text(out.time_s[rows[i]]);
        if (rows.size() > 5) where += " and " + std::to_string(rows.size() - 5) + " more";
        for (auto* column : {&out.time_s, &out.current_A, &out.voltage_V, &out.temperature_degC}) {
            std::size_t at = 0;
            std::size_t kept = 0;
            for (std::size_t row = 0; row != column->size(); ++row) {
                if (at != rows.size() && rows[at] == row) {
                    ++at;
                } else {
                    (*column)[kept++] = (*column)[row];
                }
            }
            column->resize(kept);
        }
        if (!rows.empty()) {
            result.record.push_back(log.source + ": " + std::to_string(rows.size()) +
                                    (rows.size() == 1 ? " spike" : " spikes") +
                                    " left out, at time " + where);
        }
    }
    return result;
}

const char* data_fault_name(DataFault kind) {
    static constexpr std::array<const char*, 15> names = {"gap",
                                                          "clock jump",
                                                          "repeated row",
                                                          "frozen",
                                                          "spike",
                                                          "quantisation",
                                                          "current offset",
                                                          "current sign",
                                                          "current unit",
                                                          "voltage unit",
                                                          "temperature unit",
                                                          "temperature range",
                                                          "constant temperature",
                                                          "temperature jump",
                                                          "slow sampling"};
    const auto place = static_cast<std::size_t>(kind);
    return place < names.size() ? names.at(place) : "unknown";
}

const char* data_severity_name(DataSeverity severity) {
    static constexpr std::array<const char*, 3> names = {"note", "warning", "error"};
    const auto place = static_cast<std::size_t>(severity);
    return place < names.size() ? names.at(place) : "unknown";
}

}  // namespace voltkeel
