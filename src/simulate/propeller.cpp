#include "voltkeel/simulate/propeller.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>

#include "simulate/bounds.hpp"
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

}  // namespace

void check_boat(const Boat& boat) {
    const std::string start =
        boat.name.empty() ? std::string("boat: ") : "boat '" + boat.name + "': ";
    detail::need_positive(start + "reference_speed_m_per_s", boat.reference_speed_m_per_s,
                          detail::speed_largest_m_per_s);
    detail::need_positive(start + "reference_shaft_power_W", boat.reference_shaft_power_W, 1e9);
    detail::need_within(start + "exponent", boat.exponent, 0.5, 8);
    detail::need_positive(start + "drive_efficiency", boat.drive_efficiency, 1);
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
    const double bend =
        boat.reference_speed_m_per_s *
        std::pow(boat.shaft_power_max_W / boat.reference_shaft_power_W, 1 / boat.exponent);
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
        load.power_W[k] = -mean.delivered_W / boat.drive_efficiency - boat.auxiliary_power_W;
        if (k == 0) continue;
        const double duration_s = trace.time_s[k] - trace.time_s[k - 1];
        shaft_J += mean.delivered_W * duration_s;
        shortfall_J += mean.shortfall_W * duration_s;
    }
    const double to_Wh = 1 / seconds_per_hour<double>;
    load.shaft_Wh = shaft_J * to_Wh;
    load.shortfall_Wh = shortfall_J * to_Wh;
    load.auxiliary_Wh =
        boat.auxiliary_power_W * (trace.time_s.back() - trace.time_s.front()) * to_Wh;
    load.net_Wh = -load.shaft_Wh / boat.drive_efficiency - load.auxiliary_Wh;
    return load;
}

}  // namespace voltkeel
