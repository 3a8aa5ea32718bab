#pragma once
/// \file charge_times.hpp
/// Charge times with their band and the least current for a departure, of a `Cell` from a state in
/// plain numbers: the controller floor charge/, called with a form of the model that is only known
/// at run time.

#include <optional>
#include <vector>

#include "voltkeel/charge/departure.hpp"
#include "voltkeel/charge/taper.hpp"
#include "voltkeel/charge/time_band.hpp"
#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"
#include "voltkeel/io/model_state.hpp"
#include "voltkeel/io/pack_limits.hpp"

namespace voltkeel {

/// What a charge is asked about.
struct ChargeCase {
    double ambient_degC{25};           ///< Surroundings, held.
    std::optional<double> target_soc;  ///< None: full by the plan.
    double supply_current_A{0};  ///< Most that flows into a cell; 0: as much as the plan asks.
    std::optional<PackSupply> supply;  ///< What charges the pack.
    /// The charge keeps to the charge temperatures and the highest SOC of the cell's window, to its
    /// maker's table of lasting currents and, of a pack, to what contactors, fuses and `parts`
    /// carry for ever.
    bool within_limits{false};
    std::vector<PackPart> parts;  ///< Of a pack, beside those of its file.
    ForecastSettings<double> settings{band_forecast<double>()};
};

/// A time with its band, how it ended, and the curve of the central run.
struct ChargeTimeOutlook {
    ChargeTimeBand<double> band{};
    Status status{Status::ok};  ///< ok, not_reached or not_allowed.
    std::vector<ChargeCurvePoint> curve;
};

/// Time until the target with its band; see charge/time_band.hpp. \param doubt its `soc_std` is
/// used as it stands, not the state's
/// \throws Error for a state, plan or setting that cannot be used
[[nodiscard]] ChargeTimeOutlook charge_time_band(const Cell& cell, const ModelState& state,
                                                 const ChargePlan<double>& plan,
                                                 const ChargeCase& what,
                                                 const ChargeDoubt<double>& doubt);

/// The least current that is ready in time.
struct DepartureOutlook {
    DepartureCharge<double> departure{};
    Status status{Status::ok};            ///< ok, not_reached (too late even so) or not_allowed.
    std::vector<ChargeCurvePoint> curve;  ///< Of the central run.
};

/// The least current that is ready by a departure; see charge/departure.hpp. The target is that of
/// `departure`, the one of `what` is not read.
/// \throws Error likewise
[[nodiscard]] DepartureOutlook least_charge_current(const Cell& cell, const ModelState& state,
                                                    const ChargePlan<double>& plan,
                                                    const ChargeCase& what,
                                                    const Departure<double>& departure);

/// Learns the taper of a logged charge; see charge/taper.hpp.
/// \param log current of one cell \param voltage_V at which the charge is held, from
/// `tolerance_V` below it on \param end_current_A at which it ends
/// \return true when the charge ended so and something was learned; otherwise nothing changes
/// \throws Error for a voltage or current that cannot be
[[nodiscard]] bool learn_charge(TaperLearner<double>& taper, const Log& log, double voltage_V,
                                double end_current_A, double tolerance_V = 0.01);

/// Follows the charge that the log ends with, not completed yet, so that learned_time() can go by
/// its falls; what the learner knows of others stays.
/// \param log,voltage_V,tolerance_V as for learn_charge \throws Error likewise
void follow_charge(TaperLearner<double>& taper, const Log& log, double voltage_V,
                   double tolerance_V = 0.01);

}  // namespace voltkeel
