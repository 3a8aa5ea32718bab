#include "voltkeel/simulate/road_load.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <string>
#include <vector>

#include "simulate/bounds.hpp"
#include "simulate/step_mean.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {
namespace {

/// Rows between two calls of the progress.
constexpr std::size_t progress_rows = 4096;

/// Largest acceleration of a trace, either way: what is beyond is a fault of its times or speeds.
constexpr double acceleration_largest_m_per_s2 = 1000;

/// Resistance a + b v + c v^2 in N on a slope, without the slope's own force.
CoastDown resistance_on(const RoadVehicle& vehicle, double grade) {
    if (vehicle.coast_down) return *vehicle.coast_down;
    const double cosine = 1 / std::sqrt(1 + grade * grade);
    return {vehicle.rolling_resistance * vehicle.mass_kg * standard_gravity_m_per_s2 * cosine, 0,
            0.5 * vehicle.air_density_kg_per_m3 * vehicle.drag_area_m2};
}

double climb_force_N(const RoadVehicle& vehicle, double grade) {
    return vehicle.mass_kg * standard_gravity_m_per_s2 * grade / std::sqrt(1 + grade * grade);
}

double inertia_kg(const RoadVehicle& vehicle) {
    return vehicle.rotating_mass_factor * vehicle.mass_kg;
}

/// The drive of a vehicle: what pack and wheels exchange. All powers in W >= 0.
class Drive {
  public:
    explicit Drive(const RoadVehicle& vehicle) : vehicle_(vehicle) {
        const double rated_W = vehicle.drive_power_max_W;
        const double back_W = vehicle.regeneration_power_max_W;
        if (vehicle.drive_efficiency_curve) {
            delivered_most_W_ = rated_W * motor_fraction(*vehicle.drive_efficiency_curve, 1);
            for (const double fraction : vehicle.drive_efficiency_curve->power_fraction)
                driving_bends_W_.push_back(fraction * rated_W);
        } else {
            delivered_most_W_ = rated_W * vehicle.drive_efficiency;
        }
        driving_bends_W_.push_back(delivered_most_W_);
        if (vehicle.regeneration_efficiency_curve) {
            taken_most_W_ = rated_W * generator_fraction(*vehicle.regeneration_efficiency_curve,
                                                         back_W / rated_W);
            for (const double fraction : vehicle.regeneration_efficiency_curve->power_fraction)
                braking_bends_W_.push_back(fraction * rated_W);
        } else if (vehicle.regeneration_efficiency > 0) {
            taken_most_W_ = back_W / vehicle.regeneration_efficiency;
        } else {
            taken_most_W_ = 0;  // nothing comes back: the drive is left alone
        }
        braking_bends_W_.push_back(taken_most_W_);
    }

    /// At the wheels, of a power that drives.
    [[nodiscard]] double delivered_W(double traction_W) const {
        return traction_W > 0 ? std::min(traction_W, delivered_most_W_) : 0;
    }
    /// Out of the pack for that.
    [[nodiscard]] double drive_W(double traction_W) const {
        if (!(traction_W > 0)) return 0;
        const double efficiency =
            vehicle_.drive_efficiency_curve
                ? vehicle_.drive_efficiency_curve->at(traction_W / vehicle_.drive_power_max_W)
                : vehicle_.drive_efficiency;
        return traction_W < delivered_most_W_
                   ? std::min(traction_W / efficiency, vehicle_.drive_power_max_W)
                   : vehicle_.drive_power_max_W;
    }
    /// At the wheels, of a power that brakes (negative).
    [[nodiscard]] double taken_W(double traction_W, double speed) const {
        if (!(traction_W < 0) || speed <= vehicle_.regeneration_start_m_per_s) return 0;
        double share = vehicle_.regeneration_share;
        if (speed < vehicle_.regeneration_full_m_per_s) {
            share *= (speed - vehicle_.regeneration_start_m_per_s) /
                     (vehicle_.regeneration_full_m_per_s - vehicle_.regeneration_start_m_per_s);
        }
        return std::min(-traction_W * share, taken_most_W_);
    }
    /// Into the pack by that.
    [[nodiscard]] double regenerated_W(double traction_W, double speed) const {
        const double taken = taken_W(traction_W, speed);
        const double efficiency =
            vehicle_.regeneration_efficiency_curve
                ? vehicle_.regeneration_efficiency_curve->at(taken / vehicle_.drive_power_max_W)
                : vehicle_.regeneration_efficiency;
        return std::min(taken * efficiency, vehicle_.regeneration_power_max_W);
    }
    /// Powers at the wheels at which what the pack gives or gets bends.
    [[nodiscard]] const std::vector<double>& driving_bends_W() const { return driving_bends_W_; }
    [[nodiscard]] const std::vector<double>& braking_bends_W() const { return braking_bends_W_; }

