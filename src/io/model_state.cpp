#include "voltkeel/io/model_state.hpp"

#include <utility>

#include "io/number_text.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/supply_file.hpp"

namespace voltkeel {

template <int Branches, bool Transfer>
CellState<double, Branches, Transfer> cell_state(const ModelState& state) {
    constexpr std::size_t lags = lag_count<Branches, Transfer>;
    if (!state.branch_V.empty() && state.branch_V.size() != lags) {
        throw Error("branch_V: has " + std::to_string(state.branch_V.size()) +
                    " values, the cell has " + std::to_string(Branches) + " branches" +
                    (Transfer ? " and a charge transfer" : ""));
    }
    const auto bounded = [](const char* field, double value, double low, double high) {
        if (!(value >= low && value <= high)) {
            throw Error(std::string(field) + ": " + number_text(value) + " is outside " +
                        number_text(low) + " .. " + number_text(high));
        }
        return value;
    };
    CellState<double, Branches, Transfer> result;
    result.soc = bounded("soc", state.soc, -0.05, 1.05);
    for (std::size_t i = 0; i < state.branch_V.size(); ++i) {
        result.branch_V[i] = bounded("branch_V", state.branch_V[i], -10, 10);
    }
    result.hysteresis = bounded("hysteresis", state.hysteresis, -1, 1);
    result.resistance_scale = bounded("resistance_scale", state.resistance_scale, 0.01, 100);
    bounded("temperature_degC", state.temperature_degC, -100, 200);
    bounded("core_over_case_K", state.core_over_case_K, -100, 100);
    return result;
}

template CellState<double, 1, false> cell_state<1, false>(const ModelState&);
template CellState<double, 1, true> cell_state<1, true>(const ModelState&);
template CellState<double, 2, false> cell_state<2, false>(const ModelState&);
template CellState<double, 2, true> cell_state<2, true>(const ModelState&);
template CellState<double, 3, false> cell_state<3, false>(const ModelState&);
template CellState<double, 3, true> cell_state<3, true>(const ModelState&);
template CellState<double, 4, false> cell_state<4, false>(const ModelState&);
template CellState<double, 4, true> cell_state<4, true>(const ModelState&);

std::vector<HorizonLimit<double>> current_limits(const Cell& cell, const ModelState& state,
                                                 const std::vector<double>& horizons_s,
                                                 const LimitSettings<double>& settings) {
    return with_form(cell, [&](auto form) {
        using Form = decltype(form);
        const CellTables<double, Form::branches, Form::transfer> tables(cell);
        LimitSettings<double> used = settings;
        used.core_over_case_K += state.core_over_case_K;
        std::vector<HorizonLimit<double>> result(horizons_s.size());
        const Status status = current_limits(
            tables.parameters(), tables.limits(), cell_state<Form::branches, Form::transfer>(state),
            state.temperature_degC, horizons_s.data(), static_cast<int>(horizons_s.size()),
            result.data(), used);
        if (status != Status::ok) {
            throw Error(
                std::string(
                    "horizons must rise from 0 to 600 s, and state and settings must be usable: ") +
                message(status));
        }
        return result;
    });
}

namespace {

ChargeOutlook outlook(const Cell& cell, const ModelState& state, const ChargePlan<double>& plan,
                      double ambient_degC, const double* target_soc, double supply_current_A,
                      const PackSupply* supply, const ForecastSettings<double>& settings) {
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
    if (supply != nullptr) {
        check_supply(supply->supply);
        for (const auto& [field, count] :
             {std::pair{"series", supply->series}, std::pair{"parallel", supply->parallel}}) {
            if (count < 1) {
                throw Error(std::string(field) + ": " + std::to_string(count) +
                            " must be at least 1");
            }
        }
    }
    return with_form(cell, [&](auto form) {
        using Form = decltype(form);
        const CellTables<double, Form::branches, Form::transfer> tables(cell);
        ChargeConditions<double> conditions{state.temperature_degC, ambient_degC, supply_current_A,
                                            state.core_over_case_K};
        if (supply != nullptr) {
            conditions.supply = &supply->supply;
            conditions.series = supply->series;
            conditions.parallel = supply->parallel;
        }
        const CellState<double, Form::branches, Form::transfer> start =
            cell_state<Form::branches, Form::transfer>(state);
        ChargeOutlook result;
        const auto record = [&](const ChargePoint<double, Form::branches, Form::transfer>& point) {
            result.curve.push_back({point.time_s, point.current_A, point.voltage_V,
                                    point.temperature_degC, point.state.soc, point.phase});
        };
        result.status = target_soc != nullptr
                            ? time_to_soc(tables.parameters(), plan, start, conditions, *target_soc,
                                          result.forecast, settings, record)
                            : time_to_full(tables.parameters(), plan, start, conditions,
                                           result.forecast, settings, record);
        if (!usable(result.status)) {
            throw Error(std::string("the charge forecast cannot start (ambient ") +
                        number_text(ambient_degC) + " degC, supply " +
                        number_text(supply_current_A) + " A): " + message(result.status));
        }
        return result;
    });
}

}  // namespace

ChargeOutlook time_to_full(const Cell& cell, const ModelState& state,
                           const ChargePlan<double>& plan, double ambient_degC,
                           double supply_current_A, const ForecastSettings<double>& settings) {
    return outlook(cell, state, plan, ambient_degC, nullptr, supply_current_A, nullptr, settings);
}

ChargeOutlook time_to_soc(const Cell& cell, const ModelState& state, const ChargePlan<double>& plan,
                          double ambient_degC, double target_soc, double supply_current_A,
                          const ForecastSettings<double>& settings) {
    return outlook(cell, state, plan, ambient_degC, &target_soc, supply_current_A, nullptr,
                   settings);
}

ChargeOutlook time_to_full(const Cell& cell, const ModelState& state,
                           const ChargePlan<double>& plan, double ambient_degC,
                           const PackSupply& supply, const ForecastSettings<double>& settings) {
    return outlook(cell, state, plan, ambient_degC, nullptr, 0, &supply, settings);
}

ChargeOutlook time_to_soc(const Cell& cell, const ModelState& state, const ChargePlan<double>& plan,
                          double ambient_degC, double target_soc, const PackSupply& supply,
                          const ForecastSettings<double>& settings) {
    return outlook(cell, state, plan, ambient_degC, &target_soc, 0, &supply, settings);
}

}  // namespace voltkeel
