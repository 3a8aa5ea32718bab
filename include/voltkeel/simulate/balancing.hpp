#pragma once
/// \file balancing.hpp
/// What balancing a string by bleed resistors would gain and cost, and whether the chemistry lets a
/// monitor see the imbalance at all.
///
/// All groups of a string pass the same charge, so a string gives
///
///     usable = min(soc Q) + min((1 - soc) Q)        over its groups
///
/// and at best min(Q): once every group is full at the same time. The charge to bleed is what a
/// group's headroom (1 - soc) Q lacks of the largest one. On a flat OCV a difference of SOC hardly
/// shows as a voltage: there a threshold in millivolts means many percent, and bleeding by voltage
/// may go the wrong way.

#include <string>
#include <vector>

#include "voltkeel/simulate/simulate.hpp"

namespace voltkeel {

/// What a string would gain and lose.
struct BalancingOutlook {
    std::string string;
    double usable_Ah{0};    ///< As it is.
    double balanced_Ah{0};  ///< Balanced: the smallest group.
    double gain_Ah{0};      ///< The difference.
    double bleed_Ah{0};     ///< To be bled, all groups together.
    double bleed_J{0};      ///< The same as heat in the resistors.
    double time_s{0};       ///< Of the group that needs longest; 0 without bleed resistors.
    double hottest_W{0};    ///< Of one resistor while it conducts, at the fullest group.
    std::vector<double> group_bleed_Ah;  ///< Of each group.
    double seen_V{0};          ///< Spread of the groups' rested voltages: what a monitor could see.
    double threshold_soc{0};   ///< SOC difference that the threshold stands for, at the group where
                               ///< it stands for most.
    double resolved_share{0};  ///< Share of the SOC range in which the voltage error is worth less
                               ///< than `BalancingOutlookSettings::soc_step`.
};

/// What the outlook assumes of the monitor.
struct BalancingOutlookSettings {
    double threshold_V{0.005};      ///< Between groups, as in BalancingSettings.
    double voltage_error_V{0.003};  ///< Of a group's voltage, with what hysteresis leaves open.
    double soc_step{0.02};          ///< Difference that is to be seen.
};

/// Looks at every string of a pack at rest.
/// \param differences of the cells, for their capacities
/// \throws Error for a state of another pack or a setting out of bounds
[[nodiscard]] std::vector<BalancingOutlook> balancing_outlook(
    const Pack& pack, const PackState& state, const CellDifferences& differences = {},
    const BalancingOutlookSettings& settings = {});

}  // namespace voltkeel
