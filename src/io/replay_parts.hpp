#pragma once
/// \file
/// What the replay of a cell and that of groups do alike.

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "io/number_text.hpp"
#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/heat.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/cell/ocv.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/estimate/age.hpp"
#include "voltkeel/estimate/sensor_checks.hpp"
#include "voltkeel/estimate/soc_filter.hpp"
#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/cell_age.hpp"
#include "voltkeel/io/replay.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel::detail {

/// \throws Error naming field, value and bound
inline void need_valid(const Finding<double>& finding) {
    if (finding.status == Status::ok) return;
    throw Error(std::string(finding.field) + ": " + number_text(finding.value) +
                " against the bound " + number_text(finding.bound) + ": " +
                message(finding.status));
}

/// The first reading that came; 0 where none did.
inline double first_known(const std::vector<double>& readings) {
    for (const double reading : readings) {
        if (!std::isnan(reading)) return reading;
    }
    return 0;
}

/// Current of the first two minutes, of one string of `parallel`.
inline UseAround<double> first_use(const std::vector<double>& time_s,
                                   const std::vector<double>& current_A, double parallel = 1) {
    constexpr double window_s = 120;
    double charge_As = 0;
    double square_A2s = 0;
    double span_s = 0;
    for (std::size_t k = 1; k < time_s.size() && time_s[k] - time_s[0] <= window_s; ++k) {
        if (std::isnan(current_A[k])) continue;
        const double dt_s = time_s[k] - time_s[k - 1];
        charge_As += current_A[k] * dt_s;
        square_A2s += current_A[k] * current_A[k] * dt_s;
        span_s += dt_s;
    }
    UseAround<double> use;
    use.mean_current_A = (span_s > 0 ? charge_As / span_s : first_known(current_A)) / parallel;
    if (span_s > 0) use.rms_current_A = std::sqrt(square_A2s / span_s) / parallel;
    return use;
}

/// Whether a current hardly moves, as in a charge. Such a log often begins with its load, and
/// nobody knows how far the branches have come.
inline bool steady(const UseAround<double>& use) {
    return std::abs(use.rms_current_A) < 1.005 * std::abs(use.mean_current_A);
}

/// What is known of the SOC at the start.
struct ToldSoc {
    double soc{0.5};  ///< Untold: anywhere in 0..1.
    double std{0.3};
};
inline ToldSoc told_soc(const std::optional<double>& soc, double soc_std) {
    return soc ? ToldSoc{*soc, soc_std} : ToldSoc{};
}

/// From the readings of a case to the temperature that a filter is to have.
class CoreOfCase {
  public:
    CoreOfCase(const Cell& cell, double first_degC)
        : apart_(follows_core(cell.thermal)), core_degC_(first_degC), case_degC_(first_degC) {}

    /// Puts the temperature at the end of a step in place of that of the case; one that is missing
    /// is as before.
    /// \param now of one cell; a voltage of NaN is that of the model \param first no step before
    template <class Filter>
    void take(const Filter& filter, CheckedReadings<double>& now, bool first) {
        if (std::isnan(now.temperature_degC)) now.temperature_degC = case_degC_;
        core_degC_ = apart_ && !first ? next_core_degC(filter, now) : now.temperature_degC;
        case_degC_ = now.temperature_degC;
        now.temperature_degC = core_degC_;
    }
    [[nodiscard]] double core_degC() const { return core_degC_; }

  private:
    template <class Filter>
    [[nodiscard]] double next_core_degC(const Filter& filter,
                                        const CheckedReadings<double>& now) const {
        const auto& at = filter.state().cell;
        const double voltage_V =
            std::isnan(now.voltage_V)
                ? voltage_at(filter.cell(), at, now.current_A, core_degC_).voltage_V
                : now.voltage_V;
        const OcvPoint<double> ocv = ocv_at(filter.cell().ocv, at.soc, core_degC_);
        const double heat =
            heat_W(now.current_A, voltage_V, ocv.mean_V + at.hysteresis * ocv.half_gap_V,
                   ocv.entropy_V_per_K, core_degC_);
        return core_temperature_after(filter.cell().thermal, core_degC_, case_degC_,
                                      now.temperature_degC, heat, now.dt_s);
    }

