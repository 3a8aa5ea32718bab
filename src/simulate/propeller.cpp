#include "voltkeel/simulate/propeller.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "simulate/bounds.hpp"
#include "simulate/step_mean.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {
namespace {

/// Rows between two calls of the progress.
constexpr std::size_t progress_rows = 4096;

double law_W(const Boat& boat, double speed_m_per_s) {
    return boat.reference_shaft_power_W *
           std::pow(speed_m_per_s / boat.reference_speed_m_per_s, boat.exponent);
}

/// Mean of the law over all speeds from `low` to `high`: with n the exponent and d the share of
/// `high` that lies between,
///
///     (high^(n+1) - low^(n+1)) / ((n+1) (high - low)) = high^n (1 - (1 - d)^(n+1)) / ((n+1) d)
///
/// which loses no digits however near the two are.
double law_mean_W(const Boat& boat, double low, double high) {
    if (!(high > low)) return law_W(boat, high);
    const double d = (high - low) / high;
    const double n = boat.exponent;
    return law_W(boat, high) * -std::expm1((n + 1) * std::log1p(-d)) / ((n + 1) * d);
}

/// Mean powers at the shaft over a step.
struct ShaftPower {
    double delivered_W = 0;
    double shortfall_W = 0;
};

/// \param bend the speed at which the motor gives all it has
ShaftPower shaft_power_over(const Boat& boat, double from, double to, double bend) {
    const double low = std::min(from, to);
    const double high = std::max(from, to);
    if (high <= bend) return {law_mean_W(boat, low, high), 0};
    const double most = boat.shaft_power_max_W;
    if (low >= bend) return {most, std::max(0.0, law_mean_W(boat, low, high) - most)};
    const double below = (bend - low) / (high - low);
    return {below * law_mean_W(boat, low, bend) + (1 - below) * most,
            (1 - below) * std::max(0.0, law_mean_W(boat, bend, high) - most)};
}

/// Speed at which the law asks for a power.
double speed_for(const Boat& boat, double shaft_W) {
    return boat.reference_speed_m_per_s *
           std::pow(shaft_W / boat.reference_shaft_power_W, 1 / boat.exponent);
}

/// Mean power out of the pack for the shaft over a step, with an efficiency that depends on it: by
/// Gauss points between the speeds at which the curve or the motor bends.
/// \param bends those speeds
double drive_power_over(const Boat& boat, double from, double to,
                        const std::vector<double>& bends) {
    const double most = boat.shaft_power_max_W;
    const auto drive_W = [&](double speed) {
        const double shaft_W = std::min(law_W(boat, speed), most);
        return shaft_W / boat.drive_efficiency_curve->at(shaft_W / most);
    };
    std::vector<double> breaks = bends;
    // A power with a fraction in its exponent is no polynomial near 0.
    const double high = std::max(from, to);
    for (const double share : {1e-3, 0.02, 0.1, 0.3})
        breaks.push_back(share * high);
    return detail::step_mean(drive_W, from, to, breaks);
}

}  // namespace

void check_boat(const Boat& boat) {
    const std::string start =
        boat.name.empty() ? std::string("boat: ") : "boat '" + boat.name + "': ";
    detail::need_positive(start + "reference_speed_m_per_s", boat.reference_speed_m_per_s,
                          detail::speed_largest_m_per_s);
    detail::need_positive(start + "reference_shaft_power_W", boat.reference_shaft_power_W, 1e9);
    detail::need_within(start + "exponent", boat.exponent, 0.5, 8);
    detail::need_positive(start + "drive_efficiency", boat.drive_efficiency, 1);
    if (boat.drive_efficiency_curve)
        check_efficiency_curve(start + "drive_efficiency_curve", *boat.drive_efficiency_curve);
    detail::need_positive(start + "shaft_power_max_W", boat.shaft_power_max_W, 1e9);
    detail::need_within(start + "auxiliary_power_W", boat.auxiliary_power_W, 0, 1e9);
}

