#pragma once
/// \file balancing_plan.hpp
/// Which groups to bleed and for how long, so that all of them are full at the same time.
///
/// The charge to bleed is what a group's headroom (1 - SOC) Q lacks of the largest one: a matter of
/// SOC and capacity, not of voltages. What the standard deviations leave open is not bled, and
/// nothing is where the voltage does not tell SOC apart (a flat OCV): there a plan would follow the
/// errors of the sensors. Groups of a module share a heat budget; the shares of time are such that
/// all groups of a module are done together, which no other sharing does sooner.
///
/// Bleed resistors get hot. Their heat, and that of the wiring, is for the makers of board and cell
/// to allow.

#include <cmath>
#include <cstdint>

#include "voltkeel/cell/bounds.hpp"
#include "voltkeel/cell/finite.hpp"
#include "voltkeel/status.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

/// What is known of a group.
template <class Real>
struct BalancingGroup {
    Real soc{0};          ///< -0.05 .. 1.05.
    Real soc_std{0};      ///< Of its difference to the other groups, where that is known apart.
    Real capacity_Ah{0};  ///< > 0.
    Real voltage_V{0};    ///< While it is bled, > 0.
    Real ocv_slope_V{0};  ///< Change of OCV per unit of SOC, here.
    int module{0};        ///< Groups with the same number share a heat budget.
    bool valid{true};     ///< False: left out of everything.
};

/// Knobs of the plan.
template <class Real>
struct BalancingPlanSettings {
    Real bleed_ohm{33};                 ///< Resistor of a group.
    Real module_heat_max_W{0};          ///< Mean heat of a module's resistors; 0 sets no bound.
    Real sigmas{2};                     ///< So many standard deviations are not bled.
    Real soc_step_min{Real(0.002)};     ///< Less is left alone.
    Real voltage_error_V{Real(0.003)};  ///< Of a group's voltage, with what hysteresis leaves open.
    Real soc_resolution{Real(0.02)};    ///< The voltage must tell SOC apart to this.
    Real voltage_min_V{Real(2.5)};      ///< A group below is not bled.
};

/// Checks the settings; see validate(CellParameters).
template <class Real>
[[nodiscard]] Finding<Real> validate(const BalancingPlanSettings<Real>& s) noexcept {
    const detail::BoundedField<Real> rows[] = {
        {"bleed_ohm", s.bleed_ohm, Real(1e-3), Real(1e5)},
        {"module_heat_max_W", s.module_heat_max_W, Real(0), Real(1e5)},
        {"sigmas", s.sigmas, Real(0), Real(10)},
        {"soc_step_min", s.soc_step_min, Real(0), Real(1)},
        {"voltage_error_V", s.voltage_error_V, Real(0), Real(1)},
        {"soc_resolution", s.soc_resolution, Real(1e-4), Real(1)},
        {"voltage_min_V", s.voltage_min_V, Real(0), Real(10)},
    };
    return detail::first_outside(rows);
}

/// Why a group is bled or not. Numbers are frozen: they appear in logs.
enum class BleedReason : std::uint8_t {
    bleed = 0,        ///< It has less headroom than the emptiest group.
    level = 1,        ///< It has not, or by less than the spreads and the smallest step.
    flat = 2,         ///< The voltage does not tell its SOC, or that of the emptiest group.
    low_voltage = 3,  ///< It is too low to be bled.
    invalid = 4,      ///< Nothing is known of it.
};

/// Plain words for a reason; never null.
[[nodiscard]] constexpr const char* message(BleedReason reason) noexcept {
    switch (reason) {
        case BleedReason::bleed:
            return "to be bled";
        case BleedReason::level:
            return "level with the emptiest, as far as is known";
        case BleedReason::flat:
            return "the voltage does not tell the SOC here";
        case BleedReason::low_voltage:
            return "too low to be bled";
        case BleedReason::invalid:
            return "not measured";
    }
    return "unknown reason";
}

/// What to do with a group.
template <class Real>
struct GroupBleed {
    Real charge_Ah{0};   ///< To be bled.
    Real resistor_s{0};  ///< Time its resistor conducts in all.
    Real time_s{0};      ///< When it is done, as all of its module: that time spread by
    Real share{0};       ///< this share of each period, 0..1.
    BleedReason reason{BleedReason::level};
};

/// What comes of it.
template <class Real>
struct BalancingPlan {
    Real time_s{0};           ///< Until the last group is done.
    Real charge_Ah{0};        ///< Bled, all groups together.
    Real heat_J{0};           ///< In the resistors.
    Real module_heat_W{0};    ///< Mean heat of the hottest module.
    Real usable_Ah{0};        ///< Of the groups in series now: least charge plus least headroom.
    Real usable_after_Ah{0};  ///< Once the plan is carried out.
    int bleeding{0};          ///< Number of groups.
};

/// More groups in one call are refused: the work grows with their square.
inline constexpr int most_balanced_groups = 1000;