    bool apart_;  // the core warms over its case
    double core_degC_;
    double case_degC_;
};

/// The sensors of a log, looked at row by row. \tparam Filter a SocFilter
template <class Filter>
class SensorRows {
  public:
    /// \throws Error naming a setting that is out of range
    SensorRows(const SensorReplay& how, const Cell& cell, double series, double first_degC)
        : use_(how.use), core_(cell, first_degC) {
        SensorCheckSettings<double> settings;
        if (how.checks) {
            settings = *how.checks;
        } else {
            settings.capacity_Ah = cell.capacity_Ah;
            // A log may have long steps where nothing happens.
            settings.gap_s = 600;
        }
        settings.series = series;
        need_valid(validate(settings));
        (void)checks_.configure(settings);
    }

    /// What the filter is to get in a row, of one cell, with the temperature of its core, and the
    /// bits. \param dt_s since the row before, 0 in the first \param filter before the row
    CheckedReadings<double> step(const SensorSample<double>& readings, double dt_s, bool first,
                                 const Filter& filter) {
        CheckedReadings<double> now{readings.current_A, 0,
                                    readings.voltage_V / checks_.settings().series,
                                    readings.temperature_degC, dt_s};
        if (use_ != SensorUse::off) {
            CheckedReadings<double> checked =
                checks_.step(readings, model_view(sound_ ? *sound_ : filter));
            if (use_ == SensorUse::replaced) {
                now = checked;
            } else {
                now.fault_bits = checked.fault_bits;
                follow(checked, first, filter);
            }
        }
        core_.take(filter, now, first);
        return now;
    }
    [[nodiscard]] double core_degC() const { return core_.core_degC(); }

  private:
    /// A filter that gets faulty readings as they stand expects what no sound sensor shows. From
    /// the first fault on, one beside it gets what is known better and tells what to expect.
    void follow(CheckedReadings<double>& checked, bool first, const Filter& filter) {
        if (!sound_) {
            if (checked.fault_bits == 0) return;
            sound_ = std::make_unique<Filter>(filter);
            sound_core_.emplace(core_);
        }
        sound_core_->take(*sound_, checked, first);
        sound_->step(sample_of(checked));
    }

    SensorUse use_;
    SensorChecks<double> checks_;
    CoreOfCase core_;
    std::unique_ptr<Filter> sound_;  // none: the filter itself
    std::optional<CoreOfCase> sound_core_;
};

[[noreturn]] inline void fail_start(double initial_soc, double initial_soc_std, Status status) {
    throw Error("the filter cannot start (initial soc " + number_text(initial_soc) + ", std " +
                number_text(initial_soc_std) +
                ", each must be 0 .. 1; an aged resistance scale 0.25 .. 4): " + message(status));
}

/// Settings of a filter whose cell has aged: it starts with the resistance that age has left.
/// Where its spread is told, no wider than that and what a filter's scale departs from the mean of
/// its life.
/// \return out_of_range for a scale that a filter cannot have
[[nodiscard]] inline Status take_age(SocFilterSettings<double>& settings, const CellAge& age) {
    if (!within(age.resistance_scale, 0.25, 4.0)) return Status::out_of_range;
    settings.log_scale_initial += std::log(age.resistance_scale);
    if (age.resistance_log_std > 0) {
        settings.log_scale_std_initial = std::min(
            settings.log_scale_std_initial,
            std::hypot(age.resistance_log_std, ResistanceGrowthSettings<double>{}.model_log_std));
    }
    return Status::ok;
}

}  // namespace voltkeel::detail