  private:
    const RoadVehicle& vehicle_;
    double delivered_most_W_ = 0;
    double taken_most_W_ = 0;
    std::vector<double> driving_bends_W_;
    std::vector<double> braking_bends_W_;
};

/// One step of a trace.
struct RoadStep {
    double duration_s = 0;
    double from_m_per_s = 0;
    double to_m_per_s = 0;
    double grade = 0;
};

/// Means of power over a step, in W.
struct StepPower {
    double traction = 0;
    double braking = 0;
    double drive = 0;
    double delivered = 0;
    double taken = 0;
    double regenerated = 0;
    double resistance = 0;
    double drag = 0;
    double climb = 0;
    double kinetic = 0;
};

StepPower step_power(const RoadVehicle& vehicle, const Drive& drive, const RoadStep& step) {
    const double from = step.from_m_per_s;
    const double to = step.to_m_per_s;
    const CoastDown resistance = resistance_on(vehicle, step.grade);
    const double climb_N = climb_force_N(vehicle, step.grade);
    const double inertia_N = inertia_kg(vehicle) * (to - from) / step.duration_s;
    const double mean_speed = 0.5 * (from + to);
    StepPower mean;
    mean.resistance = resistance.a_N * mean_speed +
                      resistance.b_N_s_per_m * (from * from + from * to + to * to) / 3;
    mean.drag = resistance.c_N_s2_per_m2 * mean_speed * 0.5 * (from * from + to * to);
    mean.climb = climb_N * mean_speed;
    mean.kinetic = inertia_N * mean_speed;

    const double constant_N = resistance.a_N + climb_N + inertia_N;
    const double linear = resistance.b_N_s_per_m;
    const double square = resistance.c_N_s2_per_m2;
    const auto power = [&](double v) { return v * (constant_N + v * (linear + v * square)); };
    const double low = std::min(from, to);
    const double high = std::max(from, to);
    std::vector<double> breaks = {vehicle.regeneration_start_m_per_s,
                                  vehicle.regeneration_full_m_per_s};
    const auto breaks_at = [&](const std::vector<double>& coefficients, double least, double most) {
        if (!(most > least)) return;
        const std::vector<double> found = detail::sign_changes(coefficients, least, most);
        breaks.insert(breaks.end(), found.begin(), found.end());
    };
    breaks_at({constant_N, linear, square}, low, high);
    mean.braking =
        detail::step_mean([&](double v) { return std::max(0.0, -power(v)); }, from, to, breaks);
    mean.traction = mean.resistance + mean.drag + mean.climb + mean.kinetic + mean.braking;
    // Both are exact; what is left of their difference where there is no traction is rounding.
    if (mean.traction < 1e-12 * mean.braking) mean.traction = 0;
    if (mean.traction > 0) {
        for (const double bend_W : drive.driving_bends_W())
            breaks_at({-bend_W, constant_N, linear, square}, low, high);
        mean.drive =
            detail::step_mean([&](double v) { return drive.drive_W(power(v)); }, from, to, breaks);
        mean.delivered =
            vehicle.drive_efficiency_curve
                ? detail::step_mean([&](double v) { return drive.delivered_W(power(v)); }, from, to,
                                    breaks)
                : mean.drive * vehicle.drive_efficiency;
    }
    if (mean.braking > 0) {
        // With `rise` times the speed above `begin` in the share where that still rises.
        const double begin = vehicle.regeneration_start_m_per_s;
        const double whole = vehicle.regeneration_full_m_per_s;
        const double share = vehicle.regeneration_share;
        for (const double bend_W : drive.braking_bends_W()) {
            breaks_at({bend_W, share * constant_N, share * linear, share * square},
                      std::max(low, whole), high);
            if (!(whole > begin)) continue;
            const double rise = share / (whole - begin);
            breaks_at({bend_W, -begin * rise * constant_N, rise * (constant_N - begin * linear),
                       rise * (linear - begin * square), rise * square},
                      std::max(low, begin), std::min(high, whole));
        }
        mean.regenerated = detail::step_mean(
            [&](double v) { return drive.regenerated_W(power(v), v); }, from, to, breaks);
        mean.taken = detail::step_mean([&](double v) { return drive.taken_W(power(v), v); }, from,
                                       to, breaks);
    }
    return mean;
}

}  // namespace

