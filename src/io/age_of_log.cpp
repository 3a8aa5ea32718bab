#include "voltkeel/io/age_of_log.hpp"

#include <cmath>
#include <optional>
#include <string>
#include <vector>

#include "io/replay_parts.hpp"
#include "voltkeel/cell/ocv.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/taper_file.hpp"

namespace voltkeel {

namespace {

/// How full is told; none where the cell says nothing of its charge.
std::optional<ChargeEndSettings<double>> charge_end_of(const Cell& cell,
                                                       const AgeSettings& settings) {
    if (settings.charge_end) return settings.charge_end;
    ChargeEndSettings<double> usual;
    usual.end_current_A = cell.charge.end_current_A;
    usual.voltage_V = held_voltage_V(cell.charge);
    if (!(usual.end_current_A > 0) || !(usual.voltage_V > 0)) return std::nullopt;
    return usual;
}

}  // namespace

AgeOfLog age_of_log(const Cell& cell, const Log& log, const ReplaySettings& how,
                    const AgeSettings& settings) {
    if (log.size() == 0) throw Error(log.source + ": has no rows");
    check_log(log);
    check(cell);
    AgeOfLog found;
    found.age = how.age;
    if (how.capacity_Ah) found.age.capacity_scale = *how.capacity_Ah / cell.capacity_Ah;
    check(found.age);
    const CellAge before = found.age;
    const Cell now = aged_cell(cell, before);
    CapacitySettings<double> of_capacity = settings.capacity;
    if (before.capacity_log_std > 0) of_capacity.initial_share_std = before.capacity_log_std;
    detail::need_valid(validate(of_capacity));
    detail::need_valid(validate(settings.rest));
    const std::optional<ChargeEndSettings<double>> full = charge_end_of(cell, settings);
    if (full) detail::need_valid(validate(*full));
    CapacityEstimator<double> capacity;
    RestDetector<double> rest;
    ChargeEndDetector<double> charge_end;
    const std::vector<OcvNode<double>> nodes = ocv_nodes<double>(cell.ocv);
    const OcvTable<double> ocv{nodes.data(), static_cast<int>(nodes.size()),
                               cell.ocv.reference_temperature_degC};
    Status status = capacity.configure(now.capacity_Ah, of_capacity);
    if (status == Status::ok) status = rest.configure(ocv, now.capacity_Ah, settings.rest);
    if (status == Status::ok && full) status = charge_end.configure(*full);
    if (status != Status::ok) throw Error(cell.name + ": " + message(status));

    // Where a rest lies between the branches of the OCV the filter knows whatever the capacity.
    ReplaySettings as_before = how;
    as_before.capacity_Ah.reset();
    as_before.age = before;
    const std::vector<double> hysteresis = replay(cell, log, as_before).hysteresis;

    bool rested = false;
    double rested_soc = 0;
    double rested_std = 0;
    // At its end a rest tells most.
    const auto close_rest = [&] {
        if (!rested) return;
        (void)capacity.anchor(rested_soc, rested_std);
        ++found.rests;
        rested = false;
    };
    for (std::size_t k = 0; k < log.size(); ++k) {
        const double dt_s = k > 0 ? log.time_s[k] - log.time_s[k - 1] : 0.0;
        const double current_A = log.current_A[k];
        const bool tells =
            rest.step(current_A, log.voltage_V[k], log.temperature_degC[k], dt_s, hysteresis[k]);
        if (rest.resting_s() == 0.0) close_rest();
        // The current of a row flowed until then: the one that has stopped is counted after.
        if (full && charge_end.step(current_A, log.voltage_V[k], log.temperature_degC[k])) {
            (void)capacity.anchor(charge_end.soc(), charge_end.soc_std());
            ++found.full_charges;
        }
        capacity.count(current_A > 0 ? cell.coulombic_efficiency * current_A : current_A, dt_s);
        if (tells) {
            rested = true;
            rested_soc = rest.soc();
            rested_std = rest.soc_std();
        }
    }
    close_rest();
    found.capacity_intervals = capacity.state().intervals;
    if (found.capacity_intervals > 0) {
        found.age.capacity_scale = capacity.capacity_Ah() / cell.capacity_Ah;
        found.age.capacity_log_std = capacity.capacity_std_Ah() / capacity.capacity_Ah();
    }

    ReplaySettings again = as_before;
    again.age = found.age;
    const SocTrace trace = replay(cell, log, again);
    ResistanceGrowthSettings<double> of_resistance = settings.resistance;
    if (before.resistance_log_std > 0) of_resistance.initial_log_std = before.resistance_log_std;
    ResistanceGrowth<double> growth;
    growth.configure(of_resistance);
    const double log_before = std::log(before.resistance_scale);
    // At rest nothing is seen of a resistance: looks there would repeat the last one, or the start.
    constexpr double quiet_per_h = 0.05;
    for (std::size_t k = 1; k < log.size(); ++k) {
        if (std::abs(log.current_A[k]) < quiet_per_h * now.capacity_Ah) continue;
        growth.step(std::log(trace.resistance_scale[k]) - log_before, trace.log_scale_std[k],
                    log.time_s[k] - log.time_s[k - 1]);
    }
    found.resistance_looks = growth.state().looks;
    if (found.resistance_looks > 0) {
        found.age.resistance_scale = before.resistance_scale * growth.growth();
        found.age.resistance_log_std = growth.log_growth_std();
    }
    check(found.age);
    return found;
}

}  // namespace voltkeel
