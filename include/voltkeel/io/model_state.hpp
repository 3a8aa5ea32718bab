#pragma once
/// \file model_state.hpp
/// Limits and charge forecasts of a `Cell` from a state in plain numbers: the controller floors,
/// called with a branch count that is only known at run time.

#include <functional>
#include <vector>

#include "voltkeel/charge/forecast.hpp"
#include "voltkeel/io/cell.hpp"
#include "voltkeel/limits/current_limits.hpp"

namespace voltkeel {

/// State of a cell model as plain numbers: what a replay ends with, and limits and forecasts start
/// from.
struct ModelState {
    double soc{1};
    double soc_std{0};
    std::vector<double>
        branch_V;          ///< One per branch, then the charge transfer; empty means at rest.
    double hysteresis{0};  ///< -1 .. 1.
    double resistance_scale{1};
    double temperature_degC{25};
    double core_over_case_K{
        0};  ///< How much warmer the core (`temperature_degC`) is than the case.
};

/// `state` for a model with `Branches` branches. \throws Error when the number of branches differs
/// or a value is not usable.
template <int Branches, bool Transfer = false>
[[nodiscard]] CellState<double, Branches, Transfer> cell_state(const ModelState& state);

/// The other way: `cell` in plain numbers, with what a filter says of its SOC. \param soc the
/// filter's own, which may have counted on since `cell`
template <int Branches, bool Transfer>
[[nodiscard]] ModelState model_state(const CellState<double, Branches, Transfer>& cell, double soc,
                                     double soc_std, double temperature_degC) {
    return {soc,
            soc_std,
            {cell.branch_V, cell.branch_V + cell.lags},
            cell.hysteresis,
            cell.resistance_scale,
            temperature_degC};
}

/// Largest currents and powers of one cell now; see limits/current_limits.hpp.
/// \param horizons_s rising, each from 0 to 600 \throws Error for a state, horizon or setting that
/// cannot be used
[[nodiscard]] std::vector<HorizonLimit<double>> current_limits(
    const Cell& cell, const ModelState& state, const std::vector<double>& horizons_s = {2, 10, 30},
    const LimitSettings<double>& settings = {});

/// One point of a forecast's curve.
struct ChargeCurvePoint {
    double time_s{0};
    double current_A{0};
    double voltage_V{0};
    double temperature_degC{0};
    double soc{0};
    ChargePhase phase{ChargePhase::constant_current};
    LimitReason held_back_by{LimitReason::none};  ///< Table or part, below plan and supply.
};

/// A forecast, how it ended, and its curve.
struct ChargeOutlook {
    ChargeForecast<double> forecast{};
    Status status{Status::ok};  ///< ok, not_reached or not_allowed.
    std::vector<ChargeCurvePoint> curve;
};

/// Time until the cell is full on a plan; see charge/forecast.hpp. The state's temperature is where
/// it starts. \param ambient_degC surroundings \param supply_current_A most the supply gives; 0
/// means as much as the plan asks \throws Error for a state, plan or setting that cannot be used
[[nodiscard]] ChargeOutlook time_to_full(const Cell& cell, const ModelState& state,
                                         const ChargePlan<double>& plan, double ambient_degC,
                                         double supply_current_A = 0,
                                         const ForecastSettings<double>& settings = {});

/// What charges a pack, and the pack that it charges.
struct PackSupply {
    Supply<double> supply{};
    int series{1};    ///< Groups that share the supply's voltage, all as the cell.
    int parallel{1};  ///< Cells that share its current, all as the cell.
};

/// Time until a pack of such cells is full on a supply; the forecast is of one cell, its energy
/// from the socket of the whole pack.
/// \throws Error likewise, and for a supply that cannot be used
[[nodiscard]] ChargeOutlook time_to_full(const Cell& cell, const ModelState& state,
                                         const ChargePlan<double>& plan, double ambient_degC,
                                         const PackSupply& supply,
                                         const ForecastSettings<double>& settings = {});

/// The same until an SOC is reached.
[[nodiscard]] ChargeOutlook time_to_soc(const Cell& cell, const ModelState& state,
                                        const ChargePlan<double>& plan, double ambient_degC,
                                        double target_soc, const PackSupply& supply,
                                        const ForecastSettings<double>& settings = {});

/// Time until an SOC is reached, without a supply's limits; see time_to_full.
[[nodiscard]] ChargeOutlook time_to_soc(const Cell& cell, const ModelState& state,
                                        const ChargePlan<double>& plan, double ambient_degC,
                                        double target_soc, double supply_current_A = 0,
                                        const ForecastSettings<double>& settings = {});

}  // namespace voltkeel
