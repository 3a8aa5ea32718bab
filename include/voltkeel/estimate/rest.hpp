#pragma once
/// \file rest.hpp
/// Recognises a rest, and reads the SOC from the rested voltage: an anchor for the capacity, free
/// of any counting.
///
/// How far the voltage may still go is judged by what it did of late: what it moved in the second
/// half of the rest is taken for the spread of what is left. A cold cell has to rest longer, and
/// where the OCV is flat or its branches lie apart the answer says how little it knows.

#include <cmath>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/finite.hpp"
#include "voltkeel/cell/ocv.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// Knobs of the recognition.
template <class Real>
struct RestSettings {
    Real current_per_h{Real(0.01)};   ///< Less, as a multiple of the capacity, is no current.
    Real settle_s{1800};              ///< At 20 degC and above; twice as long for each 15 K below.
    Real voltage_std_V{Real(0.003)};  ///< Of sensor and OCV table.
    Real hysteresis_std{Real(0.5)};   ///< Of h: where between the branches a rest ends.
    Real soc_std_most{Real(0.05)};    ///< What is known no better is no anchor.
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const RestSettings<Real>& s) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"current_per_h", s.current_per_h, Real(1e-6), Real(1)},
        {"settle_s", s.settle_s, Real(1), Real(1e6)},
        {"voltage_std_V", s.voltage_std_V, Real(1e-5), Real(1)},
        {"hysteresis_std", s.hysteresis_std, Real(0), Real(1)},
        {"soc_std_most", s.soc_std_most, Real(1e-4), Real(1)},
    };
    return detail::first_outside(rows);
}

/// Watches one cell.
template <class Real>
class RestDetector {
  public:
    using Settings = RestSettings<Real>;

    /// \param ocv must outlive this object \param capacity_Ah > 0. On failure nothing changes.
    [[nodiscard]] Status configure(const OcvTable<Real>& ocv, Real capacity_Ah,
                                   const Settings& settings = {}) noexcept {
        const Finding<Real> finding = validate(settings);
        if (finding.status != Status::ok) return finding.status;
        if (ocv.nodes == nullptr || ocv.count < 2) return Status::missing_table;
        if (!detail::within(capacity_Ah, Real(1e-4), Real(1e6))) return Status::out_of_range;
        settings_ = settings;
        ocv_ = ocv;
        capacity_Ah_ = capacity_Ah;
        wake();
        return Status::ok;
    }

    /// Takes one sample. One that is no number ends the rest.
    /// \param hysteresis h of the filter, -1 .. 1; 0 where nothing is known of it
    /// \return true when soc() and soc_std() are those of a rested voltage
    bool step(Real current_A, Real voltage_V, Real temperature_degC, Real dt_s,
              Real hysteresis = Real(0)) noexcept {
        const Real most_A = settings_.current_per_h * capacity_Ah_;
        if (!detail::within(current_A, -most_A, most_A) ||
            !detail::within(voltage_V, Real(-10), Real(10)) ||
            !detail::within(temperature_degC, Real(-100), Real(200)) ||
            !detail::within(dt_s, Real(0), Real(1e7))) {
            wake();
            return false;
        }
        resting_s_ += dt_s;
        // Mean over a minute: noise is not to be taken for relaxation.
        const Real share = dt_s > Real(0) ? dt_s / (dt_s + Real(60)) : Real(1);
        mean_V_ = resting_s_ > dt_s ? mean_V_ + share * (voltage_V - mean_V_) : voltage_V;
        // What the voltage was at half the present length of the rest: kept at doubling times.
        if (resting_s_ >= Real(2) * mark_s_) {
            before_V_ = mark_V_;
            mark_V_ = mean_V_;
            mark_s_ = resting_s_ > Real(60) ? resting_s_ : Real(60);
        }
        rested_ = false;
        const Real below_K = temperature_degC < Real(20) ? Real(20) - temperature_degC : Real(0);
        const Real needed_s = settings_.settle_s * std::exp(below_K * Real(0.0462098));  // 2 / 15 K
        if (resting_s_ < needed_s) return false;
        Real soc = 0;
        if (soc_from_ocv(ocv_, mean_V_, temperature_degC, hysteresis, soc) ==
            Status::sample_not_finite) {
            return false;
        }
        const OcvPoint<Real> at = ocv_at(ocv_, soc, temperature_degC);
        const Real slope_V = at.slope_V + hysteresis * at.half_gap_slope_V;
        if (!(slope_V > Real(0))) return false;
        const Real moved_V = mean_V_ - before_V_;
        const Real var_V2 =
            settings_.voltage_std_V * settings_.voltage_std_V + moved_V * moved_V +
            at.half_gap_V * settings_.hysteresis_std * at.half_gap_V * settings_.hysteresis_std;
        soc_ = soc;
        soc_std_ =
            soc_std_from_ocv(ocv_, mean_V_, std::sqrt(var_V2), temperature_degC, hysteresis, soc);
        rested_ = soc_std_ <= settings_.soc_std_most;
        return rested_;
    }
    [[nodiscard]] bool rested() const noexcept { return rested_; }
    [[nodiscard]] Real resting_s() const noexcept { return resting_s_; }
    /// Of the last rested voltage.
    [[nodiscard]] Real soc() const noexcept { return soc_; }
    [[nodiscard]] Real soc_std() const noexcept { return soc_std_; }
    [[nodiscard]] const Settings& settings() const noexcept { return settings_; }

  private:
    void wake() noexcept {
        resting_s_ = Real(0);
        mark_s_ = Real(30);
        mark_V_ = before_V_ = Real(0);
        rested_ = false;
    }
    Settings settings_{};
    OcvTable<Real> ocv_{};
    Real capacity_Ah_{1};
    Real resting_s_{0};
    Real mean_V_{0};
    Real mark_s_{30};
    Real mark_V_{0};
    Real before_V_{0};
    Real soc_{0};
    Real soc_std_{1};
    bool rested_{false};
};

}  // namespace voltkeel
