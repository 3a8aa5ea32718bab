#pragma once
/// \file single_pulse.hpp
/// Five parameters from one pulse: quick enough to run on every pulse of a log.

#include <cstddef>
#include <string>
#include <vector>

#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Which five parameters describe the pulse. Charge counts from the first row, in Ah.
enum class PulseForm {
    two_branches,  ///< V = V0 + s Ah + R0 I + u1 + u2, with a given slope s and time of u2.
    lumped,        ///< V = V0 + OCV' Ah + R0 I + Rp Ip: the lumped-parameter form of pulse tests.
};

/// What the current did between two rows.
enum class CurrentHold {
    held,  ///< The current of a row flowed during the whole interval that ends there, as in the
           ///< cell model.
    ramp,  ///< It went in a straight line from the row before.
};

/// Knobs of the single-pulse fit.
struct SinglePulseSettings {
    PulseForm form{PulseForm::two_branches};
    CurrentHold hold{CurrentHold::held};
    double slow_time_s{300};       ///< Time constant of the second branch, > 0 (two_branches).
    double ocv_slope_V_per_Ah{0};  ///< Known slope of the OCV over charge (two_branches).
    std::size_t first_row{0};      ///< The pulse starts at rest here ..
    std::size_t row_count{0};      ///< .. and has this many rows; 0 means all that follow.
    int max_evaluations{100};      ///< Of the sums over the rows.
};

/// Result of the fit. The parameters are, in this order: ocv_V, r0_ohm, branch_ohm, ln
/// branch_time_s, and slow_ohm (two_branches) or ocv_slope_V_per_Ah (lumped).
struct SinglePulseFit {
    double ocv_V{0};  ///< At the first row.
    double r0_ohm{0};
    double branch_ohm{0};  ///< R1, or Rp of the lumped form.
    double branch_time_s{0};
    double slow_ohm{0};            ///< R2; 0 in the lumped form.
    double ocv_slope_V_per_Ah{0};  ///< OCV', or the given slope.
    double ocv_V_std{0};
    double r0_ohm_std{0};
    double branch_ohm_std{0};
    double branch_time_s_std{0};
    double slow_ohm_std{0};
    double ocv_slope_V_per_Ah_std{0};
    Grid correlation;   ///< 5 by 5, of the parameters in the order above.
    double cost_V2{0};  ///< Half the sum of squared residuals.
    double residual_rms_V{0};
    double rows_per_independent_row{1};  ///< Neighbouring residuals repeat each other by this much;
                                         ///< the spreads are widened by its root.
    std::size_t rows{0};
    int evaluations{0};  ///< Passes over the rows.
};

/// Fits one pulse, with or without the rest after it, at one SOC and temperature, by
/// Levenberg-Marquardt with the derivatives of the exact branch recursion.
///
/// The rows are read in passes that add up the normal equations; nothing of their number is stored.
/// Recursion of the lumped form with a ramp: PNGV battery test manual, appendix D (from memory, not
/// re-read).
/// \param log rows in order, at rest at the first; temperatures are not used
/// \throws Error when rows or settings cannot be used, when the current does not change, or when
/// the rows do not tell the time constant
[[nodiscard]] SinglePulseFit fit_single_pulse(const Log& log,
                                              const SinglePulseSettings& settings = {});

}  // namespace voltkeel
