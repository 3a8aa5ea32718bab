#pragma once
/// \file coulombic_efficiency.hpp
/// How much of the charge that is put in can be taken out again.

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "voltkeel/fit/data_check.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel {

/// Knobs of the efficiency fit.
struct CoulombicEfficiencySettings {
    DataCheckSettings balance;  ///< How full cells are found and how well "full" repeats.
    /// How well the offset of the current is known, in A; 0: it was added on reading; left out:
    /// nothing is known of it, the cycles have to tell.
    std::optional<double> offset_std_A;
    double largest_std{0.002};  ///< Known no better than this, the efficiency is not told; > 0.
    /// Spread of an efficiency that is not told. Lithium cells in good order give back 99.5 % or
    /// more (common practice, from memory); > 0.
    double assumed_std{0.003};
};

/// Coulombic efficiency with what it rests on.
struct CoulombicEfficiencyFit {
    bool told{false};      ///< The cycles hold it; else `efficiency` is 1 and `note` says why.
    double efficiency{1};  ///< Charge that comes out over charge that went in.
    double efficiency_std{0};
    double current_offset_A{0};  ///< Found along with it: true current = logged + offset.
    double current_offset_A_std{0};
    std::size_t balances{0};        ///< Pairs of full cells.
    double charged_Ah{0};           ///< Put in between them.
    std::vector<std::size_t> rows;  ///< Of each log, between them.
    std::string note;               ///< For a provenance.
};

/// Efficiency from cycles that come back to full, with the offset of the current told apart from
/// it.
///
/// Between two times at which the cell was equally full
///     charged - discharged - gained = (1 - efficiency) charged - offset * time with current
/// One cycle cannot tell the two apart; cycles at different rates can, as the offset goes with the
/// time and the efficiency with the charge. Generalised least squares over all balances, the offset
/// the same in all logs (one tester, one range), neighbours sharing the state between them; the
/// spreads grow when the balances differ by more than full repeats. A gain error of the current
/// cancels. \throws Error for an unusable log or setting
[[nodiscard]] CoulombicEfficiencyFit fit_coulombic_efficiency(
    const std::vector<Log>& logs, const CoulombicEfficiencySettings& settings = {});

}  // namespace voltkeel
