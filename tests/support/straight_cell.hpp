#pragma once
// A cell whose charge has a closed form.

#include "voltkeel/charge/forecast.hpp"

namespace voltkeel_test {

/// 3 Ah, OCV 3.4 V + 0.8 V s, 50 mohm, 1C to 4.2 V, end at C/20, from 20 % SOC. The reference test
/// of the forecast derives the times.
template <class Real>
struct StraightCell {
    voltkeel::OcvNode<Real> ocv[2]{{Real(3.4), 0, 0}, {Real(4.2), 0, 0}};
    voltkeel::ResistanceNode<Real, 1> resistance[4]{};
    voltkeel::CellParameters<Real, 1> cell{};
    voltkeel::ChargePlan<Real> plan{};
    voltkeel::CellState<Real, 1> state{};

    StraightCell() {
        for (auto& node : resistance) {
            node.r0_ohm = Real(0.05);
            node.branch_ohm[0] = Real(1e-9);  // moves the voltage by 3 nV
            node.branch_time_s[0] = Real(1);
        }
        cell.capacity_Ah = Real(3);
        cell.ocv = {ocv, 2, Real(25)};
        cell.resistance = {resistance, voltkeel::uniform_axis(Real(0), Real(1), 2),
                           voltkeel::uniform_axis(Real(-20), Real(60), 2)};
        cell.thermal = {Real(1e6), Real(10)};  // does not warm
        plan.zone_count = 1;
        plan.zones[0] = {Real(0), Real(60), Real(3), Real(4.2)};
        plan.end_current_A = Real(0.15);
        state.soc = Real(0.2);
    }
    StraightCell(const StraightCell&) = delete;
    StraightCell& operator=(const StraightCell&) = delete;
};

}  // namespace voltkeel_test
