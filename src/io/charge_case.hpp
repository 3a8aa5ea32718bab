#pragma once
/// \file charge_case.hpp
/// What every forecast of a charge is given, checked and as the controller floor takes it.

#include <string>
#include <utility>

#include "io/number_text.hpp"
#include "voltkeel/charge/forecast.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/model_state.hpp"
#include "voltkeel/io/supply_file.hpp"

namespace voltkeel::detail {

/// \param target_soc,supply null where there is none \throws Error naming what cannot be used
inline void check_charge(const ChargePlan<double>& plan, const double* target_soc,
                         const PackSupply* supply) {
    const Finding<double> plan_finding = validate(plan);
    if (plan_finding.status != Status::ok) {
        throw Error("charge." + std::string(plan_finding.field) + "[" +
                    std::to_string(plan_finding.index) + "]: " + number_text(plan_finding.value) +
                    " against " + number_text(plan_finding.bound) + ": " +
                    message(plan_finding.status));
    }
    if (target_soc != nullptr && !(*target_soc > 0 && *target_soc <= 1)) {
        throw Error("target_soc: " + number_text(*target_soc) + " is outside 0 .. 1");
    }
    if (supply == nullptr) return;
    check_supply(supply->supply);
    for (const auto& [field, count] :
         {std::pair{"series", supply->series}, std::pair{"parallel", supply->parallel}}) {
        if (count < 1) {
            throw Error(std::string(field) + ": " + std::to_string(count) + " must be at least 1");
        }
    }
}

/// \param supply outlives what comes back; null for none
inline ChargeConditions<double> charge_conditions(const ModelState& state, double ambient_degC,
                                                  double supply_current_A,
                                                  const PackSupply* supply) {
    ChargeConditions<double> conditions{state.temperature_degC, ambient_degC, supply_current_A,
                                        state.core_over_case_K};
    if (supply != nullptr) {
        conditions.supply = &supply->supply;
        conditions.series = supply->series;
        conditions.parallel = supply->parallel;
    }
    return conditions;
}

/// \throws Error where a forecast could not start at all
inline void check_started(Status status, double ambient_degC, double supply_current_A) {
    if (usable(status)) return;
    throw Error(std::string("the charge forecast cannot start (ambient ") +
                number_text(ambient_degC) + " degC, supply " + number_text(supply_current_A) +
                " A): " + message(status));
}

/// A point of the floor's curve in plain numbers.
template <int Branches, bool Transfer>
ChargeCurvePoint curve_point(const ChargePoint<double, Branches, Transfer>& point) {
    return {point.time_s,    point.current_A, point.voltage_V,   point.temperature_degC,
            point.state.soc, point.phase,     point.held_back_by};
}

}  // namespace voltkeel::detail
