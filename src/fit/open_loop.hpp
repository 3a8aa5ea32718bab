#pragma once
// A cell model run over a log without any correction, and least squares whose few unknowns are
// differentiated numerically.

#include <cstddef>
#include <vector>

#include "voltkeel/cell/model.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel::detail {

/// The branch that the rise near full is taken to be in: the slowest that fills within minutes, as
/// the taper of a charge of an hour or two goes by what has filled meanwhile. Else the slowest.
template <int Branches, bool Transfer>
int usual_rise_branch(const ResistanceNode<double, Branches, Transfer>& node) {
    constexpr double shortest_s = 20;
    constexpr double longest_s = 300;
    for (int i = Branches - 1; i >= 0; --i) {
        if (node.branch_time_s[i] >= shortest_s && node.branch_time_s[i] <= longest_s) return i;
    }
    return Branches - 1;
}

/// Runs the model from `state` over a log with its current and temperature.
/// \param rows where action(j, state, point) is called with the state and voltage at rows[j];
/// rising
template <int Branches, bool Transfer, class Action>
void run_open_loop(const CellParameters<double, Branches, Transfer>& cell, const Log& log,
                   CellState<double, Branches, Transfer> state,
                   const std::vector<std::size_t>& rows, Action&& action) {
    std::size_t j = 0;
    for (std::size_t k = 0; j < rows.size(); ++k) {
        const double temperature_degC = log.temperature_degC[k];
        const auto place = locate(cell.resistance.temperature_degC, temperature_degC);
        if (k > 0) {
            step(cell, {log.current_A[k], log.time_s[k] - log.time_s[k - 1], temperature_degC},
                 place, state);
        }
        if (rows[j] != k) continue;
        action(j++, state, voltage_at(cell, state, log.current_A[k], temperature_degC, place));
    }
}

}  // namespace voltkeel::detail