/// Plans the bleeding of groups in series.
/// \param groups `count` of them \param bleeds receives as many
/// \return ok; missing_table for null, out_of_range or not_finite for settings and counts,
/// sample_not_finite for a valid group whose numbers cannot be. On failure nothing changes.
template <class Real>
[[nodiscard]] inline Status plan_balancing(const BalancingGroup<Real>* groups, int count,
                                           const BalancingPlanSettings<Real>& settings,
                                           GroupBleed<Real>* bleeds,
                                           BalancingPlan<Real>& out) noexcept {
    const Status knobs = validate(settings).status;
    if (knobs != Status::ok) return knobs;
    if (groups == nullptr || bleeds == nullptr) return Status::missing_table;
    if (count < 1 || count > most_balanced_groups) return Status::out_of_range;
    const auto headroom_Ah = [&](int k) {
        return (Real(1) - groups[k].soc) * groups[k].capacity_Ah;
    };
    int emptiest = -1;
    for (int k = 0; k < count; ++k) {
        const BalancingGroup<Real>& g = groups[k];
        if (!g.valid) continue;
        if (!detail::within(g.soc, Real(-0.05), Real(1.05)) ||
            !detail::within(g.soc_std, Real(0), Real(1)) ||
            !detail::within(g.capacity_Ah, Real(1e-4), Real(1e6)) ||
            !detail::within(g.voltage_V, Real(1e-3), Real(10)) || !detail::finite(g.ocv_slope_V)) {
            return Status::sample_not_finite;
        }
        if (emptiest < 0 || headroom_Ah(k) > headroom_Ah(emptiest)) emptiest = k;
    }
    BalancingPlan<Real> plan;
    if (emptiest < 0) {
        for (int k = 0; k < count; ++k)
            bleeds[k] = {Real(0), Real(0), Real(0), Real(0), BleedReason::invalid};
        out = plan;
        return Status::ok;
    }

    const BalancingGroup<Real>& reference = groups[emptiest];
    const Real reference_std_Ah = reference.soc_std * reference.capacity_Ah;
    const auto told = [&](const BalancingGroup<Real>& g) {
        return g.ocv_slope_V * settings.soc_resolution >= settings.voltage_error_V;
    };
    Real least_Ah = Real(-1);
    Real least_after_Ah = Real(-1);
    Real least_room_Ah = Real(-1);
    Real least_room_after_Ah = Real(-1);
    const auto keep_least = [](Real& least, Real value) {
        if (least < Real(0) || value < least) least = value > Real(0) ? value : Real(0);
    };
    for (int k = 0; k < count; ++k) {
        const BalancingGroup<Real>& g = groups[k];
        GroupBleed<Real>& bleed = bleeds[k];
        bleed = {};
        if (!g.valid) {
            bleed.reason = BleedReason::invalid;
            continue;
        }
        const Real own_Ah = g.soc_std * g.capacity_Ah;
        const Real open_Ah =
            settings.sigmas * std::sqrt(own_Ah * own_Ah + reference_std_Ah * reference_std_Ah);
        const Real surplus_Ah = headroom_Ah(emptiest) - headroom_Ah(k) - open_Ah;
        if (k == emptiest || !(surplus_Ah > settings.soc_step_min * g.capacity_Ah)) {
            bleed.reason = BleedReason::level;
        } else if (!told(g) || !told(reference)) {
            bleed.reason = BleedReason::flat;
        } else if (g.voltage_V < settings.voltage_min_V) {
            bleed.reason = BleedReason::low_voltage;
        } else {
            bleed.reason = BleedReason::bleed;
            bleed.charge_Ah = surplus_Ah;
            bleed.resistor_s =
                surplus_Ah * seconds_per_hour<Real> * settings.bleed_ohm / g.voltage_V;
            plan.charge_Ah += surplus_Ah;
            plan.heat_J += surplus_Ah * seconds_per_hour<Real> * g.voltage_V;
            ++plan.bleeding;
        }
        keep_least(least_Ah, g.soc * g.capacity_Ah);
        keep_least(least_room_Ah, headroom_Ah(k));
        keep_least(least_after_Ah, g.soc * g.capacity_Ah - bleed.charge_Ah);
        keep_least(least_room_after_Ah, headroom_Ah(k) + bleed.charge_Ah);
    }
    plan.usable_Ah = least_Ah + least_room_Ah;
    plan.usable_after_Ah = least_after_Ah + least_room_after_Ah;

    // A module's time: its slowest group, or its heat over the budget, whichever is longer.
    for (int k = 0; k < count; ++k) {
        if (bleeds[k].reason != BleedReason::bleed) continue;
        Real module_s = Real(0);
        Real heat_J = Real(0);
        for (int other = 0; other < count; ++other) {
            if (bleeds[other].reason != BleedReason::bleed ||
                groups[other].module != groups[k].module) {
                continue;
            }
            if (bleeds[other].resistor_s > module_s) module_s = bleeds[other].resistor_s;
            heat_J += bleeds[other].charge_Ah * seconds_per_hour<Real> * groups[other].voltage_V;
        }
        if (settings.module_heat_max_W > Real(0) &&
            heat_J > settings.module_heat_max_W * module_s) {
            module_s = heat_J / settings.module_heat_max_W;
        }
        bleeds[k].time_s = module_s;
        bleeds[k].share = bleeds[k].resistor_s / module_s;
        if (module_s > plan.time_s) plan.time_s = module_s;
        if (heat_J / module_s > plan.module_heat_W) plan.module_heat_W = heat_J / module_s;
    }
    out = plan;
    return Status::ok;
}

}  // namespace voltkeel
