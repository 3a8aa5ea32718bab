#include "voltkeel/simulate/cooling.hpp"

#include <algorithm>
#include <cmath>
#include <functional>

#include "io/number_text.hpp"
#include "simulate/bounds.hpp"
#include "simulate/circuit.hpp"
#include "simulate/named_columns.hpp"
#include "voltkeel/cell/exponential.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

namespace {

using detail::need_within;

/// A switch that is on in the warm (a fan, a pump, a compressor) or in the cold (a heater).
void check_switch(const std::string& field, const ThermalSwitch& value, bool in_the_warm) {
    if (std::isinf(value.on_degC) && value.on_degC == value.off_degC) return;  // held
    need_within(field + ".on_degC", value.on_degC, -1000, 1000);
    need_within(field + ".off_degC", value.off_degC, -1000, 1000);
    if (in_the_warm ? value.on_degC >= value.off_degC : value.on_degC <= value.off_degC) return;
    throw Error(field + ".on_degC: " + number_text(value.on_degC, "%.9g") + " must not be " +
                (in_the_warm ? "below" : "above") + " off_degC, " +
                number_text(value.off_degC, "%.9g"));
}

/// Counts the time that a part was on and its starts.
void use(PartUse& part, bool was_on, bool is_on, double dt_s) {
    if (was_on) part.on_s += dt_s;
    if (is_on && !was_on) ++part.starts;
}

}  // namespace

void check_cooling(const CoolingSettings& settings) {
    const AirTemperature& air = settings.air_temperature;
    if (air.time_s.empty() || air.time_s.size() != air.degC.size()) {
        throw Error("air_temperature: has " + std::to_string(air.time_s.size()) + " times and " +
                    std::to_string(air.degC.size()) + " temperatures, needs as many, at least 1");
    }
    for (std::size_t k = 0; k < air.time_s.size(); ++k) {
        const std::string at = "[" + std::to_string(k) + "]";
        need_within("air_temperature.degC" + at, air.degC[k], -80, 80);
        need_within("air_temperature.time_s" + at, air.time_s[k], -1e9, 1e9);
        if (k > 0 && !(air.time_s[k] > air.time_s[k - 1]))
            throw Error("air_temperature.time_s" + at + ": " + number_text(air.time_s[k], "%.9g") +
                        " must be above " + number_text(air.time_s[k - 1], "%.9g"));
    }
    if (settings.kind == CoolingKind::air) {
        need_within("air.still_factor", settings.air.still_factor, 1e-3, 1e3);
        need_within("air.moving_factor", settings.air.moving_factor, 1e-3, 1e3);
        need_within("air.flow_W_per_K", settings.air.flow_W_per_K, 0, 1e7);
        need_within("air.fan_power_W", settings.air.fan_power_W, 0, 1e6);
        check_switch("air.fan", settings.air.fan, true);
        return;
    }
    const LiquidLoop& loop = settings.liquid;
    need_within("liquid.start_degC", loop.start_degC, -60, 100);
    need_within("liquid.heat_capacity_J_per_K", loop.heat_capacity_J_per_K, 1, 1e9);
    need_within("liquid.flow_W_per_K", loop.flow_W_per_K, 1e-3, 1e7);
    need_within("liquid.pump_power_W", loop.pump_power_W, 0, 1e6);
    check_switch("liquid.pump", loop.pump, true);
    need_within("liquid.flowing_factor", loop.flowing_factor, 1e-3, 1e3);
    need_within("liquid.standing_factor", loop.standing_factor, 1e-3, 1e3);
    need_within("liquid.radiator.conductance_W_per_K", loop.radiator.conductance_W_per_K, 0, 1e7);
    need_within("liquid.radiator.air_W_per_K", loop.radiator.air_W_per_K, 1e-3, 1e7);
    need_within("liquid.radiator.fan_power_W", loop.radiator.fan_power_W, 0, 1e6);
    check_switch("liquid.radiator.fan", loop.radiator.fan, true);
    need_within("liquid.chiller.power_W", loop.chiller.power_W, 0, 1e7);
    need_within("liquid.chiller.performance", loop.chiller.performance, 0.1, 20);
    check_switch("liquid.chiller.compressor", loop.chiller.compressor, true);
    need_within("liquid.heater.power_W", loop.heater.power_W, 0, 1e7);
    check_switch("liquid.heater.element", loop.heater.element, false);
    need_within("liquid.heater.coolant_max_degC", loop.heater.coolant_max_degC, -60, 150);
    need_within("liquid.drive_loss_share", loop.drive_loss_share, 0, 1);
    need_within("liquid.charger_loss_share", loop.charger_loss_share, 0, 1);
}

