#pragma once
/// \file fit_cell.hpp
/// From test logs to a cell: the whole job in one call.

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "voltkeel/fit/charge_test.hpp"
#include "voltkeel/fit/coulombic_efficiency.hpp"
#include "voltkeel/fit/hysteresis.hpp"
#include "voltkeel/fit/pulse_test.hpp"
#include "voltkeel/fit/rest_test.hpp"
#include "voltkeel/fit/slow_test.hpp"
#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Knobs of the whole fit.
struct FitSettings {
    std::string name{"cell"};
    SlowTestSettings slow;
    PulseFitSettings pulses;
    ChargeTestSettings charges;
    RestTestSettings rests;  ///< Without a slow test; its hysteresis rate and its offset are those
                             ///< below.
    HysteresisSettings hysteresis;
    CoulombicEfficiencySettings efficiency;
    double hysteresis_rate{30};    ///< Assumed where no test tells: one thirtieth of the capacity
                                   ///< turns the hysteresis by 63 %.
    double same_temperature_K{4};  ///< Pulse tests closer than this are fitted together.
    double widest_temperature_K{
        12};  ///< A pulse test that spans more is refused: split it by temperature.
    double pulse_offset_share_std{
        5e-4};  ///< Current offset of the tester in the pulse tests, as a share of the largest
                ///< current there (common practice: 0.02 to 0.1 % of the range); 0 when the offset
                ///< is known and was added on reading.
    double warmth_lag_s{20};  ///< How late the resistances follow the warmth that the pulses
                              ///< themselves make in the core (DEVELOPERS.md, "Fit").
    int passes{3};            ///< Rounds of pulse fit and OCV correction.
    bool choose_form{true};   ///< Choose the branches and the charge transfer by the information
                              ///< criterion; false takes them from `pulses`.
};

/// One form of the model, tried on all pulse tests.
struct FormTrial {
    int branches{0};
    bool charge_transfer{false};
    double criterion{0};  ///< Bayesian information criterion; the lowest wins.
    double residual_rms_V{0};
};

/// Called with the share of work done (0..1) and what is being done; return false to cancel.
using FitProgress = std::function<bool(double share, const std::string& stage)>;

/// Result of a fit: the cell, and the fit at each temperature behind it.
struct FitResult {
    Cell cell;
    std::vector<PulseFit> pulses;       ///< By rising temperature.
    SlowTest slow;                      ///< Of capacity 0 when there was none.
    std::optional<RestTest> rests;      ///< When there was no slow test.
    std::vector<FormTrial> forms;       ///< Forms tried, the chosen one first; empty when forced.
    HysteresisRateFit hysteresis;       ///< Whether the rate is fitted or assumed, and why.
    CoulombicEfficiencyFit efficiency;  ///< The same for the efficiency.
    std::optional<ChargeTestFit> charges;  ///< When charges were handed in.
};

/// Makes a cell from a slow charge/discharge test and pulse tests at any mix of temperatures.
///
/// The two are fitted in turns: the slow test gives the OCV, the pulses the resistances, the
/// resistances the overvoltage that the slow current put on the OCV, and so on. \param slow log of
/// the slow test \param pulses logs of pulse tests, each starting at rest; the temperature comes
///        from the data
/// \param charges logs of charges that end full (see fit_charge_rise): they give the extra slow
///        resistance near full, otherwise taken from the rest after the slow charge
/// \param cycles logs that come back to full more than once: they give the coulombic efficiency, as
///        the slow test does where it can (see fit_coulombic_efficiency)
/// \throws Error that says which log lacks what; "cancelled" when `progress` returns false
[[nodiscard]] FitResult fit_cell(const Log& slow, const std::vector<Log>& pulses,
                                 const FitSettings& settings = {}, const FitProgress& progress = {},
                                 const std::vector<Log>& charges = {},
                                 const std::vector<Log>& cycles = {});

/// The same without a slow test: capacity and OCV come from the rests of the pulse tests nearest
/// 25 degC, in turns with the pulse fit, which says what each rest still lacked; see
/// read_rest_test. Those tests start full, and go on to the voltage floor unless
/// `settings.rests.capacity_Ah` is given.
/// \throws Error that says which log lacks what
[[nodiscard]] FitResult fit_cell(const std::vector<Log>& pulses, const FitSettings& settings = {},
                                 const FitProgress& progress = {},
                                 const std::vector<Log>& charges = {},
                                 const std::vector<Log>& cycles = {});

}  // namespace voltkeel
