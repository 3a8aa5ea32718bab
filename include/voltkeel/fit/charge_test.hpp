#pragma once
/// \file charge_test.hpp
/// The extra resistance near full, from charges that end at the taper.

#include <cstddef>
#include <functional>
#include <string>
#include <vector>

#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Knobs of the fit to charges.
struct ChargeTestSettings {
    double soc_from{0.6};        ///< Rows above this SOC count in full.
    double weight_below{0.1};    ///< Weight of the rows below it, 0 .. 1.
    double taper_share{0.15};    ///< A charge whose current has fallen to this share of its largest
                                 ///< has ended full.
    double full_soc_std{0.003};  ///< How exactly "full" is met.
    double voltage_std_V{0.004};        ///< Model errors: constant part,
    double overvoltage_share_std{0.1};  ///< and part that grows with the overvoltage.
    double independent_s{300};  ///< Model errors repeat from row to row; rows this far apart say
                                ///< something new.
    double row_s{5};            ///< Rows closer than this are left out of the comparison.
    double rest_s{3600};        ///< Rest after the end that is compared too, at most.
    double scale_log_std{0.1};  ///< How far all resistances together may lie from the cell's during
                                ///< a charge (of the logarithm); the filter follows that by itself.
    double resistance_log_std{1.0};  ///< How far the rise may lie from the direct-current
                                     ///< resistance at half charge (of the logarithm).
    double soc_start{0.8};           ///< Usual start of the rise,
    double soc_start_std{0.1};       ///< and how far it may lie from that.
    int max_iterations{60};
};

/// What charges say about the rise of the resistance near full. Vectors have one entry a charge.
struct ChargeTestFit {
    ChargeRiseFit rise;               ///< With the standard deviation of `resistance_ohm`.
    double soc_start_std{0};          ///< Standard deviation of `rise.soc_start`.
    std::vector<double> initial_soc;  ///< At the first row, counted back from full and fitted.
    std::vector<double> initial_soc_std;
    std::vector<double> resistance_scale;  ///< Of all resistances during the charge.
    std::vector<double> charge_Ah;         ///< Put in from the first row to the end of the charge.
    std::vector<double> residual_rms_V;    ///< Above `soc_from` while charging, with the rise,
    std::vector<double> residual_before_rms_V;  ///< and with the rise that `cell` came with.
    std::size_t rows_used{0};                   ///< Compared with the model, of all charges.
    std::vector<std::size_t> charge_rows_used;  ///< The same of each.
    int iterations{0};
    std::vector<std::string> notes;
};

/// Fits the rise of the resistance near full (ChargeRise in cell/parameters.hpp) to CC-CV
/// charges. The model runs over each log with the logged current and temperature; the end of the
/// taper is full, and the SOC at the first row is counted back from it.
///
/// Charges of one current and temperature share the errors of the model, so any number of them
/// narrows the standard deviations no further than one.
/// \param charges logs that begin at rest and end, or come to rest, at the taper
/// \param cell capacity, OCV and resistances; its own rise does not matter
/// \param keep_going asked before every iteration; false cancels with an Error
/// \throws Error naming log and row when a log does not begin at rest or shows no end of a charge
[[nodiscard]] ChargeTestFit fit_charge_rise(const std::vector<Log>& charges, const Cell& cell,
                                            const ChargeTestSettings& settings = {},
                                            const std::function<bool()>& keep_going = {});

}  // namespace voltkeel
