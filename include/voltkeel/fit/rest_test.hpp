#pragma once
/// \file rest_test.hpp
/// Capacity and open-circuit voltage from the rests of pulse tests, without a slow test.

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Knobs of the evaluation of rests.
struct RestTestSettings {
    /// Capacity in Ah, > 0; left out: from a discharge from full to the floor.
    std::optional<double> capacity_Ah;
    double capacity_share_std{0.01};  ///< How well a capacity handed in is known, relative; > 0.
    /// Voltage in V that counts as empty; left out: the lowest one of the discharge that ends in
    /// the steep part of the curve.
    std::optional<double> floor_voltage_V;
    /// No more than this is a rest, in A, >= 0; left out: 0.2 % of the largest current of the log.
    std::optional<double> rest_current_A;
    double shortest_rest_s{900};    ///< A shorter rest says too little; > 0.
    double merge_soc{0.015};        ///< Rests closer than this are taken as one; 0 .. 0.2.
    int node_count{201};            ///< SOC nodes of the OCV curve.
    double voltage_std_V{0.001};    ///< Of a reading; > 0.
    double missing_share_std{0.3};  ///< How well what a rest lacks is known, as a share of it; > 0.
    double gain_std{0.001};         ///< Relative standard deviation of the current reading; >= 0.
    double offset_share_std{5e-4};  ///< Of the remaining current offset, as a share of the largest
                                    ///< current (common practice); 0 when the offset is known.
    double hysteresis_rate{30};     ///< Tells which branch a rest lies on; >= 0.
};

/// A relaxation carried on to its end.
struct RestedVoltage {
    double voltage_V{0};  ///< That the rest would reach.
    double voltage_std_V{0};
    double last_voltage_V{0};  ///< In its last rows.
    double time_s{0};          ///< Time constant of what is still going on.
};

/// Carries the voltage of a rest on to its end: V(t) = V_end + a exp(-t / tau), least squares over
/// the rows behind its first quarter, each row weighed with the time it stands for. tau is searched
/// between a twentieth and the whole of these; a longer one is not to be told from a
/// straight line.
/// \param log any log \param first_row, last_row of the rest, counted from 0; no current between
/// \param voltage_std_V of a reading
/// \param missing_share_std how well the part that is missing is known, as a share of it; what a
/// drift at the end would still add counts in the spread as well \throws Error for rows that are
/// none, fewer than 3, or not at rest
[[nodiscard]] RestedVoltage rested_voltage(const Log& log, std::size_t first_row,
                                           std::size_t last_row, double voltage_std_V = 0.001,
                                           double missing_share_std = 0.3);

/// Shape-preserving cubic interpolation: rises where the points rise, no wave in between. The
/// slopes are weighted harmonic means (Fritsch and Butland, SIAM J. Sci. Stat. Comput. 5 (1984)
/// 300-304; from memory, not re-read), at the ends the three-point formula, kept monotone.
/// \param x increasing, at least 2 \param y as many
/// \return value at `at`; outside the points the slope of the end goes on
/// \throws Error for points that are too few or out of order
[[nodiscard]] double monotone_cubic(const std::vector<double>& x, const std::vector<double>& y,
                                    double at);

/// A rest with what it says of the OCV.
struct Rest {
    std::size_t log{0};        ///< Which of the logs.
    std::size_t first_row{0};  ///< From 0.
    std::size_t last_row{0};
    double duration_s{0};
    double charge_Ah{0};  ///< Since full, not positive.
    double soc{0};
    double voltage_V{0};  ///< Carried on to the end of the relaxation.
    double voltage_std_V{0};
    double last_voltage_V{0};  ///< As measured.
    double hysteresis{0};      ///< -1: met after discharge, +1: after charge; else in between.
};

/// A place on a steady discharge, the overvoltage taken off: between two rests it is drawn onto
/// both, so that the rests give the level and the discharge the shape.
struct WalkedPoint {
    double charge_Ah{0};  ///< Since full, not positive.
    double soc{0};
    double voltage_V{0};
    double voltage_std_V{0};
};

/// What the rests of pulse tests at one temperature say.
struct RestTest {
    double capacity_Ah{0};
    double capacity_Ah_std{0};
    bool capacity_given{false};
    double temperature_degC{25};            ///< Median of the rests.
    double voltage_min_V{0};                ///< Lowest voltage under a steady discharge.
    double voltage_max_V{0};                ///< Highest voltage.
    std::optional<double> floor_voltage_V;  ///< When a discharge met it.
    std::vector<Rest> rests;                ///< By falling SOC.
    std::vector<WalkedPoint> between;       ///< On the discharges from rest to rest.
    std::vector<WalkedPoint> floor;  ///< From the last rest down to the floor, if it was met.
    double half_gap_V{0};  ///< Mean over the rests met after charge; 0 when none is claimed.
    double half_gap_V_std{0};
    std::vector<std::string> notes;
};

/// Reads the rests of pulse tests that start full, at one temperature.
///
/// SOC is counted from the first row of each log, which must be a rest of a full cell. The capacity
/// is the one handed in, or the charge from full to the floor and what the current left in the
/// cell there.
/// \param overvoltage_V of each log what a fitted model says lies on the OCV at each row (negative
/// after a discharge); empty: each relaxation is fitted by itself
/// \throws Error that says which log lacks what: rest, full start, capacity
[[nodiscard]] RestTest read_rest_test(const std::vector<const Log*>& logs,
                                      const RestTestSettings& settings = {},
                                      const std::vector<std::vector<double>>& overvoltage_V = {});

/// OCV curve through the rests, monotone. Its standard deviation grows between them as far as
/// leaving one out shows. The branches are one unless `half_gap_V` is above 0.
/// \throws Error when the rests are too few or their SOC too narrow
[[nodiscard]] OcvCurve ocv_curve(const RestTest& test, const RestTestSettings& settings = {});

}  // namespace voltkeel
