#include "voltkeel/fit/steps.hpp"

#include <algorithm>
#include <cmath>
#include <string>
#include <utility>

#include "io/number_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {
namespace {

/// A rest between pulses lasts at least this long, a driver's lifted foot need not.
constexpr double shortest_rest_beside_pulse_s = 5;
/// A shorter constant voltage may be chance.
constexpr double shortest_constant_voltage_s = 60;
/// A ramp between two currents takes one row, not longer than this.
constexpr double longest_ramp_s = 2;

void check(bool good, const char* name, double value, const char* bound) {
    if (!good) {
        throw Error("StepSettings: " + std::string(name) + " = " + number_text(value) +
                    " must be " + bound);
    }
}

void check_settings(const StepSettings& settings) {
    if (settings.capacity_Ah) {
        const double capacity_Ah = *settings.capacity_Ah;
        check(capacity_Ah > 0 && std::isfinite(capacity_Ah), "capacity_Ah", capacity_Ah,
              "> 0 and finite");
    }
    if (settings.rest_current_A) {
        const double rest_A = *settings.rest_current_A;
        check(rest_A >= 0 && std::isfinite(rest_A), "rest_current_A", rest_A, ">= 0 and finite");
    }
    check(settings.current_share > 0 && settings.current_share < 1, "current_share",
          settings.current_share, "> 0 and < 1");
    check(settings.voltage_band_V > 0, "voltage_band_V", settings.voltage_band_V, "> 0");
    check(settings.longest_pulse_s > 0, "longest_pulse_s", settings.longest_pulse_s, "> 0");
    check(settings.longest_stop_s >= 0, "longest_stop_s", settings.longest_stop_s, ">= 0");
}

class StepFinder {
  public:
    StepFinder(const Log& log, const StepSettings& settings)
        : log_(log), settings_(settings), rest_A_(rest_current_A(log, settings)) {}

    std::vector<Step> find() {
        cut_runs();
        join_ramps();
        find_pulses();
        join_drives();
        std::vector<Step> steps;
        for (const Run& run : runs_)
            steps.push_back(measured(run));
        return steps;
    }

  private:
    struct Run {
        StepKind kind = StepKind::rest;
        std::size_t first = 0;
        std::size_t last = 0;
    };

    [[nodiscard]] double start_s(std::size_t row) const {
        return log_.time_s[row == 0 ? 0 : row - 1];
    }
    [[nodiscard]] double duration_s(const Run& run) const {
        return log_.time_s[run.last] - start_s(run.first);
    }
    [[nodiscard]] bool is_rest(std::size_t row) const {
        return std::fabs(log_.current_A[row]) <= rest_A_;
    }

    /// Whether a current belongs to a stretch of this mean.
    [[nodiscard]] bool is_near(double current_A, double mean_A) const {
        return std::fabs(current_A - mean_A) <=
               std::max(rest_A_, settings_.current_share * std::fabs(mean_A));
    }

    /// Cuts the log where the current changes, and where a constant voltage begins or ends.
    void cut_runs() {
        const std::vector<Run> voltages = constant_voltages();
        auto voltage = voltages.begin();
        std::size_t row = 0;
        while (row != log_.size()) {
            if (voltage != voltages.end() && voltage->first == row) {
                runs_.push_back(*voltage);
                row = voltage->last + 1;
                ++voltage;
                continue;
            }
            const std::size_t bound = voltage == voltages.end() ? log_.size() : voltage->first;
            Run run{is_rest(row) ? StepKind::rest : StepKind::constant_current, row, row};
            double sum_A = log_.current_A[row];
            double count = 1;
            for (++row; row != bound; ++row, ++count) {
                const double current_A = log_.current_A[row];
                const bool belongs = run.kind == StepKind::rest
                                         ? is_rest(row)
                                         : !is_rest(row) && is_near(current_A, sum_A / count);
                if (!belongs) break;
                sum_A += current_A;
                run.last = row;
            }
            runs_.push_back(run);
        }
    }

    /// Stretches of one voltage in which the size of the current falls.
    [[nodiscard]] std::vector<Run> constant_voltages() const {
        std::vector<Run> found;
        std::size_t first = 0;
        std::size_t earliest = 0;  // no constant voltage starts before: keeps the time linear
        while (first != log_.size()) {
            if (is_rest(first)) {
                ++first;
                continue;
            }
            const bool charging = log_.current_A[first] > 0;
            double sum_V = log_.voltage_V[first];
            std::size_t last = first;
            for (std::size_t row = first + 1; row != log_.size(); ++row, ++last) {
                // The current may fall below that of a rest, but to nothing only when switched off.
                const double current_A = log_.current_A[row];
                const bool same_way = (current_A > 0) == charging && current_A != 0;
                const bool switched_off =
                    is_rest(row) && std::fabs(current_A) < 0.5 * std::fabs(log_.current_A[last]);
                const double mean_V = sum_V / static_cast<double>(row - first);
                const bool same_voltage =
                    std::fabs(log_.voltage_V[row] - mean_V) <= settings_.voltage_band_V;
                if (!same_way || switched_off || !same_voltage) break;
                sum_V += log_.voltage_V[row];
            }
            // Rows before it may have been counted to the rise in front, whose mean is lower.
            const double mean_V = sum_V / static_cast<double>(last - first + 1);
            const auto belongs = [&](std::size_t row) {
                return !is_rest(row) && (log_.current_A[row] > 0) == charging &&
                       std::fabs(log_.voltage_V[row] - mean_V) <= settings_.voltage_band_V;
            };
            Run run{StepKind::constant_voltage, first, last};
            while (run.first > earliest && belongs(run.first - 1))
                --run.first;
            earliest = first;
            if (current_falls(run)) {
                found.push_back(run);
                earliest = last + 1;
            }
            first = last + 1;
        }
        return found;
    }

