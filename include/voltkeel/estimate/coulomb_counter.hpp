#pragma once
/// \file coulomb_counter.hpp
/// SOC by counting charge alone, behind the calls of SocFilter: the baseline that a filter has to
/// beat, and all there is where nothing is known of a cell but its capacity. An error of the start
/// stays, an error of the sensor adds up, and the spread says so.

#include <cmath>
#include <cstdint>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/compensated_sum.hpp"
#include "voltkeel/estimate/soc_filter.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// What the counter counts with.
template <class Real>
struct CoulombCounterSettings {
    Real capacity_Ah{0};                  ///< > 0.
    Real coulombic_efficiency{1};         ///< Share of the charge put in that stays, (0.5, 1].
    Real self_discharge_per_s{0};         ///< SOC lost per second, >= 0.
    Real capacity_share_std{Real(0.02)};  ///< Of the capacity, as a share.
    Real current_offset_std_A{0};         ///< Of the sensor.
    Real current_share_std{Real(0.005)};  ///< Of its gain.
    Real longest_step_s{86400};           ///< A longer time step is a fault.
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const CoulombCounterSettings<Real>& s) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"capacity_Ah", s.capacity_Ah, Real(1e-4), Real(1e6)},
        {"coulombic_efficiency", s.coulombic_efficiency, Real(0.5), Real(1)},
        {"self_discharge_per_s", s.self_discharge_per_s, Real(0), Real(1e-3)},
        {"capacity_share_std", s.capacity_share_std, Real(0), Real(1)},
        {"current_offset_std_A", s.current_offset_std_A, Real(0), Real(1e4)},
        {"current_share_std", s.current_share_std, Real(0), Real(1)},
        {"longest_step_s", s.longest_step_s, Real(1e-3), Real(1e7)},
    };
    return detail::first_outside(rows);
}

/// Counter of one cell.
template <class Real>
class CoulombCounter {
  public:
    using Settings = CoulombCounterSettings<Real>;

    [[nodiscard]] Status configure(const Settings& settings) noexcept {
        const Finding<Real> finding = validate(settings);
        if (finding.status != Status::ok) return finding.status;
        settings_ = settings;
        started_ = false;
        return Status::ok;
    }
    /// \param soc 0..1 \param soc_std its standard deviation, 0..1
    [[nodiscard]] Status start(Real soc, Real soc_std) noexcept {
        if (!(settings_.capacity_Ah > Real(0))) return Status::missing_table;
        if (!detail::finite(soc) || !detail::finite(soc_std)) return Status::sample_not_finite;
        if (!detail::within(soc, Real(0), Real(1)) || !detail::within(soc_std, Real(0), Real(1)))
            return Status::out_of_range;
        soc_ = start_soc_ = soc;
        carry_ = Real(0);
        start_std_ = soc_std;
        seconds_ = seconds_carry_ = Real(0);
        last_current_A_ = Real(0);
        started_ = true;
        estimate_ = SocEstimate<Real>{};
        publish();
        return Status::ok;
    }
    /// Takes one sample; its voltage and temperature are not looked at.
    const SocEstimate<Real>& step(const CellSample<Real>& sample) noexcept {
        estimate_.fault_bits = 0;
        if (!started_) {
            estimate_.fault_bits = fault_not_started;
            return estimate_;
        }
        Real current_A = sample.current_A;
        const Real most_A = Real(1000) * settings_.capacity_Ah;
        if (!detail::within(current_A, -most_A, most_A)) {
            estimate_.fault_bits |= fault_current_not_finite;
            current_A = last_current_A_;
        }
        Real dt_s = sample.dt_s;
        if (!(dt_s >= Real(0)) || dt_s > settings_.longest_step_s) {
            estimate_.fault_bits |= fault_time_step_invalid;
            dt_s = dt_s > Real(0) ? settings_.longest_step_s : Real(0);
        }
        last_current_A_ = current_A;
        const Real efficiency = current_A > Real(0) ? settings_.coulombic_efficiency : Real(1);
        add_compensated(
            soc_, carry_,
            efficiency * current_A * dt_s / (seconds_per_hour<Real> * settings_.capacity_Ah) -
                settings_.self_discharge_per_s * dt_s);
        add_compensated(seconds_, seconds_carry_, dt_s);
        if (soc_ < Real(-0.02) || soc_ > Real(1.02)) {
            soc_ = soc_ < Real(0) ? Real(-0.02) : Real(1.02);
            carry_ = Real(0);
            estimate_.fault_bits |= fault_soc_bounded;
        }
        publish();
        return estimate_;
    }
    [[nodiscard]] const SocEstimate<Real>& estimate() const noexcept { return estimate_; }
    [[nodiscard]] const Settings& settings() const noexcept { return settings_; }

  private:
    void publish() noexcept {
        const auto square = [](Real x) { return x * x; };
        estimate_.soc = soc_ < Real(0) ? Real(0) : (soc_ > Real(1) ? Real(1) : soc_);
        // Gain and capacity err by what was moved, an offset by the time.
        const Real moved = soc_ - start_soc_;
        const Real offset = settings_.current_offset_std_A * seconds_ /
                            (seconds_per_hour<Real> * settings_.capacity_Ah);
        estimate_.soc_std =
            std::sqrt(square(start_std_) +
                      (square(settings_.capacity_share_std) + square(settings_.current_share_std)) *
                          square(moved) +
                      square(offset));
    }
    Settings settings_{};
    Real soc_{0};
    Real carry_{0};
    Real start_soc_{0};
    Real start_std_{0};
    Real seconds_{0};
    Real seconds_carry_{0};
    Real last_current_A_{0};
    bool started_{false};
    SocEstimate<Real> estimate_{};
};

}  // namespace voltkeel