void check_road_vehicle(const RoadVehicle& vehicle) {
    const std::string start =
        vehicle.name.empty() ? std::string("vehicle: ") : "vehicle '" + vehicle.name + "': ";
    const auto within = [&](const char* field, double value, double low, double high) {
        detail::need_within(start + field, value, low, high);
    };
    within("mass_kg", vehicle.mass_kg, 1, 1e6);
    within("rotating_mass_factor", vehicle.rotating_mass_factor, 1, 2);
    within("rolling_resistance", vehicle.rolling_resistance, 0, 1);
    within("drag_area_m2", vehicle.drag_area_m2, 0, 100);
    within("air_density_kg_per_m3", vehicle.air_density_kg_per_m3, 0.3, 2);
    if (vehicle.coast_down) {
        within("coast_down.a_N", vehicle.coast_down->a_N, 0, 1e5);
        within("coast_down.b_N_s_per_m", vehicle.coast_down->b_N_s_per_m, -1e3, 1e4);
        within("coast_down.c_N_s2_per_m2", vehicle.coast_down->c_N_s2_per_m2, 0, 1e3);
    }
    detail::need_positive(start + "drive_efficiency", vehicle.drive_efficiency, 1);
    within("regeneration_efficiency", vehicle.regeneration_efficiency, 0, 1);
    if (vehicle.drive_efficiency_curve)
        check_efficiency_curve(start + "drive_efficiency_curve", *vehicle.drive_efficiency_curve);
    if (vehicle.regeneration_efficiency_curve)
        check_efficiency_curve(start + "regeneration_efficiency_curve",
                               *vehicle.regeneration_efficiency_curve);
    within("regeneration_share", vehicle.regeneration_share, 0, 1);
    within("regeneration_start_m_per_s", vehicle.regeneration_start_m_per_s, 0,
           detail::speed_largest_m_per_s);
    within("regeneration_full_m_per_s", vehicle.regeneration_full_m_per_s,
           vehicle.regeneration_start_m_per_s, detail::speed_largest_m_per_s);
    within("regeneration_power_max_W", vehicle.regeneration_power_max_W, 0, 1e9);
    detail::need_positive(start + "drive_power_max_W", vehicle.drive_power_max_W, 1e9);
    within("auxiliary_power_W", vehicle.auxiliary_power_W, 0, 1e9);
}

double traction_force_N(const RoadVehicle& vehicle, double speed_m_per_s,
                        double acceleration_m_per_s2, double grade) {
    check_road_vehicle(vehicle);
    detail::need_within("speed_m_per_s", speed_m_per_s, 0, detail::speed_largest_m_per_s);
    detail::need_within("acceleration_m_per_s2", acceleration_m_per_s2,
                        -acceleration_largest_m_per_s2, acceleration_largest_m_per_s2);
    detail::need_within("grade", grade, -detail::grade_largest, detail::grade_largest);
    const CoastDown resistance = resistance_on(vehicle, grade);
    return resistance.a_N +
           speed_m_per_s * (resistance.b_N_s_per_m + speed_m_per_s * resistance.c_N_s2_per_m2) +
           climb_force_N(vehicle, grade) + inertia_kg(vehicle) * acceleration_m_per_s2;
}

double road_pack_power_W(const RoadVehicle& vehicle, double traction_power_W,
                         double speed_m_per_s) {
    check_road_vehicle(vehicle);
    detail::need_within("traction_power_W", traction_power_W, -1e12, 1e12);
    detail::need_within("speed_m_per_s", speed_m_per_s, 0, detail::speed_largest_m_per_s);
    const Drive drive(vehicle);
    return drive.regenerated_W(traction_power_W, speed_m_per_s) - drive.drive_W(traction_power_W) -
           vehicle.auxiliary_power_W;
}