    /// Whether the current of a stretch falls, more down than up and down. Leaves out the constant
    /// current in front of the fall.
    [[nodiscard]] bool current_falls(Run& run) const {
        const auto size_A = [&](std::size_t row) { return std::fabs(log_.current_A[row]); };
        const double start_A = size_A(run.first);
        double sum_A = 0;
        std::size_t fall = run.first;
        // Of the rows that still have the first current, only the last ones are before the fall.
        for (std::size_t row = run.first; row <= run.last; ++row) {
            sum_A += size_A(row);
            const double mean_A = sum_A / static_cast<double>(row - run.first + 1);
            if (size_A(row) < mean_A - 0.5 * settings_.current_share * mean_A) break;
            fall = row + 1;
        }
        if (fall > run.last) return false;
        run.first = fall;
        if (run.last - run.first < 2 || duration_s(run) < shortest_constant_voltage_s) return false;
        double up_A = 0;
        for (std::size_t row = run.first + 1; row <= run.last; ++row) {
            const double rise_A = size_A(row) - size_A(row - 1);
            // Noise goes up in half of the rows.
            if (rise_A > settings_.current_share * size_A(row) + 0.2 * rest_A_) up_A += rise_A;
        }
        const double fall_A = start_A - size_A(run.last);
        return fall_A > 0.1 * start_A && up_A < 0.2 * fall_A;
    }

    /// A single row between two currents, logged while the tester went from one to the other,
    /// belongs to the second. So does the first row of the log, whose current flowed for no time.
    void join_ramps() {
        std::vector<Run> kept;
        if (runs_.size() > 1 && runs_[0].last == 0) {
            runs_[1].first = 0;
            runs_.erase(runs_.begin());
        }
        for (std::size_t i = 0; i != runs_.size(); ++i) {
            const Run& run = runs_[i];
            const bool ramp = i != 0 && i + 1 != runs_.size() && run.first == run.last &&
                              run.kind == StepKind::constant_current &&
                              (duration_s(run) <= longest_ramp_s ||
                               runs_[i + 1].kind == StepKind::constant_voltage) &&
                              runs_[i + 1].first != runs_[i + 1].last && is_steady(runs_[i - 1]) &&
                              is_between(log_.current_A[run.first], log_.current_A[run.first - 1],
                                         log_.current_A[run.last + 1]);
            if (ramp) {
                runs_[i + 1].first = run.first;
            } else {
                kept.push_back(run);
            }
        }
        runs_ = std::move(kept);
    }

    [[nodiscard]] static bool is_between(double value, double one, double other) {
        return value >= std::min(one, other) && value <= std::max(one, other);
    }

    /// More than a value in passing.
    [[nodiscard]] bool is_steady(const Run& run) const {
        return run.last - run.first >= 2 || duration_s(run) >= shortest_rest_beside_pulse_s;
    }

    /// A constant current longer than a pulse, or a constant voltage.
    [[nodiscard]] bool is_long(const Run& run) const {
        return run.kind == StepKind::constant_voltage ||
               (run.kind == StepKind::constant_current &&
                duration_s(run) > settings_.longest_pulse_s);
    }

    /// A rest as testers place it beside a pulse.
    [[nodiscard]] bool is_calm(const Run& run) const {
        return run.kind == StepKind::rest &&
               (duration_s(run) >= shortest_rest_beside_pulse_s || run.first == 0);
    }

    void find_pulses() {
        for (std::size_t i = 1; i < runs_.size(); ++i) {
            Run& run = runs_[i];
            if (run.kind != StepKind::constant_current || is_long(run)) continue;
            const bool end = i + 1 == runs_.size();
            if (is_calm(runs_[i - 1]) && (end || is_calm(runs_[i + 1]) || is_long(runs_[i + 1]))) {
                run.kind = StepKind::pulse;
            }
        }
    }