double cross_flow_effectiveness(double transfer_units, double capacity_ratio) {
    if (!(transfer_units > 0)) return 0;
    if (!(capacity_ratio > 1e-6)) return relaxed_fraction(transfer_units);
    const double inner = relaxed_fraction(capacity_ratio * std::pow(transfer_units, 0.78));
    return relaxed_fraction(std::pow(transfer_units, 0.22) / capacity_ratio * inner);
}

double AirTemperature::at(double now_s) const {
    const auto next = std::upper_bound(time_s.begin(), time_s.end(), now_s);
    if (next == time_s.begin()) return degC.front();
    if (next == time_s.end()) return degC.back();
    const auto k = static_cast<std::size_t>(next - time_s.begin());
    const double share = (now_s - time_s[k - 1]) / (time_s[k] - time_s[k - 1]);
    return degC[k - 1] + share * (degC[k] - degC[k - 1]);
}

CoolingPlant::CoolingPlant(const Pack& pack, const CoolingSettings& settings, bool each_cell)
    : settings_(settings), coolant_degC_(settings.liquid.start_degC) {
    check(pack);
    check_cooling(settings);
    const detail::Wiring wiring = detail::make_wiring(pack, each_cell);
    for (const detail::Wiring::String& string : wiring.strings)
        string_start_.push_back(wiring.groups[string.first_group].first_unit);
    string_start_.push_back(wiring.unit_count);
}

void CoolingPlant::operator()(const CoolingStep& step) {
    if (step.copies.size() != string_start_.back()) {
        throw Error("cooling: is for " + std::to_string(string_start_.back()) +
                    " modelled cells, the run has " + std::to_string(step.copies.size()));
    }
    double from_cells_W = 0;
    for (std::size_t k = 0; k < step.copies.size(); ++k)
        from_cells_W += step.copies[k] * step.to_ambient_W[k];
    trace_.from_cells_J += from_cells_W * step.dt_s;
    trace_.electric_J += electric_W() * step.dt_s;
    if (settings_.kind == CoolingKind::liquid) {
        move_coolant(step, from_cells_W);
    } else {
        coolant_degC_ = settings_.air_temperature.at(step.time_s);
    }
    const bool flowed = flowing_;
    const bool fanned = radiator_fan_;
    const bool chilled = chiller_;
    const bool heated = heater_;
    switch_parts(step);
    use(trace_.flow_use, flowed, flowing_, step.dt_s);
    use(trace_.radiator_fan_use, fanned, radiator_fan_, step.dt_s);
    use(trace_.chiller_use, chilled, chiller_, step.dt_s);
    use(trace_.heater_use, heated, heater_, step.dt_s);
    set_surroundings(step);
    step.pack_power_W = settings_.supply == CoolingSupply::pack ? electric_W() : 0.0;
    trace_.time_s.push_back(step.time_s);
    trace_.air_degC.push_back(settings_.air_temperature.at(step.time_s));
    trace_.coolant_degC.push_back(coolant_degC_);
    trace_.flowing.push_back(flowing_ ? 1 : 0);
    trace_.radiator_fan.push_back(radiator_fan_ ? 1 : 0);
    trace_.chiller.push_back(chiller_ ? 1 : 0);
    trace_.heater.push_back(heater_ ? 1 : 0);
}

/// Moves the tank over the time since the last call, with the parts as they stood: a first-order
/// lag towards the radiator's air, exact for heat that is held.
void CoolingPlant::move_coolant(const CoolingStep& step, double from_cells_W) {
    const LiquidLoop& loop = settings_.liquid;
    const double dt_s = step.dt_s;
    if (!(dt_s > 0)) return;
    const double drive_W = step.load_power_W < 0 ? -step.load_power_W * loop.drive_loss_share
                                                 : step.load_power_W * loop.charger_loss_share;
    const double heater_W = heater_ ? loop.heater.power_W : 0.0;
    const double chiller_W = chiller_ ? loop.chiller.power_W : 0.0;
    const double into_W = from_cells_W + drive_W + heater_W - chiller_W;
    double carried_W_per_K = 0;
    if (radiator_fan_ && flowing_ && loop.radiator.conductance_W_per_K > 0) {
        const double least = std::min(loop.flow_W_per_K, loop.radiator.air_W_per_K);
        const double most = std::max(loop.flow_W_per_K, loop.radiator.air_W_per_K);
        carried_W_per_K = least * cross_flow_effectiveness(
                                      loop.radiator.conductance_W_per_K / least, least / most);
    }
    const double air_degC = settings_.air_temperature.at(step.time_s - 0.5 * dt_s);
    double change_K = into_W * dt_s / loop.heat_capacity_J_per_K;
    if (carried_W_per_K > 0) {
        const double end_degC = air_degC + into_W / carried_W_per_K;
        change_K = relaxed_fraction(dt_s * carried_W_per_K / loop.heat_capacity_J_per_K) *
                   (end_degC - coolant_degC_);
    }
    coolant_degC_ += change_K;
    const double kept_J = loop.heat_capacity_J_per_K * change_K;
    trace_.kept_J += kept_J;
    trace_.from_drive_J += drive_W * dt_s;
    trace_.from_heater_J += heater_W * dt_s;
    trace_.to_chiller_J += chiller_W * dt_s;
    if (carried_W_per_K > 0) trace_.to_radiator_J += into_W * dt_s - kept_J;
}

