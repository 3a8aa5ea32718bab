#include "fit/common_practice.hpp"

#include <algorithm>
#include <cmath>

#include "voltkeel/units.hpp"

namespace voltkeel {

namespace {
constexpr double cold_degC = 10;  // up to here half the charge current
constexpr double warm_degC = 25;  // from here all of it
}  // namespace

double arrhenius_factor(double activation_J_per_mol, double from_degC, double to_degC) {
    const auto inverse_K = [](double degC) { return 1 / (degC + zero_celsius_K<double>); };
    return std::exp(activation_J_per_mol / gas_constant_J_per_mol_K<double> *
                    (inverse_K(to_degC) - inverse_K(from_degC)));
}

void set_usual_limits(Cell& cell, const UsualCurrents& currents) {
    const CellWindow<double>& window = cell.window;
    const double coldest_degC =
        std::min(window.discharge_temperature_min_degC, window.charge_temperature_min_degC);
    const double hottest_degC =
        std::max(window.discharge_temperature_max_degC, window.charge_temperature_max_degC);
    CurrentGrid table;
    table.duration_s = 30;
    table.soc = {0, 1};
    for (const double degC : {coldest_degC, window.charge_temperature_min_degC, cold_degC,
                              warm_degC, 45.0, window.charge_temperature_max_degC, hottest_degC}) {
        if (degC >= coldest_degC && degC <= hottest_degC) table.temperature_degC.push_back(degC);
    }
    std::sort(table.temperature_degC.begin(), table.temperature_degC.end());
    table.temperature_degC.erase(
        std::unique(table.temperature_degC.begin(), table.temperature_degC.end()),
        table.temperature_degC.end());
    for (const double degC : table.temperature_degC) {
        const bool outside =
            degC <= window.charge_temperature_min_degC || degC > window.charge_temperature_max_degC;
        const double charge_A =
            outside ? 0 : (degC <= cold_degC ? 0.5 * currents.charge_A : currents.charge_A);
        const double discharge_A =
            degC < window.discharge_temperature_max_degC ? currents.discharge_A : 0;
        table.charge_A.push_back({charge_A, charge_A});
        table.discharge_A.push_back({discharge_A, discharge_A});
    }
    cell.current_limits = {table};

    ChargePlan<double>& plan = cell.charge;
    plan.zone_count = 0;
    const double low_degC = window.charge_temperature_min_degC;
    const double high_degC = window.charge_temperature_max_degC;
    if (low_degC < cold_degC) {
        plan.zones[plan.zone_count++] = {low_degC, std::min(cold_degC, high_degC),
                                         0.5 * currents.plan_A, window.voltage_max_V};
    }
    if (high_degC > cold_degC) {
        plan.zones[plan.zone_count++] = {std::max(cold_degC, low_degC), high_degC, currents.plan_A,
                                         window.voltage_max_V};
    }
    plan.end_current_A = currents.end_current_A;
}

}  // namespace voltkeel
