#pragma once
/// \file group_filters.hpp
/// A full filter for every group of a string, behind the calls of PackFilter: for groups that
/// differ in more than SOC and resistance, and as a measure for PackFilter.
///
/// Between two updates of the voltage the current is summed up, and a filter takes its mean in one
/// step: the charge is exact, and of the branches only what is quicker than `update_interval_s`
/// sees another shape. The tick whose voltage is fused is a step of its own.

#include <limits>

#include "voltkeel/estimate/pack_filter.hpp"

namespace voltkeel {

/// Filters of a string of up to `Capacity` groups.
template <class Real, int Branches, bool Transfer, int Capacity>
class GroupFilters {
    static_assert(Capacity >= 1, "a string has at least one group");

  public:
    using Filter = SocFilter<Real, Branches, Transfer>;
    using Parameters = typename Filter::Parameters;
    using Settings = SocFilterSettings<Real>;
    static constexpr int capacity = Capacity;

    /// Sets one cell for all groups, and the knobs. On failure nothing changes.
    /// \param count groups, 1 .. Capacity
    [[nodiscard]] Status configure(const Parameters& cell, int count,
                                   const Settings& settings = {}) noexcept {
        if (count < 1 || count > Capacity) return Status::out_of_range;
        const Finding<Real> finding = validate(settings);
        if (finding.status != Status::ok) return finding.status;
        Settings inner = settings;
        inner.update_interval_s = Real(0);  // this class keeps the interval
        Filter one;
        const Status status = one.configure(cell, inner);
        if (status != Status::ok) return status;
        for (int k = 0; k < count; ++k)
            filters_[k] = one;
        settings_ = settings;
        count_ = count;
        forget();
        return Status::ok;
    }

    /// Starts all groups at rest from one SOC.
    [[nodiscard]] Status start(Real soc, Real soc_std, Real temperature_degC) noexcept {
        if (count_ == 0) return Status::missing_table;
        for (int k = 0; k < count_; ++k) {
            const Status status = filters_[k].start(soc, soc_std, temperature_degC);
            if (status != Status::ok) return status;  // the first one says it for all
        }
        forget();
        last_temperature_degC_ = temperature_degC;
        return Status::ok;
    }

    /// Starts a group from its voltage; see SocFilter::start_from_voltage.
    [[nodiscard]] Status start_from_voltage(int group, Real voltage_V, Real current_A,
                                            Real temperature_degC) noexcept {
        if (group < 0 || group >= count_) return Status::out_of_range;
        const Status status =
            filters_[group].start_from_voltage(voltage_V, current_A, temperature_degC);
        if (status != Status::ok) return status;
        forget();
        last_temperature_degC_ = temperature_degC;
        return Status::ok;
    }

    /// Takes one sample. `lag_s` and `group_current_A` of it are for PackFilter and not looked at.
    /// \return true when the voltages were looked at
    bool step(const PackSample<Real>& sample) noexcept {
        constexpr Real nothing = std::numeric_limits<Real>::quiet_NaN();
        const Real dt_s =
            sample.dt_s > Real(0) ? std::min(sample.dt_s, settings_.longest_step_s) : Real(0);
        if (since_update_s_ + dt_s < settings_.update_interval_s - Real(0.5) * dt_s) {
            const Real current_A =
                possible_current(sample.current_A) ? sample.current_A : last_current_A_;
            if (detail::within(sample.temperature_degC, Real(-100), Real(200)))
                last_temperature_degC_ = sample.temperature_degC;
            waiting_As_ += current_A * dt_s;
            waiting_s_ += dt_s;
            since_update_s_ += dt_s;
            last_current_A_ = current_A;
            return false;
        }
        const bool waited = waiting_s_ > Real(0);
        const Real mean_A = waited ? waiting_As_ / waiting_s_ : Real(0);
        for (int k = 0; k < count_; ++k) {
            std::uint32_t bits = 0;
            if (waited) {
                bits = filters_[k]
                           .step({mean_A, nothing, last_temperature_degC_, waiting_s_})
                           .fault_bits &
                       ~fault_voltage_not_finite;
            }
            const Real voltage_V = sample.voltage_V == nullptr ? nothing : sample.voltage_V[k];
            fault_bits_[k] = bits | filters_[k]
                                        .step({sample.current_A, voltage_V, sample.temperature_degC,
                                               sample.dt_s})
                                        .fault_bits;
        }
        if (possible_current(sample.current_A)) last_current_A_ = sample.current_A;
        waiting_As_ = Real(0);
        waiting_s_ = Real(0);
        since_update_s_ = Real(0);
        return true;
    }

    /// SOC of a group, what was counted since the last update included. \param k 0 .. count() - 1,
    /// here and below
    [[nodiscard]] Real soc(int k) const noexcept {
        const Real counted =
            filters_[k].state().cell.soc + soc_gain(filters_[k].cell(), waiting_As_, Real(1));
        return counted < Real(0) ? Real(0) : (counted > Real(1) ? Real(1) : counted);
    }
    [[nodiscard]] Real soc_std(int k) const noexcept { return filters_[k].estimate().soc_std; }
    [[nodiscard]] Real resistance_scale(int k) const noexcept {
        return filters_[k].estimate().resistance_scale;
    }
    /// See FaultBit; of the last update.
    [[nodiscard]] std::uint32_t fault_bits(int k) const noexcept { return fault_bits_[k]; }
    [[nodiscard]] const Filter& filter(int k) const noexcept { return filters_[k]; }
    [[nodiscard]] int count() const noexcept { return count_; }

  private:
    [[nodiscard]] bool possible_current(Real current_A) const noexcept {
        const Real most_A = Real(1000) * filters_[0].cell().capacity_Ah;
        return detail::within(current_A, -most_A, most_A);
    }
    void forget() noexcept {
        waiting_As_ = Real(0);
        waiting_s_ = Real(0);
        since_update_s_ = settings_.update_interval_s;
        last_current_A_ = Real(0);
        for (std::uint32_t& bits : fault_bits_)
            bits = 0;
    }

    Settings settings_{};
    Filter filters_[Capacity]{};
    std::uint32_t fault_bits_[Capacity]{};
    int count_{0};
    Real waiting_As_{0};  ///< Charge that the filters have not seen yet.
    Real waiting_s_{0};
    Real since_update_s_{0};
    Real last_current_A_{0};
    Real last_temperature_degC_{25};
};

}  // namespace voltkeel
