#include "voltkeel/io/model_state.hpp"

#include "io/charge_case.hpp"
#include "io/number_text.hpp"
#include "voltkeel/error.hpp"

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
    detail::check_charge(plan, target_soc, supply);
    return with_form(cell, [&](auto form) {
        using Form = decltype(form);
        const CellTables<double, Form::branches, Form::transfer> tables(cell);
        const ChargeConditions<double> conditions =
            detail::charge_conditions(state, ambient_degC, supply_current_A, supply);
        const CellState<double, Form::branches, Form::transfer> start =
            cell_state<Form::branches, Form::transfer>(state);
        ChargeOutlook result;
        const auto record = [&](const ChargePoint<double, Form::branches, Form::transfer>& point) {
            result.curve.push_back(detail::curve_point(point));
        };
        result.status = target_soc != nullptr
                            ? time_to_soc(tables.parameters(), plan, start, conditions, *target_soc,
                                          result.forecast, settings, record)
                            : time_to_full(tables.parameters(), plan, start, conditions,
                                           result.forecast, settings, record);
        detail::check_started(result.status, ambient_degC, supply_current_A);
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
