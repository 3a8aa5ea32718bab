#pragma once
/// \file pulse_test.hpp
/// R0 and RC branches at one temperature from pulse tests: all pulses, rests and the discharges in
/// between at once.

#include <cstddef>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// What is left between model and measurement in a fit.
struct VoltageNoise {
    double voltage_std_V{0.004};         ///< Constant part.
    double overvoltage_share_std{0.1};   ///< Part that grows with the overvoltage.
    double rows_per_independent_row{3};  ///< Model errors repeat from row to row: this many rows
                                         ///< say as much as one.
};

/// Knobs of the pulse fit.
struct PulseFitSettings {
    int branches{3};                 ///< 1 to 4. The last one is slow (minutes to hours).
    bool charge_transfer{true};      ///< Fit an overvoltage that saturates with the current.
    int soc_nodes{41};               ///< Evenly spaced SOC nodes of every resistance.
    double highest_rate_per_h{1e9};  ///< Pulses at a higher multiple of the capacity per hour, and
                                     ///< the rests after them, move the state but are not fitted.
    VoltageNoise noise;              ///< To start from; then taken from the residuals.
    int noise_rounds{2};             ///< Fits with the noise of the one before; 1 keeps `noise`.
    double smoothness{
        0.04};  ///< Expected second difference of ln R from node to node at middle SOC.
    double ratio_smoothness{0.06};  ///< Expected change, from node to node, of the logarithm of the
                                    ///< ratio to the warmer test, which takes its place then.
    double smoothness_ends{0.4};    ///< In place of either below 22 % and above 90 %.
    double time_log_std{0.4};       ///< How far a time constant may lie from the usual one (of
                                    ///< the logarithm), at middle SOC.
    double time_step_log_std{0.3};  ///< How much it may change over SOC, from each of 7 knots to
                                    ///< the next, which lie closer towards empty.
    double slow_time_log_std{0.05};      ///< Both for the slow branch.
    double transfer_time_log_std{1.5};   ///< How far the time constant of the charge transfer may
                                         ///< lie from the usual one (of the logarithm).
    double transfer_scale_log_std{0.7};  ///< The same for its scale.
    /// The drop over every pulse after a rest counts besides its rows and should be met to this
    /// share. 0: rows only; the scale of the charge transfer comes from the drops of three rates or
    /// more at one SOC all the same, where there are such. They fit a little closer then, and a
    /// faster pulse, a drive and another temperature are met worse (DEVELOPERS.md, "Fit"). Not
    /// given: 0.005; in a fit without a slow test, where the OCV is from the rests between the same
    /// pulses and the drops would pull at it, 0.
    std::optional<double> drop_share_std;
    double slow_log_std{
        0.5};  ///< How far the slow resistance may lie from 0.4 of R0 (of the logarithm).
    double ocv_std_V{0.005};  ///< How well the OCV handed in is known at this temperature.
    double ocv_soc_std{
        0.004};  ///< How far the SOC of the tests may differ, as seen through the slope.
    double least_capacity_std{
        0.002};  ///< The capacity handed in is known no better than this, relative.
    double initial_soc_std{0.01};  ///< How well the first voltage tells the SOC.
    double full_above_soc{0.94};   ///< A test whose first voltage says more than this started full.
    double full_soc_std{0.003};    ///< How exactly "full" is met.
    int max_iterations{40};
};

/// Charge transfer at one temperature; `std` of the natural logarithm.
struct ChargeTransferFit {
    std::vector<double> resistance_ohm;  ///< To small currents, scale_V over exchange current.
    std::vector<double> resistance_log_std;
    std::vector<double> time_s;  ///< At the SOC nodes, as the resistance.
    std::vector<double> time_log_std;
    double scale_V{0};
    double scale_log_std{0};
};

/// Ohmic and branch values over the SOC nodes at one temperature; `std` of the natural logarithm.
struct PulseFit {
    double temperature_degC{25};
    double capacity_Ah{0};  ///< That brings the rested voltages onto the OCV handed in.
    double capacity_Ah_std{0};
    std::vector<double> soc;
    std::vector<double> r0_ohm;
    std::vector<double> r0_log_std;
    struct Branch {
        std::vector<double> resistance_ohm;
        std::vector<double> resistance_log_std;
        std::vector<double> time_s;  ///< At the SOC nodes, as the resistance.
        std::vector<double> time_log_std;
    };
    std::vector<Branch> branches;
    std::optional<ChargeTransferFit> charge_transfer;
    std::vector<double>
        ocv_shift_V;  ///< OCV of these tests minus the OCV handed in, at the SOC nodes.
    std::vector<double> ocv_shift_std_V;
    std::vector<double> initial_soc;      ///< Of each log.
    std::vector<double> initial_soc_std;  ///< As sure as the OCV handed in; fit_cell adds its own.
    /// A log starts full. Where none does, the rests were spent on where the logs start, and say
    /// nothing of how high the whole OCV lies at this temperature.
    bool starts_full{false};
    std::vector<double> residual_rms_V;  ///< Of each log, over the rows used.
    VoltageNoise noise;                  ///< Of the residuals.
    double deviance{
        0};  ///< Minus twice the logarithm of the likelihood, rows taken as independent.
    double effective_parameters{0};     ///< How many parameters the data, not the priors, hold.
    std::vector<std::string> findings;  ///< What the tests leave open, and what would tell.
    std::size_t rows_used{0};           ///< Compared with the model, after thinning.
    std::vector<std::size_t> log_rows_used;  ///< The same of each log.
    int iterations{0};
    double soc_low{1};  ///< Lowest SOC the tests reached.
    double soc_high{0};
    double largest_discharge_A{0};  ///< Magnitudes met in what was fitted.
    double largest_charge_A{0};
};

/// Fits one temperature by Levenberg-Marquardt on logarithms, with the derivatives of the cell
/// model's own step. \param logs pulse tests at about the same temperature, current positive when
/// charging \param base cell with capacity, OCV and hysteresis; its resistances, when there are
/// any, give the change with
///        temperature inside a test (self-heating)
/// \param warmer result at the next warmer temperature: its shape over SOC is continued where this
/// test has no data \param keep_going asked before every iteration; false cancels with an Error
/// \param before a fit of the same logs, from an earlier round: its end is a second start, and the
/// better one of the two ends counts
/// \throws Error when there are too few pulses, naming what is missing
[[nodiscard]] PulseFit fit_pulses(const std::vector<const Log*>& logs, const Cell& base,
                                  const PulseFit* warmer, const PulseFitSettings& settings = {},
                                  const std::function<bool()>& keep_going = {},
                                  const PulseFit* before = nullptr);

}  // namespace voltkeel
