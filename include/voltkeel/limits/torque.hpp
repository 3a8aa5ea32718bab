#pragma once
/// \file torque.hpp
/// From the power that a pack may take or give to the torque of a drive at a shaft speed.
///
/// Motoring torque turns the shaft further in the direction in which it turns, regeneration brakes
/// it. With T the magnitude of the torque, w that of the speed and e the efficiency of the drive,
/// the electrical power is
///
///     motoring      T w / e + k T^2        from the pack, together with the auxiliary load
///     regeneration  T w e - k T^2          into the pack and what the auxiliary load is sure to
///     take
///
/// k is a loss that is there at standstill too (winding). Both torques are the largest magnitude
/// for which this one and every smaller one keep the limits. Near standstill the power says nothing
/// about the torque: there the speed counts as `standstill_speed_rad_s`. Above the speed from which
/// the drive weakens its field its own power limit holds, above its greatest speed there is no
/// torque.
///
/// A converter that switches off at a speed at which the machine's own voltage is above the pack's
/// feeds the pack uncontrolled; no torque limit prevents that.

#include <cmath>
#include <limits>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/limits/window.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel {

/// Efficiency of a drive over speed and torque, magnitudes: a view, linear in between, held at the
/// ends. Node (s, t) is `efficiency[s * torque_count + t]`.
template <class Real>
struct EfficiencyTable {
    const Real* speed_rad_s{nullptr};  ///< Increasing.
    int speed_count{0};
    const Real* torque_Nm{nullptr};  ///< Increasing.
    int torque_count{0};
    const Real* efficiency{nullptr};  ///< 0.01 .. 1.
};

/// A drive: converter, machine and what turns the shaft.
template <class Real>
struct TorqueDrive {
    Real torque_max_Nm{0};  ///< > 0; magnitude in both directions.
    Real power_max_W{std::numeric_limits<Real>::infinity()};      ///< At the shaft.
    Real speed_max_rad_s{std::numeric_limits<Real>::infinity()};  ///< Beyond: no torque.
    Real efficiency{Real(0.9)};  ///< 0.01 .. 1, motoring, where there is no table.
    Real regeneration_efficiency{Real(0.9)};
    const EfficiencyTable<Real>* motoring_table{nullptr};      ///< In place of `efficiency`.
    const EfficiencyTable<Real>* regeneration_table{nullptr};  ///< Likewise.
    Real winding_loss_W_per_Nm2{0};                            ///< k; not in the efficiency.
    Real auxiliary_W{0};  ///< What the pack feeds besides, >= 0.
    /// Share of it that is sure to be drawn while the drive brakes; 0: none of it is counted on.
    Real auxiliary_share_braking{0};
    Real standstill_speed_rad_s{1};  ///< Slower counts as this, > 0.
};

/// Torque limits at one speed.
template <class Real>
struct TorqueLimit {
    Real motoring_Nm{0};      ///< >= 0, with the rotation.
    Real regeneration_Nm{0};  ///< <= 0, against the rotation.
    Real highest_Nm{0};       ///< The same in the coordinate of the shaft: the torque may be from
    Real lowest_Nm{0};        ///< `lowest_Nm` (<= 0) to `highest_Nm` (>= 0).
    bool motoring_by_pack{false};      ///< The pack decides, not the drive.
    bool regeneration_by_pack{false};  ///< Likewise.
};

namespace detail {

template <class Real>
[[nodiscard]] Finding<Real> validate(const EfficiencyTable<Real>& table) noexcept {
    if (table.speed_rad_s == nullptr || table.torque_Nm == nullptr || table.efficiency == nullptr ||
        table.speed_count < 1 || table.torque_count < 1) {
        return {Status::missing_table, "efficiency_table", -1, Real(0), Real(1)};
    }
    for (int i = 1; i < table.speed_count; ++i) {
        if (!(table.speed_rad_s[i] > table.speed_rad_s[i - 1])) {
            return {Status::not_increasing, "efficiency_table.speed_rad_s", i, table.speed_rad_s[i],
                    table.speed_rad_s[i - 1]};
        }
    }
    for (int i = 1; i < table.torque_count; ++i) {
        if (!(table.torque_Nm[i] > table.torque_Nm[i - 1])) {
            return {Status::not_increasing, "efficiency_table.torque_Nm", i, table.torque_Nm[i],
                    table.torque_Nm[i - 1]};
        }
    }
    for (int i = 0; i < table.speed_count * table.torque_count; ++i) {
        if (!within(table.efficiency[i], Real(0.01), Real(1))) {
            return {Status::out_of_range, "efficiency_table.efficiency", i, table.efficiency[i],
                    table.efficiency[i] > Real(1) ? Real(1) : Real(0.01)};
        }
    }
    return {};
}

template <class Real>
[[nodiscard]] inline Real efficiency_at(const EfficiencyTable<Real>* table, Real otherwise,
                                        Real speed_rad_s, Real torque_Nm) noexcept {
    if (table == nullptr) return otherwise;
    const AxisPosition<Real> s =
        locate_breakpoint(table->speed_rad_s, table->speed_count, speed_rad_s);
    const AxisPosition<Real> t =
        locate_breakpoint(table->torque_Nm, table->torque_count, torque_Nm);
    const auto along = [&](int row) {
        const Real* first = table->efficiency + row * table->torque_count + t.index;
        return table->torque_count < 2 ? first[0] : first[0] + t.fraction * (first[1] - first[0]);
    };
    const Real slow = along(s.index);
    return table->speed_count < 2 ? slow : slow + s.fraction * (along(s.index + 1) - slow);
}

/// Largest x up to `most` for which `fine` holds from 0 on: the first crossing on a grid of 32
/// steps, then halved 24 times. `fine(0)` holds.
template <class Real, class Fine>
[[nodiscard]] inline Real largest(Real most, const Fine& fine) noexcept {
    constexpr int parts = 32;
    Real low = Real(0);
    Real high = most;
    bool met = false;
    for (int k = 1; k <= parts; ++k) {
        const Real x = most * static_cast<Real>(k) / static_cast<Real>(parts);
        if (!fine(x)) {
            high = x;
            met = true;
            break;
        }
        low = x;
    }
    if (!met) return most;
    for (int turn = 0; turn < 24; ++turn) {
        const Real middle = Real(0.5) * (low + high);
        (fine(middle) ? low : high) = middle;
    }
    return low;
}

}  // namespace detail