/// Power of all parts as they stand.
double CoolingPlant::electric_W() const {
    if (settings_.kind == CoolingKind::air) return flowing_ ? settings_.air.fan_power_W : 0.0;
    const LiquidLoop& loop = settings_.liquid;
    return (flowing_ ? loop.pump_power_W : 0.0) +
           (radiator_fan_ ? loop.radiator.fan_power_W : 0.0) +
           (heater_ ? loop.heater.power_W : 0.0) +
           (chiller_ ? loop.chiller.power_W / loop.chiller.performance : 0.0);
}

void CoolingPlant::switch_parts(const CoolingStep& step) {
    if (settings_.supply == CoolingSupply::pack && !step.connected) {
        flowing_ = radiator_fan_ = chiller_ = heater_ = false;
        return;
    }
    const auto [coldest, warmest] =
        std::minmax_element(step.core_degC.begin(), step.core_degC.end());
    if (settings_.kind == CoolingKind::air) {
        flowing_ = settings_.air.fan.next(flowing_, *warmest);
        return;
    }
    const LiquidLoop& loop = settings_.liquid;
    heater_ = loop.heater.power_W > 0 && loop.heater.element.next(heater_, *coldest) &&
              coolant_degC_ < loop.heater.coolant_max_degC;
    chiller_ = loop.chiller.power_W > 0 && loop.chiller.compressor.next(chiller_, coolant_degC_);
    radiator_fan_ = loop.radiator.conductance_W_per_K > 0 &&
                    loop.radiator.fan.next(radiator_fan_, coolant_degC_);
    // Warm coolant is carried to cold cells as long as the heater has work.
    const bool warming =
        loop.heater.power_W > 0 && loop.heater.element.next(true, *coldest) && heater_;
    flowing_ = loop.pump.next(flowing_, *warmest) || warming;
}

void CoolingPlant::set_surroundings(const CoolingStep& step) const {
    const bool liquid = settings_.kind == CoolingKind::liquid;
    if (liquid) {
        step.case_resistance_factor =
            flowing_ ? settings_.liquid.flowing_factor : settings_.liquid.standing_factor;
    } else {
        step.case_resistance_factor =
            flowing_ ? settings_.air.moving_factor : settings_.air.still_factor;
    }
    const std::size_t strings = string_start_.size() - 1;
    const double flow_W_per_K = liquid
                                    ? settings_.liquid.flow_W_per_K / static_cast<double>(strings)
                                    : settings_.air.flow_W_per_K;
    for (std::size_t s = 0; s < strings; ++s) {
        double degC = coolant_degC_;
        for (std::size_t k = string_start_[s]; k < string_start_[s + 1]; ++k) {
            if (!flowing_ || !(flow_W_per_K > 0)) {
                step.ambient_degC[k] = degC;
                continue;
            }
            // A cell sees the mean of what comes in and what goes out.
            const double rise_K = step.copies[k] * step.to_ambient_W[k] / flow_W_per_K;
            step.ambient_degC[k] = degC + 0.5 * rise_K;
            degC += rise_K;
        }
    }
}

std::vector<std::pair<std::string, std::vector<double>>> cooling_columns(
    const CoolingTrace& trace, const std::vector<double>& time_s) {
    if (trace.time_s.empty()) throw Error("cooling: the trace has no entries");
    std::vector<std::pair<std::string, std::vector<double>>> columns;
    const auto at_times = [&](const char* name, const std::vector<double>& from, bool straight) {
        std::vector<double> column;
        column.reserve(time_s.size());
        for (const double now_s : time_s) {
            const auto next = std::upper_bound(trace.time_s.begin(), trace.time_s.end(), now_s);
            const auto k = static_cast<std::size_t>(next - trace.time_s.begin());
            const std::size_t before = k > 0 ? k - 1 : 0;
            double value = from[before];
            if (straight && k > 0 && k < trace.time_s.size()) {
                const double share =
                    (now_s - trace.time_s[k - 1]) / (trace.time_s[k] - trace.time_s[k - 1]);
                value += share * (from[k] - from[k - 1]);
            }
            column.push_back(value);
        }
        columns.emplace_back(name, std::move(column));
    };
    at_times("air_degC", trace.air_degC, true);
    at_times("coolant_degC", trace.coolant_degC, true);
    at_times("flowing", trace.flowing, false);
    at_times("radiator_fan", trace.radiator_fan, false);
    at_times("chiller", trace.chiller, false);
    at_times("heater", trace.heater, false);
    return columns;
}

