#pragma once

/// \file
/// The cell on which the benches of the filters run.

#include <cmath>

#include "support/example_cell.hpp"

namespace voltkeel_test {

/// A cell with 41 x 8 table nodes, about as many as a fitted one has.
/// \param time_ratio of each branch to the one before
template <int Branches>
OwnedCell<double, Branches> bench_cell(double time_ratio = 8) {
    OwnedCell<double, Branches> cell;
    auto& s = cell.scalars;
    s.capacity_Ah = 50;
    s.hysteresis_rate = 30;
    s.resistance.soc = voltkeel::uniform_axis(0.0, 1.0, 41);
    s.resistance.temperature_degC = voltkeel::uniform_axis(-20.0, 50.0, 8);
    for (int k = 0; k <= 100; ++k) {
        const double soc = k / 100.0;
        cell.ocv.push_back({3.2 + 0.9 * soc + 0.05 * std::sin(9 * soc), 0.008, 0.0001});
    }
    for (int t = 0; t < 8; ++t) {
        for (int k = 0; k < 41; ++k) {
            const double size_ohm = 0.001 * std::exp(-0.25 * t) * (1.5 - k / 80.0);
            voltkeel::ResistanceNode<double, Branches> node;
            node.r0_ohm = 4 * size_ohm;
            double time_s = 3;
            for (int i = 0; i < Branches; ++i) {
                node.branch_ohm[i] = 2 * size_ohm;
                node.branch_time_s[i] = time_s;
                time_s *= time_ratio;
            }
            cell.resistance.push_back(node);
        }
    }
    return cell;
}

}  // namespace voltkeel_test
