#pragma once
/// \file pack_charge.hpp
/// How a pack of unequal groups charges: the controller floor's forecast (charge/forecast.hpp) of
/// the group that decides, with all others stepped through the same current.
///
/// All groups carry the same current per cell. The group with the highest voltage is held at the
/// plan's voltage, so it says what current flows; that may be the one with the most resistance at
/// first and the fullest one at the end, and the run goes over from one to the other where their
/// voltages cross (to 1 mV). A power of the supply is divided by the voltage of the deciding
/// group times the number of groups: a little less current than the pack would take. Within limits
/// the group whose window and table let in least decides while no voltage is held: the run goes
/// over to it where it lets in less than flows (by 0.1 %), and on to the first that comes to its
/// voltage.
///
/// In a balancing stage the bleed resistors of the pack conduct as charge/balancing_plan.hpp plans
/// it for each string, from the SOC of its groups as it is, and the stage ends as in ChargeControl:
/// when the voltages of all groups without current are within its spread, or with its time.

#include <vector>

#include "voltkeel/io/charge_times.hpp"
#include "voltkeel/io/pack.hpp"
#include "voltkeel/io/pack_limits.hpp"

namespace voltkeel {

/// One point of a pack's charge.
struct PackChargePoint {
    double time_s{0};
    double current_A{0};  ///< Of the pack.
    double voltage_V{0};  ///< At its terminals, joints included.
    double group_voltage_min_V{0};
    double group_voltage_max_V{0};
    double temperature_min_degC{0};
    double temperature_max_degC{0};
    double soc_min{0};
    double soc_max{0};
    ChargePhase phase{ChargePhase::constant_current};
    int group{0};                                 ///< Which decides.
    LimitReason held_back_by{LimitReason::none};  ///< Table or part, below plan and supply.
};

/// How the charge of a pack goes.
struct PackChargeOutlook {
    /// Times of all phases; charge, energies and end current of the pack, `end_soc` that of the
    /// group that decides, the temperatures those of the hottest group.
    ChargeForecast<double> forecast{};
    Status status{Status::ok};  ///< ok, not_reached or not_allowed.
    int group{0};               ///< Which decides at the end.
    int weakest_group{0};       ///< With the least charge in it at the end.
    double weakest_soc{0};      ///< Its SOC then.
    int handovers{0};           ///< How often the deciding group changed.
    double earliest_s{0};       ///< Band of the time; see pack_charge_band.
    double latest_s{0};
    std::vector<PackChargePoint> curve;
};

/// The charge of a pack to full, or until the deciding group is at an SOC.
/// \param pack strings of equal counts (equal_layout), all that are closed
/// \param groups one for every group, string by string, or one for all
/// \param plan for one cell
/// \param what `supply_current_A` is that of one cell; of `supply` the counts are not read, the
/// pack has them
/// \throws Error naming field, value and bound for what cannot be used
[[nodiscard]] PackChargeOutlook pack_charge(const Pack& pack, const std::vector<GroupState>& groups,
                                            const ChargePlan<double>& plan, const ChargeCase& what);

/// The same with the band of the time: all groups taken fuller and emptier by `sigmas` times their
/// `soc_std`, and of more and less resistance; what each moves adds up as squares.
[[nodiscard]] PackChargeOutlook pack_charge_band(const Pack& pack,
                                                 const std::vector<GroupState>& groups,
                                                 const ChargePlan<double>& plan,
                                                 const ChargeCase& what, double sigmas = 1.96);

/// The least current of a cell with which the late end of the pack's band is ready in time; see
/// charge/departure.hpp. `status` is not_reached where even the highest current is too late.
struct PackDeparture {
    double current_A{0};  ///< Highest of one cell.
    PackChargeOutlook charge;
    Status status{Status::ok};
};
/// \param ready_s from now \param tolerance of the time, as a share of it
[[nodiscard]] PackDeparture least_pack_charge_current(
    const Pack& pack, const std::vector<GroupState>& groups, const ChargePlan<double>& plan,
    const ChargeCase& what, double ready_s, double sigmas = 1.96, double tolerance = 0.002);

}  // namespace voltkeel
