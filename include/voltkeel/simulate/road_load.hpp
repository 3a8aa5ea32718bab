#pragma once
/// \file
/// What driving a speed trace asks of the pack.
///
///     F = rolling m g cos(a) + 0.5 rho CdA v^2 + m g sin(a) + k m dv/dt
///
/// or, where a coast-down test was made, A + B v + C v^2 in place of the first two. Source: the
/// road-load equation of every vehicle-dynamics textbook, e.g. Wong, Theory of Ground Vehicles,
/// chapter 3; 40 CFR 1066.301 for A, B, C (from memory, not re-read).
///
/// Power of the pack is positive when it charges: driving is negative. Forces and power at the
/// wheels are positive when they drive the vehicle.

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "voltkeel/simulate/efficiency.hpp"
#include "voltkeel/simulate/speed_trace.hpp"

namespace voltkeel {

/// Standard gravity in m/s^2 (CGPM 1901, exact).
inline constexpr double standard_gravity_m_per_s2 = 9.80665;

/// Resistance found by letting the vehicle coast on a level road: A + B v + C v^2. Slopes do not
/// change it.
struct CoastDown {
    double a_N = 0;            ///< 0 .. 1e5
    double b_N_s_per_m = 0;    ///< -1e3 .. 1e4: fits often give a small negative one
    double c_N_s2_per_m2 = 0;  ///< 0 .. 1e3
};

/// A road vehicle as the pack feels it.
struct RoadVehicle {
    std::string name;
    double mass_kg = 1500;                  ///< laden, 1 .. 1e6
    double rotating_mass_factor = 1.04;     ///< inertia over mass, 1 .. 2
    double rolling_resistance = 0.01;       ///< force over weight, 0 .. 1
    double drag_area_m2 = 0.65;             ///< drag coefficient times frontal area, 0 .. 100
    double air_density_kg_per_m3 = 1.2041;  ///< 0.3 .. 2; 1.2041 is dry air at 20 degC, 101325 Pa

    /// Replaces rolling resistance and drag.
    std::optional<CoastDown> coast_down;

    double drive_efficiency = 0.88;         ///< from pack to wheels, above 0 .. 1
    double regeneration_efficiency = 0.80;  ///< from wheels to pack, 0 .. 1
    /// Replace the two constants: over the power that the drive gives to the wheels, or takes from
    /// them, as a fraction of `drive_power_max_W`.
    std::optional<EfficiencyCurve> drive_efficiency_curve;
    std::optional<EfficiencyCurve> regeneration_efficiency_curve;
    double regeneration_share = 0.6;  ///< of the braking power that the drive takes, 0 .. 1

    /// The share is 0 up to the first speed, whole from the second on, and rises in a straight line
    /// in between; 0 <= first <= second.
    double regeneration_start_m_per_s = 1.5;
    double regeneration_full_m_per_s = 4;

    double regeneration_power_max_W = 60e3;  ///< into the pack by braking, >= 0
    double drive_power_max_W = 120e3;        ///< out of the pack for driving, > 0
    double auxiliary_power_W = 300;          ///< out of the pack at all times, >= 0
};

/// Energies over a trace, in Wh; magnitudes, but for the three that say so.
///
///     traction - braking = resistance + drag + climb + kinetic
///     traction = delivered + shortfall            delivered = drive * drive_efficiency
///     braking = taken + friction_brake            regenerated = taken * regeneration_efficiency
///     net = regenerated - drive - auxiliary
struct RoadEnergy {
    double traction_Wh = 0;        ///< at the wheels while driving
    double braking_Wh = 0;         ///< at the wheels while braking
    double friction_brake_Wh = 0;  ///< the part of it that brakes turn into heat
    double resistance_Wh = 0;      ///< rolling; A and B of a coast-down
    double drag_Wh = 0;            ///< of the air; C of a coast-down
    double climb_Wh = 0;           ///< signed: positive uphill
    double kinetic_Wh = 0;         ///< signed: of the end less that of the start
    double shortfall_Wh = 0;       ///< at the wheels: what `drive_power_max_W` left undone
    double delivered_Wh = 0;       ///< at the wheels: what the drive did of the traction
    double taken_Wh = 0;           ///< at the wheels: what the drive did of the braking
    double drive_Wh = 0;           ///< out of the pack for driving
    double regenerated_Wh = 0;     ///< into the pack by braking
    double auxiliary_Wh = 0;       ///< out of the pack
    double net_Wh = 0;             ///< signed: of the pack, positive charges
};

/// What a trace asks of the pack; one entry per row of the trace in each vector. Powers are means
/// over the step that ends in the row, so that power times step is the energy; those of the first
/// row are the ones of rolling on at its speed on the level.
struct RoadLoad {
    std::vector<double> time_s;
    std::vector<double> speed_m_per_s;     ///< at the row
    std::vector<double> power_W;           ///< of the pack, positive charges
    std::vector<double> traction_power_W;  ///< at the wheels, positive drives
    std::vector<double> shortfall_W;       ///< at the wheels: asked, but above `drive_power_max_W`
    double distance_m = 0;
    RoadEnergy energy;
};

/// Checks a vehicle. \throws Error naming field, value and bound
void check_road_vehicle(const RoadVehicle& vehicle);

/// Force at the wheels in N, positive drives.
/// \param speed_m_per_s 0 .. 150
/// \param acceleration_m_per_s2 -1000 .. 1000
/// \param grade rise over run, -0.5 .. 0.5
/// \throws Error for a vehicle or an argument out of bounds
[[nodiscard]] double traction_force_N(const RoadVehicle& vehicle, double speed_m_per_s,
                                      double acceleration_m_per_s2 = 0, double grade = 0);

/// Power of the pack in W, positive charges, for a power at the wheels (positive drives).
/// Auxiliaries are in it; bounds of driving and braking are kept.
/// \param traction_power_W -1e12 .. 1e12
/// \param speed_m_per_s 0 .. 150
/// \throws Error for a vehicle or an argument out of bounds
[[nodiscard]] double road_pack_power_W(const RoadVehicle& vehicle, double traction_power_W,
                                       double speed_m_per_s);

/// Computes the load of a trace. The trace is taken as driven even where the drive cannot: what it
/// lacks stands in `shortfall_W`. At a standstill brakes hold the vehicle.
/// \param progress if given, called now and then with the share done; false cancels
/// \throws Error for a vehicle or a trace that cannot be used (accelerations above 1000 m/s^2 among
///   it), or when cancelled
[[nodiscard]] RoadLoad road_load(const RoadVehicle& vehicle, const SpeedTrace& trace,
                                 const std::function<bool(double)>& progress = {});

}  // namespace voltkeel