/// Checks a drive; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const TorqueDrive<Real>& drive) noexcept {
    // Infinite means no bound; NaN fails the comparison.
    if (!(drive.power_max_W >= Real(0))) {
        return {Status::out_of_range, "power_max_W", -1, drive.power_max_W, Real(0)};
    }
    if (!(drive.speed_max_rad_s > Real(0))) {
        return {Status::out_of_range, "speed_max_rad_s", -1, drive.speed_max_rad_s, Real(0)};
    }
    const detail::BoundedField<Real> rows[] = {
        {"torque_max_Nm", drive.torque_max_Nm, Real(1e-6), Real(1e9)},
        {"efficiency", drive.efficiency, Real(0.01), Real(1)},
        {"regeneration_efficiency", drive.regeneration_efficiency, Real(0.01), Real(1)},
        {"winding_loss_W_per_Nm2", drive.winding_loss_W_per_Nm2, Real(0), Real(1e9)},
        {"auxiliary_W", drive.auxiliary_W, Real(0), Real(1e9)},
        {"auxiliary_share_braking", drive.auxiliary_share_braking, Real(0), Real(1)},
        {"standstill_speed_rad_s", drive.standstill_speed_rad_s, Real(1e-3), Real(1e3)},
    };
    const Finding<Real> finding = detail::first_outside(rows);
    if (finding.status != Status::ok) return finding;
    for (const EfficiencyTable<Real>* table : {drive.motoring_table, drive.regeneration_table}) {
        if (table == nullptr) continue;
        const Finding<Real> bad = detail::validate(*table);
        if (bad.status != Status::ok) return bad;
    }
    return {};
}

/// Torque limits from power limits.
/// \param drive checked once with validate()
/// \param charge_power_W >= 0 and discharge_power_W <= 0, at the terminals of the pack, as
///        PackDirectionLimit has them
/// \param speed_rad_s of the shaft, either sign
/// \return ok; sample_not_finite for a speed or power that is not a number, out_of_range for a
/// power
///         of the wrong sign; `out` is then untouched
template <class Real>
[[nodiscard]] inline Status torque_limits(const TorqueDrive<Real>& drive, Real charge_power_W,
                                          Real discharge_power_W, Real speed_rad_s,
                                          TorqueLimit<Real>& out) noexcept {
    if (!detail::finite(charge_power_W) || !detail::finite(discharge_power_W) ||
        !detail::finite(speed_rad_s)) {
        return Status::sample_not_finite;
    }
    if (charge_power_W < Real(0) || discharge_power_W > Real(0)) return Status::out_of_range;
    const Real speed = speed_rad_s < Real(0) ? -speed_rad_s : speed_rad_s;
    const Real counted =
        speed > drive.standstill_speed_rad_s ? speed : drive.standstill_speed_rad_s;
    Real most_Nm = drive.torque_max_Nm;
    if (most_Nm * counted > drive.power_max_W) most_Nm = drive.power_max_W / counted;
    if (speed > drive.speed_max_rad_s) most_Nm = Real(0);

    const Real spare_W = -discharge_power_W - drive.auxiliary_W;
    const Real given_W = spare_W > Real(0) ? spare_W : Real(0);
    const Real taken_W = charge_power_W + drive.auxiliary_share_braking * drive.auxiliary_W;
    const Real k = drive.winding_loss_W_per_Nm2;
    const auto motoring_fine = [&](Real torque) {
        const Real e =
            detail::efficiency_at(drive.motoring_table, drive.efficiency, counted, torque);
        return torque * counted / e + k * torque * torque <= given_W;
    };
    const auto regeneration_fine = [&](Real torque) {
        const Real e = detail::efficiency_at(drive.regeneration_table,
                                             drive.regeneration_efficiency, counted, torque);
        const Real into_W = torque * counted * e - k * torque * torque;
        return into_W <= taken_W && -into_W <= given_W;
    };
    TorqueLimit<Real> limit;
    limit.motoring_Nm = detail::largest(most_Nm, motoring_fine);
    limit.regeneration_Nm = Real(0) - detail::largest(most_Nm, regeneration_fine);
    limit.motoring_by_pack = limit.motoring_Nm < most_Nm;
    limit.regeneration_by_pack = -limit.regeneration_Nm < most_Nm;
    const bool forward = !(speed_rad_s < Real(0));
    limit.highest_Nm = forward ? limit.motoring_Nm : -limit.regeneration_Nm;
    limit.lowest_Nm = forward ? limit.regeneration_Nm : -limit.motoring_Nm;
    out = limit;
    return Status::ok;
}

}  // namespace voltkeel
