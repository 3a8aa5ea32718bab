#include "voltkeel/io/charge_times.hpp"

#include <initializer_list>
#include <string>
#include <tuple>

#include "io/charge_case.hpp"
#include "io/number_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

namespace {

void check_bounds(std::initializer_list<std::tuple<const char*, double, double>> values) {
    for (const auto& [field, value, high] : values) {
        if (!(value > 0 && value <= high)) {
            throw Error(std::string(field) + ": " + number_text(value) + " is outside 0 .. " +
                        number_text(high));
        }
    }
}

constexpr double highest_V = 10;
constexpr double widest_V = 1;

const PackSupply* supply_of(const ChargeCase& what) {
    return what.supply.has_value() ? &*what.supply : nullptr;
}

[[noreturn]] void refuse(const char* what, const Finding<double>& finding) {
    throw Error(std::string(what) + finding.field + ": " + number_text(finding.value) +
                " against " + number_text(finding.bound) + ": " + message(finding.status));
}

}  // namespace

ChargeTimeOutlook charge_time_band(const Cell& cell, const ModelState& state,
                                   const ChargePlan<double>& plan, const ChargeCase& what,
                                   const ChargeDoubt<double>& doubt) {
    const double* const target_soc = what.target_soc.has_value() ? &*what.target_soc : nullptr;
    detail::check_charge(plan, target_soc, supply_of(what));
    const Finding<double> doubted = validate(doubt);
    if (doubted.status != Status::ok) refuse("doubt.", doubted);
    return with_form(cell, [&](auto form) {
        using Form = decltype(form);
        const CellTables<double, Form::branches, Form::transfer> tables(cell);
        ChargeTimeOutlook result;
        const auto record = [&](const ChargePoint<double, Form::branches, Form::transfer>& point) {
            result.curve.push_back(detail::curve_point(point));
        };
        const auto start = cell_state<Form::branches, Form::transfer>(state);
        const CellLimits<double> limits = tables.limits();
        ChargeConditions<double> conditions = detail::charge_conditions(
            state, what.ambient_degC, what.supply_current_A, supply_of(what));
        if (what.within_limits) conditions.limits = &limits;
        result.status =
            target_soc != nullptr
                ? time_to_soc_band(tables.parameters(), plan, start, conditions, *target_soc, doubt,
                                   result.band, what.settings, record)
                : time_to_full_band(tables.parameters(), plan, start, conditions, doubt,
                                    result.band, what.settings, record);
        detail::check_started(result.status, what.ambient_degC, what.supply_current_A);
        return result;
    });
}

DepartureOutlook least_charge_current(const Cell& cell, const ModelState& state,
                                      const ChargePlan<double>& plan, const ChargeCase& what,
                                      const Departure<double>& departure) {
    detail::check_charge(plan, departure.target_soc > 0 ? &departure.target_soc : nullptr,
                         supply_of(what));
    const Finding<double> asked = validate(departure);
    if (asked.status != Status::ok) refuse("departure.", asked);
    DepartureOutlook result;
    with_form(cell, [&](auto form) {
        using Form = decltype(form);
        const CellTables<double, Form::branches, Form::transfer> tables(cell);
        const CellLimits<double> limits = tables.limits();
        ChargeConditions<double> conditions = detail::charge_conditions(
            state, what.ambient_degC, what.supply_current_A, supply_of(what));
        if (what.within_limits) conditions.limits = &limits;
        result.status = least_charge_current(
            tables.parameters(), plan, cell_state<Form::branches, Form::transfer>(state),
            conditions, departure, result.departure, what.settings);
        detail::check_started(result.status, what.ambient_degC, what.supply_current_A);
    });
    // The curve is that of the same charge once more.
    ChargeCase chosen = what;
    chosen.supply_current_A = result.departure.current_A;
    chosen.target_soc.reset();
    if (departure.target_soc > 0) chosen.target_soc = departure.target_soc;
    result.curve = charge_time_band(cell, state, plan, chosen, {}).curve;
    return result;
}

bool learn_charge(TaperLearner<double>& taper, const Log& log, double voltage_V,
                  double end_current_A, double tolerance_V) {
    check_bounds({{"voltage_V", voltage_V, highest_V},
                  {"end_current_A", end_current_A, 1e5},
                  {"tolerance_V", tolerance_V, widest_V}});
    TaperLearner<double> next = taper;
    next.begin();
    for (std::size_t k = 1; k < log.size(); ++k) {
        const bool holding = log.voltage_V[k] >= voltage_V - tolerance_V;
        const double current_A = log.current_A[k];
        if (next.step(current_A, holding, log.time_s[k] - log.time_s[k - 1]) != Status::ok)
            return false;
        if (holding && current_A > 0 && current_A <= end_current_A) {
            if (next.complete() != Status::ok) return false;
            taper = next;
            return true;
        }
    }
    return false;
}

void follow_charge(TaperLearner<double>& taper, const Log& log, double voltage_V,
                   double tolerance_V) {
    check_bounds({{"voltage_V", voltage_V, highest_V}, {"tolerance_V", tolerance_V, widest_V}});
    taper.begin();
    for (std::size_t k = 1; k < log.size(); ++k) {
        // What it refuses begins anew.
        (void)taper.step(log.current_A[k], log.voltage_V[k] >= voltage_V - tolerance_V,
                         log.time_s[k] - log.time_s[k - 1]);
    }
}

}  // namespace voltkeel