double shaft_power_W(const Boat& boat, double speed_m_per_s) {
    check_boat(boat);
    detail::need_within("speed_m_per_s", speed_m_per_s, 0, detail::speed_largest_m_per_s);
    return law_W(boat, speed_m_per_s);
}

double propeller_exponent(double speed_1_m_per_s, double power_1_W, double speed_2_m_per_s,
                          double power_2_W) {
    detail::need_positive("speed_1_m_per_s", speed_1_m_per_s, detail::speed_largest_m_per_s);
    detail::need_positive("power_1_W", power_1_W, 1e9);
    detail::need_positive("speed_2_m_per_s", speed_2_m_per_s, detail::speed_largest_m_per_s);
    detail::need_positive("power_2_W", power_2_W, 1e9);
    if (speed_1_m_per_s == speed_2_m_per_s) {
        throw Error("speed_2_m_per_s: " + number_text(speed_2_m_per_s, "%.6g") +
                    " is the first speed again; an exponent needs two");
    }
    return std::log(power_2_W / power_1_W) / std::log(speed_2_m_per_s / speed_1_m_per_s);
}

PropellerLoad propeller_load(const Boat& boat, const SpeedTrace& trace,
                             const std::function<bool(double)>& progress) {
    check_boat(boat);
    check_speed_trace(trace);
    if (!trace.grade.empty()) {
        throw Error((trace.source.empty() ? "speed trace" : trace.source) +
                    ": has a grade, which water has not");
    }
    const std::size_t rows = trace.size();
    PropellerLoad load;
    load.time_s = trace.time_s;
    load.speed_m_per_s = trace.speed_m_per_s;
    load.power_W.resize(rows);
    load.shaft_power_W.resize(rows);
    load.shortfall_W.resize(rows);
    load.distance_m = distance_m(trace);
    // The speed at which the motor can no more: a bend of the delivered power.
    const double bend = speed_for(boat, boat.shaft_power_max_W);
    std::vector<double> bends = {bend};
    if (boat.drive_efficiency_curve) {
        for (const double fraction : boat.drive_efficiency_curve->power_fraction)
            bends.push_back(speed_for(boat, fraction * boat.shaft_power_max_W));
    }
    double drive_J = 0;
    double shaft_J = 0;
    double shortfall_J = 0;
    for (std::size_t k = 0; k < rows; ++k) {
        if (progress && k > 0 && k % progress_rows == 0 &&
            !progress(static_cast<double>(k) / static_cast<double>(rows))) {
            throw Error("propeller load: cancelled");
        }
        const double from = trace.speed_m_per_s[k == 0 ? 0 : k - 1];
        const double to = trace.speed_m_per_s[k];
        const ShaftPower mean = shaft_power_over(boat, from, to, bend);
        load.shaft_power_W[k] = mean.delivered_W;
        load.shortfall_W[k] = mean.shortfall_W;
        const double drive_W = boat.drive_efficiency_curve
                                   ? drive_power_over(boat, from, to, bends)
                                   : mean.delivered_W / boat.drive_efficiency;
        load.power_W[k] = -drive_W - boat.auxiliary_power_W;
        if (k == 0) continue;
        const double duration_s = trace.time_s[k] - trace.time_s[k - 1];
        drive_J += drive_W * duration_s;
        shaft_J += mean.delivered_W * duration_s;
        shortfall_J += mean.shortfall_W * duration_s;
    }
    const double to_Wh = 1 / seconds_per_hour<double>;
    load.shaft_Wh = shaft_J * to_Wh;
    load.shortfall_Wh = shortfall_J * to_Wh;
    load.auxiliary_Wh =
        boat.auxiliary_power_W * (trace.time_s.back() - trace.time_s.front()) * to_Wh;
    load.drive_Wh = drive_J * to_Wh;
    load.net_Wh = -load.drive_Wh - load.auxiliary_Wh;
    return load;
}

}  // namespace voltkeel
