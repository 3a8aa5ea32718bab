#pragma once

/// \file
/// Cells with charge transfer for tests: those of example_cell.hpp with the branch added. They own
/// their tables; `view()` gives the parameters the library takes.

#include <cmath>
#include <vector>

#include "support/example_cell.hpp"
#include "voltkeel/cell/parameters.hpp"

namespace voltkeel_test {

/// Parameters of a cell with charge transfer together with the tables they look at.
template <class Real, int Branches>
struct TransferCell {
    std::vector<voltkeel::OcvNode<Real>> ocv;
    std::vector<voltkeel::ResistanceNode<Real, Branches, true>> resistance;
    voltkeel::CellParameters<Real, Branches, true> scalars;  ///< All but the table pointers.

    [[nodiscard]] voltkeel::CellParameters<Real, Branches, true> view() const& {
        voltkeel::CellParameters<Real, Branches, true> cell = scalars;
        cell.ocv.nodes = ocv.data();
        cell.ocv.count = static_cast<int>(ocv.size());
        cell.resistance.nodes = resistance.data();
        return cell;
    }
    voltkeel::CellParameters<Real, Branches, true> view() const&& = delete;
};

/// A cell with the branch that `of(t, s)` gives for the node of temperature t and SOC s, in another
/// scalar when asked for.
template <class Real, int Branches, class Of>
[[nodiscard]] TransferCell<Real, Branches> with_transfer(const OwnedCell<double, Branches>& linear,
                                                         const Of& of) {
    const OwnedCell<Real, Branches> from = cell_cast<Real>(linear);
    const auto& s = from.scalars;
    TransferCell<Real, Branches> cell;
    cell.ocv = from.ocv;
    cell.scalars.capacity_Ah = s.capacity_Ah;
    cell.scalars.coulombic_efficiency = s.coulombic_efficiency;
    cell.scalars.self_discharge_per_s = s.self_discharge_per_s;
    cell.scalars.hysteresis_rate = s.hysteresis_rate;
    cell.scalars.ocv.reference_temperature_degC = s.ocv.reference_temperature_degC;
    cell.scalars.resistance.soc = s.resistance.soc;
    cell.scalars.resistance.temperature_degC = s.resistance.temperature_degC;
    cell.scalars.charge_rise = s.charge_rise;
    cell.scalars.thermal = s.thermal;
    for (std::size_t k = 0; k < from.resistance.size(); ++k) {
        voltkeel::ResistanceNode<Real, Branches, true> node;
        node.r0_ohm = from.resistance[k].r0_ohm;
        for (int i = 0; i < Branches; ++i) {
            node.branch_ohm[i] = from.resistance[k].branch_ohm[i];
            node.branch_time_s[i] = from.resistance[k].branch_time_s[i];
        }
        const int at = static_cast<int>(k);
        const voltkeel::ChargeTransfer<double> transfer =
            of(at / s.resistance.soc.count, at % s.resistance.soc.count);
        node.transfer = {static_cast<Real>(transfer.scale_V),
                         static_cast<Real>(transfer.exchange_current_A),
                         static_cast<Real>(transfer.time_s)};
        cell.resistance.push_back(node);
    }
    return cell;
}

/// The same branch everywhere.
template <class Real, int Branches>
[[nodiscard]] TransferCell<Real, Branches> with_transfer(
    const OwnedCell<double, Branches>& linear, const voltkeel::ChargeTransfer<double>& transfer) {
    return with_transfer<Real>(linear, [&](int, int) { return transfer; });
}

/// A random cell whose charge transfer changes with SOC and temperature; every value within what
/// cells show.
template <int Branches>
[[nodiscard]] TransferCell<double, Branches> random_transfer_cell(Random& random) {
    const OwnedCell<double, Branches> linear = random_cell<Branches>(random);
    const double scale_V = random.uniform(0.03, 0.1);
    const double exchange_current_A = linear.scalars.capacity_Ah * random.uniform(0.2, 1.5);
    const double time_s = random.uniform(0.1, 2);
    const double rows = linear.scalars.resistance.temperature_degC.count - 1;
    return with_transfer<double>(linear, [&](int t, int) {
        const double cold = std::exp(2.0 * (1 - t / rows));
        return voltkeel::ChargeTransfer<double>{
            scale_V * random.uniform(0.8, 1.2),
            exchange_current_A / cold * random.uniform(0.7, 1.3),
            time_s * cold * random.uniform(0.7, 1.3)};
    });
}

/// The same cell in float.
template <int Branches>
[[nodiscard]] TransferCell<float, Branches> in_float(const TransferCell<double, Branches>& from) {
    OwnedCell<double, Branches> linear;
    linear.ocv = from.ocv;
    for (const auto& node : from.resistance) {
        voltkeel::ResistanceNode<double, Branches> n;
        n.r0_ohm = node.r0_ohm;
        for (int i = 0; i < Branches; ++i) {
            n.branch_ohm[i] = node.branch_ohm[i];
            n.branch_time_s[i] = node.branch_time_s[i];
        }
        linear.resistance.push_back(n);
    }
    const auto& s = from.scalars;
    linear.scalars.capacity_Ah = s.capacity_Ah;
    linear.scalars.coulombic_efficiency = s.coulombic_efficiency;
    linear.scalars.self_discharge_per_s = s.self_discharge_per_s;
    linear.scalars.hysteresis_rate = s.hysteresis_rate;
    linear.scalars.ocv.reference_temperature_degC = s.ocv.reference_temperature_degC;
    linear.scalars.resistance.soc = s.resistance.soc;
    linear.scalars.resistance.temperature_degC = s.resistance.temperature_degC;
    linear.scalars.charge_rise = s.charge_rise;
    linear.scalars.thermal = s.thermal;
    return with_transfer<float>(linear, [&](int t, int column) {
        return from
            .resistance[static_cast<std::size_t>(t * from.scalars.resistance.soc.count + column)]
            .transfer;
    });
}

}  // namespace voltkeel_test