void write_simulation(const std::filesystem::path& path, const SimulationResult& result,
                      const CoolingTrace& cooling) {
    detail::NamedColumns all = result_columns(result);
    for (auto& one : cooling_columns(cooling, result.time_s))
        all.push_back(std::move(one));
    detail::write_named_columns(path, std::move(all));
}

TemperatureWindow allowed_temperature(const Pack& pack, bool charging) {
    TemperatureWindow narrowest{-std::numeric_limits<double>::infinity(),
                                std::numeric_limits<double>::infinity()};
    for (const PackString& string : pack.strings) {
        for (const std::string& name : string.modules) {
            const CellWindow<double>& window = module_named(pack, name).cell.window;
            narrowest.low_degC =
                std::max(narrowest.low_degC, charging ? window.charge_temperature_min_degC
                                                      : window.discharge_temperature_min_degC);
            narrowest.high_degC =
                std::min(narrowest.high_degC, charging ? window.charge_temperature_max_degC
                                                       : window.discharge_temperature_max_degC);
        }
    }
    if (!(narrowest.low_degC < narrowest.high_degC))
        throw Error("strings: their cells share no temperature at which they may be " +
                    std::string(charging ? "charged" : "discharged"));
    return narrowest;
}

WindowAnswer temperature_window(const SimulationResult& result, double low_degC, double high_degC) {
    if (result.size() == 0) throw Error("result: has no rows");
    if (!(low_degC < high_degC))
        throw Error("low_degC: " + number_text(low_degC) + " must be below high_degC, " +
                    number_text(high_degC));
    WindowAnswer answer;
    answer.coldest_degC =
        *std::min_element(result.core_min_degC.begin(), result.core_min_degC.end());
    answer.hottest_degC =
        *std::max_element(result.core_max_degC.begin(), result.core_max_degC.end());
    const auto outside = [&](const std::vector<double>& degC, double sign, double bound) {
        double sum_s = 0;
        for (std::size_t k = 0; k < degC.size(); ++k) {
            const double now_K = sign * (degC[k] - bound);
            if (k == 0) {
                if (now_K > 0 && answer.first_left_s < 0) answer.first_left_s = result.time_s[0];
                continue;
            }
            const double before_K = sign * (degC[k - 1] - bound);
            const double dt_s = result.time_s[k] - result.time_s[k - 1];
            double start_share = 0;
            double share = 0;
            if (before_K > 0 && now_K > 0) {
                share = 1;
            } else if (now_K > 0) {
                share = now_K / (now_K - before_K);
                start_share = 1 - share;
            } else if (before_K > 0) {
                share = before_K / (before_K - now_K);
            }
            sum_s += share * dt_s;
            const double left_s = result.time_s[k - 1] + start_share * dt_s;
            if (share > 0 && (answer.first_left_s < 0 || left_s < answer.first_left_s))
                answer.first_left_s = left_s;
        }
        return sum_s;
    };
    answer.below_s = outside(result.core_min_degC, -1, low_degC);
    answer.above_s = outside(result.core_max_degC, 1, high_degC);
    answer.kept = answer.first_left_s < 0;
    return answer;
}

WarmUp warm_up(const Pack& pack, const CoolingSettings& cooling, const SimulationSettings& settings,
               double target_degC, double longest_s) {
    need_within("target_degC", target_degC, -60, 100);
    need_within("longest_s", longest_s, 1e-3, 1e9);
    CoolingPlant plant(pack, cooling, settings.each_cell);
    SimulationSettings resting = settings;
    resting.heat = true;
    resting.cooling = std::ref(plant);
    resting.cut_off = {};
    resting.cut_off.voltage = false;
    resting.cut_off.warm_degC = target_degC;
    resting.record_groups = false;
    resting.record_cells = false;
    const SimulationResult result = simulate(pack, {current_load(0, longest_s)}, resting);
    WarmUp answer;
    answer.reached = std::any_of(
        result.events.begin(), result.events.end(),
        [](const SimulationEvent& one) { return one.kind == SimulationEventKind::warm; });
    answer.time_s = result.time_s.back();
    answer.electric_J = plant.trace().electric_J;
    answer.coldest_degC = result.core_min_degC.back();
    return answer;
}

}  // namespace voltkeel
