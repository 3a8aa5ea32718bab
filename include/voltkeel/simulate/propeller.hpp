#pragma once
/// \file
/// What a boat's propeller asks of the pack.
///
///     shaft power = reference power (speed / reference speed)^exponent
///
/// The exponent is 3 for a displacement hull well below hull speed (resistance as speed squared:
/// the propeller law, as behind the Admiralty coefficient, e.g. Molland, Turnock, Hudson, Ship
/// Resistance and Propulsion; from memory, not re-read). Near hull speed it rises to 4 and more,
/// on a planing boat it falls to 2 or less: take it from two speeds of a trial with
/// `propeller_exponent`, and use it between them. The power to change speed, wind, current and
/// waves are not in it: a margin on the reference power is what stands for them.
///
/// Power of the pack is positive when it charges: a running propeller is negative.

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "voltkeel/simulate/efficiency.hpp"
#include "voltkeel/simulate/speed_trace.hpp"

namespace voltkeel {

/// A boat as the pack feels it.
struct Boat {
    std::string name;
    double reference_speed_m_per_s = 3;     ///< through the water, above 0 .. 150
    double reference_shaft_power_W = 15e3;  ///< at that speed, > 0
    double exponent = 3;                    ///< 0.5 .. 8
    double drive_efficiency = 0.88;         ///< from pack to shaft, above 0 .. 1
    double shaft_power_max_W = 40e3;        ///< of the motor, > 0
    double auxiliary_power_W = 400;         ///< out of the pack at all times, >= 0

    /// Replaces `drive_efficiency`: over the shaft power as a fraction of `shaft_power_max_W`.
    std::optional<EfficiencyCurve> drive_efficiency_curve;
};

/// What a trace asks of the pack; one entry per row of the trace in each vector. Powers are means
/// over the step that ends in the row, so that power times step is the energy; those of the first
/// row are the ones at its speed.
struct PropellerLoad {
    std::vector<double> time_s;
    std::vector<double> speed_m_per_s;  ///< through the water, at the row
    std::vector<double> power_W;        ///< of the pack, positive charges
    std::vector<double> shaft_power_W;  ///< positive drives
    std::vector<double> shortfall_W;    ///< at the shaft: asked, but above `shaft_power_max_W`
    double distance_m = 0;              ///< through the water
    double shaft_Wh = 0;                ///< delivered at the shaft
    double shortfall_Wh = 0;            ///< not delivered
    double drive_Wh = 0;                ///< out of the pack for the shaft
    double auxiliary_Wh = 0;            ///< out of the pack
    double net_Wh = 0;                  ///< of the pack, positive charges: negative here
};

/// Checks a boat. \throws Error naming field, value and bound
void check_boat(const Boat& boat);

/// Shaft power in W that a speed through the water asks for, whatever the motor can.
/// \param speed_m_per_s 0 .. 150
/// \throws Error for a boat or a speed out of bounds
[[nodiscard]] double shaft_power_W(const Boat& boat, double speed_m_per_s);

/// Exponent of the law through two speeds of a trial, in either order.
/// \throws Error when a value is not positive, above 150 m/s or 1 GW, or the speeds are the same
[[nodiscard]] double propeller_exponent(double speed_1_m_per_s, double power_1_W,
                                        double speed_2_m_per_s, double power_2_W);

/// Computes the load of a trace of the speed through the water. A trace with a grade is refused.
/// The trace is taken as sailed even where the motor cannot: see `shortfall_W`.
/// \param progress if given, called now and then with the share done; false cancels
/// \throws Error for a boat or a trace that cannot be used, or when cancelled
[[nodiscard]] PropellerLoad propeller_load(const Boat& boat, const SpeedTrace& trace,
                                           const std::function<bool(double)>& progress = {});

}  // namespace voltkeel