    /// Whether currents of one direction between rests, not longer than a pulse, are one: its
    /// current falls where it meets a voltage limit.
    [[nodiscard]] bool is_limited_pulse(std::size_t first, std::size_t last) const {
        const Run whole{StepKind::pulse, runs_[first].first, runs_[last].last};
        if (first == 0 || !is_calm(runs_[first - 1]) ||
            duration_s(whole) > settings_.longest_pulse_s)
            return false;
        if (last + 1 != runs_.size() && !is_calm(runs_[last + 1]) && !is_long(runs_[last + 1]))
            return false;
        const bool charging = log_.current_A[whole.first] > 0;
        std::size_t peak = whole.first;
        for (std::size_t row = whole.first; row <= whole.last; ++row) {
            if (is_rest(row) || (log_.current_A[row] > 0) != charging) return false;
            if (std::fabs(log_.current_A[row]) > std::fabs(log_.current_A[peak])) peak = row;
        }
        // It rises at once and then falls.
        if (2 * (peak - whole.first) > whole.last - whole.first) return false;
        for (std::size_t row = peak + 1; row <= whole.last; ++row) {
            const double before_A = std::fabs(log_.current_A[row - 1]);
            if (std::fabs(log_.current_A[row]) >
                before_A + std::max(rest_A_, settings_.current_share * before_A)) {
                return false;
            }
        }
        return true;
    }

    /// Short stretches in a row, with the stops between them, are one drive. One alone keeps its
    /// kind.
    void join_drives() {
        const auto is_piece = [&](const Run& run) {
            return run.kind == StepKind::constant_current && !is_long(run);
        };
        // What may stand between two pieces: a stop, a stretch of steady speed, a short demand
        // between two stops, which looks like a pulse.
        const auto is_passed = [&](const Run& run) {
            return run.kind != StepKind::constant_voltage &&
                   duration_s(run) <= settings_.longest_stop_s;
        };
        std::vector<Run> kept;
        for (std::size_t i = 0; i != runs_.size();) {
            if (!is_piece(runs_[i])) {
                kept.push_back(runs_[i++]);
                continue;
            }
            std::size_t last = i;
            for (std::size_t j = i + 1; j != runs_.size() && is_passed(runs_[j]); ++j) {
                if (is_piece(runs_[j])) last = j;
            }
            StepKind kind = last > i ? StepKind::drive : StepKind::constant_current;
            if (kind == StepKind::drive && is_limited_pulse(i, last)) kind = StepKind::pulse;
            kept.push_back({kind, runs_[i].first, runs_[last].last});
            i = last + 1;
        }
        runs_ = std::move(kept);
    }

    [[nodiscard]] Step measured(const Run& run) const {
        Step step;
        step.kind = run.kind;
        step.first_row = run.first;
        step.last_row = run.last;
        step.start_time_s = start_s(run.first);
        step.end_time_s = log_.time_s[run.last];
        step.duration_s = step.end_time_s - step.start_time_s;
        double charge_As = 0;
        double warmth_degC_s = 0;
        for (std::size_t row = run.first; row <= run.last; ++row) {
            const double time_s = log_.time_s[row] - start_s(row);
            charge_As += log_.current_A[row] * time_s;
            warmth_degC_s += log_.temperature_degC[row] * time_s;
        }
        const bool lasts = step.duration_s > 0;
        step.charge_Ah = charge_As / 3600;
        step.mean_current_A = lasts ? charge_As / step.duration_s : log_.current_A[run.first];
        step.mean_temperature_degC =
            lasts ? warmth_degC_s / step.duration_s : log_.temperature_degC[run.first];
        step.start_voltage_V = log_.voltage_V[run.first == 0 ? 0 : run.first - 1];
        step.end_voltage_V = log_.voltage_V[run.last];
        if (settings_.capacity_Ah) step.rate_per_h = step.mean_current_A / *settings_.capacity_Ah;
        return step;
    }

    const Log& log_;
    const StepSettings& settings_;
    const double rest_A_;
    std::vector<Run> runs_;
};

}  // namespace

const char* step_kind_name(StepKind kind) {
    switch (kind) {
        case StepKind::rest:
            return "rest";
        case StepKind::constant_current:
            return "constant current";
        case StepKind::constant_voltage:
            return "constant voltage";
        case StepKind::pulse:
            return "pulse";
        case StepKind::drive:
            return "drive";
    }
    return "unknown";
}

double rest_current_A(const Log& log, const StepSettings& settings) {
    if (settings.rest_current_A) return *settings.rest_current_A;
    if (settings.capacity_Ah) return 0.01 * *settings.capacity_Ah;
    double largest_A = 0;
    for (const double current_A : log.current_A)
        largest_A = std::max(largest_A, std::fabs(current_A));
    return 0.002 * largest_A;
}

std::vector<Step> find_steps(const Log& log, const StepSettings& settings) {
    check_settings(settings);
    check_log(log);
    if (log.size() == 0) throw Error(log.source + ": the log has no rows");
    return StepFinder(log, settings).find();
}

}  // namespace voltkeel
