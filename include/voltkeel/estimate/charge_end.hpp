#pragma once
/// \file charge_end.hpp
/// Recognises the end of a charge to full, where the SOC is known without counting: the voltage was
/// held, the current has fallen to where the charge ends, and stops.
///
/// Full is what such a charge leaves: SOC 1 by the definition of the cell file. In the cold the
/// same current is reached earlier, and a charger that stops at another voltage or current does not
/// fill: neither counts.

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/finite.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// How the end of a charge is told.
template <class Real>
struct ChargeEndSettings {
    Real voltage_V{0};               ///< At which the charge is held, of a cell, > 0.
    Real end_current_A{0};           ///< At which it ends, of a cell, > 0.
    Real tolerance_V{Real(0.01)};    ///< Held from so far below on.
    Real end_share{Real(0.1)};       ///< The current may stop so much before its end, as a share.
    Real temperature_min_degC{15};   ///< Colder cells are not full: common practice, no source.
    Real full_soc_std{Real(0.005)};  ///< How exactly "full" is met.
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const ChargeEndSettings<Real>& s) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"voltage_V", s.voltage_V, Real(0.5), Real(10)},
        {"end_current_A", s.end_current_A, Real(1e-6), Real(1e5)},
        {"tolerance_V", s.tolerance_V, Real(1e-4), Real(0.2)},
        {"end_share", s.end_share, Real(0), Real(1)},
        {"temperature_min_degC", s.temperature_min_degC, Real(-100), Real(200)},
        {"full_soc_std", s.full_soc_std, Real(1e-5), Real(1)},
    };
    return detail::first_outside(rows);
}

/// Watches one cell or group.
template <class Real>
class ChargeEndDetector {
  public:
    using Settings = ChargeEndSettings<Real>;

    /// On failure nothing changes.
    [[nodiscard]] Status configure(const Settings& settings) noexcept {
        const Finding<Real> finding = validate(settings);
        if (finding.status != Status::ok) return finding.status;
        settings_ = settings;
        held_A_ = Real(0);
        return Status::ok;
    }

    /// Takes one sample. One that is no number ends what was seen.
    /// \return true once, in the sample in which the current of a full cell has stopped
    bool step(Real current_A, Real voltage_V, Real temperature_degC) noexcept {
        if (!detail::finite(current_A) || !detail::finite(voltage_V) ||
            !detail::finite(temperature_degC)) {
            held_A_ = Real(0);
            return false;
        }
        // Where the current has stopped, by no more than the sensor's offset.
        const Real still_A = Real(0.5) * settings_.end_current_A;
        if (current_A < still_A) {
            const bool full = held_A_ > Real(0) &&
                              held_A_ <= (Real(1) + settings_.end_share) * settings_.end_current_A;
            held_A_ = Real(0);
            return full;
        }
        const bool held = voltage_V >= settings_.voltage_V - settings_.tolerance_V &&
                          temperature_degC >= settings_.temperature_min_degC;
        held_A_ = held ? current_A : Real(0);
        return false;
    }
    [[nodiscard]] Real soc() const noexcept { return Real(1); }
    [[nodiscard]] Real soc_std() const noexcept { return settings_.full_soc_std; }
    [[nodiscard]] const Settings& settings() const noexcept { return settings_; }

  private:
    Settings settings_{};
    Real held_A_{0};  ///< Of the last sample at the held voltage; 0: none.
};

}  // namespace voltkeel