RoadLoad road_load(const RoadVehicle& vehicle, const SpeedTrace& trace,
                   const std::function<bool(double)>& progress) {
    check_road_vehicle(vehicle);
    check_speed_trace(trace);
    const Drive drive(vehicle);
    const std::size_t rows = trace.size();
    RoadLoad load;
    load.time_s = trace.time_s;
    load.speed_m_per_s = trace.speed_m_per_s;
    load.power_W.resize(rows);
    load.traction_power_W.resize(rows);
    load.shortfall_W.resize(rows);
    load.distance_m = distance_m(trace);

    const double first = trace.speed_m_per_s.front();
    const double first_power = first * traction_force_N(vehicle, first);
    load.traction_power_W.front() = first_power;
    load.power_W.front() = road_pack_power_W(vehicle, first_power, first);
    load.shortfall_W.front() = std::max(0.0, first_power) - drive.delivered_W(first_power);

    RoadEnergy joule;  // in J until the end
    for (std::size_t k = 1; k < rows; ++k) {
        if (progress && k % progress_rows == 0 &&
            !progress(static_cast<double>(k) / static_cast<double>(rows))) {
            throw Error("road load: cancelled");
        }
        const RoadStep step{trace.time_s[k] - trace.time_s[k - 1], trace.speed_m_per_s[k - 1],
                            trace.speed_m_per_s[k], trace.grade.empty() ? 0 : trace.grade[k]};
        const double acceleration = (step.to_m_per_s - step.from_m_per_s) / step.duration_s;
        if (!(std::abs(acceleration) <= acceleration_largest_m_per_s2)) {
            throw Error((trace.source.empty() ? "speed trace" : trace.source) + ": speed_m_per_s[" +
                        std::to_string(k) + "]: from " + number_text(step.from_m_per_s, "%.6g") +
                        " to " + number_text(step.to_m_per_s, "%.6g") + " in " +
                        number_text(step.duration_s, "%.6g") + " s is more than " +
                        number_text(acceleration_largest_m_per_s2, "%.6g") + " m/s^2");
        }
        const StepPower mean = step_power(vehicle, drive, step);
        load.traction_power_W[k] = mean.traction - mean.braking;
        load.power_W[k] = mean.regenerated - mean.drive - vehicle.auxiliary_power_W;
        // Rounding of the mean is not a shortfall.
        const double missing = mean.traction - mean.delivered;
        load.shortfall_W[k] = missing > 1e-9 * mean.traction ? missing : 0;

        joule.traction_Wh += step.duration_s * mean.traction;
        joule.braking_Wh += step.duration_s * mean.braking;
        joule.delivered_Wh += step.duration_s * mean.delivered;
        joule.taken_Wh += step.duration_s * mean.taken;
        joule.drive_Wh += step.duration_s * mean.drive;
        joule.regenerated_Wh += step.duration_s * mean.regenerated;
        joule.resistance_Wh += step.duration_s * mean.resistance;
        joule.drag_Wh += step.duration_s * mean.drag;
        joule.climb_Wh += step.duration_s * mean.climb;
        joule.kinetic_Wh += step.duration_s * mean.kinetic;
        joule.shortfall_Wh += step.duration_s * load.shortfall_W[k];
    }
    const double to_Wh = 1 / seconds_per_hour<double>;
    RoadEnergy& energy = load.energy;
    energy.traction_Wh = joule.traction_Wh * to_Wh;
    energy.braking_Wh = joule.braking_Wh * to_Wh;
    energy.delivered_Wh = joule.delivered_Wh * to_Wh;
    energy.taken_Wh = joule.taken_Wh * to_Wh;
    energy.drive_Wh = joule.drive_Wh * to_Wh;
    energy.regenerated_Wh = joule.regenerated_Wh * to_Wh;
    energy.resistance_Wh = joule.resistance_Wh * to_Wh;
    energy.drag_Wh = joule.drag_Wh * to_Wh;
    energy.climb_Wh = joule.climb_Wh * to_Wh;
    energy.kinetic_Wh = joule.kinetic_Wh * to_Wh;
    energy.shortfall_Wh = joule.shortfall_Wh * to_Wh;
    energy.friction_brake_Wh = energy.braking_Wh - energy.taken_Wh;
    energy.auxiliary_Wh =
        vehicle.auxiliary_power_W * (trace.time_s.back() - trace.time_s.front()) * to_Wh;
    energy.net_Wh = energy.regenerated_Wh - energy.drive_Wh - energy.auxiliary_Wh;
    return load;
}

}  // namespace voltkeel
