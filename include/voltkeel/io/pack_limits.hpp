#pragma once
/// \file pack_limits.hpp
/// Limits of a `Pack` from the states of its groups, maps of limits over SOC and temperature, and
/// torque from power: the controller floor limits/, called with what files and vectors hold.

#include <limits>
#include <string>
#include <vector>

#include "voltkeel/io/model_state.hpp"
#include "voltkeel/io/pack.hpp"
#include "voltkeel/limits/pack_limits.hpp"
#include "voltkeel/limits/torque.hpp"

namespace voltkeel {

/// A part beside the cells that the pack file does not hold; see LimitComponent in
/// limits/component.hpp.
struct PackPart {
    LimitReason kind{LimitReason::drive};  ///< `fuse` to `driver`.
    std::string string;                    ///< Name of the string; empty: the whole pack.
    double charge_A{std::numeric_limits<double>::infinity()};
    double discharge_A{std::numeric_limits<double>::infinity()};
    double rated_A{std::numeric_limits<double>::infinity()};
    double i2t_A2s{0};
    std::vector<double> curve_time_s;     ///< Maker's time-current curve, rising; empty: none.
    std::vector<double> curve_current_A;  ///< Same length, falling.
    double used_share{0.8};
    double warmth{0};
};

/// What is known of one group; values are those of one of its cells.
struct GroupState {
    ModelState state;             ///< With its `soc_std`.
    double temperature_std_K{0};  ///< Of the temperature.
    double resistance_log_std{0};
    double capacity_scale{1};  ///< 1: as the tested cell.
    double capacity_log_std{0};
    bool voltage_flagged{false};
    bool temperature_flagged{false};
};

/// Largest currents and powers of a pack now; see limits/pack_limits.hpp. Contactors and fuses of
/// the pack file count with their ratings; a contactor that is not closed opens its string. \param
/// groups one for every group, string by string from the negative end; or one for all \param
/// horizons_s rising, each from 0 to 600, the last may be infinite: the continuous limit \param
/// parts what else carries the current \param current_flagged the sensor of the pack's current
/// \throws Error naming field, value and bound for what cannot be used, and when cells of one pack
/// have models of different form
[[nodiscard]] std::vector<PackHorizonLimit<double>> pack_limits(
    const Pack& pack, const std::vector<GroupState>& groups,
    const std::vector<double>& horizons_s = {2, 10, 30, std::numeric_limits<double>::infinity()},
    const std::vector<PackPart>& parts = {}, const PackLimitSettings<double>& settings = {},
    bool current_flagged = false);

/// Limits over SOC and temperature for one horizon; grids are [temperature][soc].
struct LimitMap {
    double horizon_s{10};
    std::vector<double> temperature_degC;
    std::vector<double> soc;
    Grid charge_A;
    Grid discharge_A;  ///< <= 0.
    Grid charge_W;
    Grid discharge_W;  ///< <= 0.
    std::vector<std::vector<LimitReason>> charge_reason;
    std::vector<std::vector<LimitReason>> discharge_reason;
};

/// Limits of one cell at rest over SOC and temperature, each a list that is not empty.
/// \throws Error likewise
[[nodiscard]] LimitMap limit_map(const Cell& cell, const std::vector<double>& soc,
                                 const std::vector<double>& temperature_degC, double horizon_s = 10,
                                 const ModelState& state = {},
                                 const LimitSettings<double>& settings = {});

/// Limits of a pack whose groups are all alike, likewise. \param group what else is known of a
/// group
[[nodiscard]] LimitMap limit_map(const Pack& pack, const std::vector<double>& soc,
                                 const std::vector<double>& temperature_degC, double horizon_s = 10,
                                 const GroupState& group = {},
                                 const std::vector<PackPart>& parts = {},
                                 const PackLimitSettings<double>& settings = {});

/// Efficiency over speed and torque, magnitudes; `efficiency` is [speed][torque].
struct EfficiencyGrid {
    std::vector<double> speed_rad_s;
    std::vector<double> torque_Nm;
    Grid efficiency;
};

/// Torque limits from power limits; see limits/torque.hpp.
/// \param motoring,regeneration in place of the numbers of `drive`; null: the numbers
/// \throws Error naming field, value and bound
[[nodiscard]] TorqueLimit<double> torque_limits(const TorqueDrive<double>& drive,
                                                double charge_power_W, double discharge_power_W,
                                                double speed_rad_s,
                                                const EfficiencyGrid* motoring = nullptr,
                                                const EfficiencyGrid* regeneration = nullptr);

}  // namespace voltkeel
