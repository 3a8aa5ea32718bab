#pragma once
/// \file made_pack.hpp
/// Invented cells and packs for tests of the simulator.

#include <cmath>
#include <string>

#include "voltkeel/io/pack.hpp"
#include "voltkeel/simulate/differences.hpp"

namespace voltkeel_test {

/// A cell whose resistances change with SOC and temperature. Invented.
inline voltkeel::Cell made_cell(double capacity_Ah = 50, bool transfer = false) {
    voltkeel::Cell cell;
    cell.name = "HW-50";
    cell.capacity_Ah = capacity_Ah;
    for (int k = 0; k <= 20; ++k) {
        const double s = 0.05 * k;
        const double middle_V =
            3.2 + 0.9 * s - 0.35 * std::exp(-20 * s) + 0.05 * std::tanh(8 * (s - 0.6));
        cell.ocv.soc.push_back(s);
        cell.ocv.discharge_V.push_back(middle_V);
        cell.ocv.charge_V.push_back(middle_V);
        cell.ocv.voltage_std_V.push_back(0);
        cell.ocv.entropy_V_per_K.push_back(1e-4 * (s - 0.5));
    }
    cell.ocv.soc.back() = 1;
    const double scale = 50 / capacity_Ah;
    cell.resistance.temperature_degC = {0, 25, 45};
    cell.resistance.soc = {0, 0.25, 0.5, 0.75, 1};
    const double cold[] = {2.5, 1, 0.7};
    const double low[] = {1.6, 1.1, 1, 1, 1.1};
    const auto grid = [&](double value, bool time) {
        voltkeel::Grid all;
        for (const double by_T : cold) {
            std::vector<double> row;
            for (const double by_soc : low)
                row.push_back(time ? value : scale * value * by_T * by_soc);
            all.push_back(row);
        }
        return all;
    };
    cell.resistance.r0_ohm = grid(1.0e-3, false);
    cell.resistance.branches = {{grid(0.6e-3, false), {}, grid(8, true), {}},
                                {grid(0.9e-3, false), {}, grid(120, true), {}}};
    if (transfer) {
        voltkeel::ChargeTransferGrid with;
        with.scale_V = grid(0.02 / scale, false);
        with.exchange_current_A = grid(20 / scale, false);
        for (auto* of : {&with.scale_V, &with.exchange_current_A}) {
            for (auto& row : *of)
                row.assign(row.size(), of == &with.scale_V ? 0.025 : 0.4 * capacity_Ah);
        }
        with.time_s = grid(0.5, true);
        cell.resistance.charge_transfer = with;
    }
    cell.thermal = {900 * capacity_Ah / 50, 0, 4 * scale, 0, "assumed", 1.5 * scale, 0,
                    700 * capacity_Ah / 50, 0};
    cell.window.voltage_min_V = 2.7;
    cell.window.voltage_max_V = 4.25;
    cell.charge.zone_count = 1;
    cell.charge.zones[0] = {5, 45, 0.5 * capacity_Ah, 4.2};
    cell.charge.end_current_A = 0.05 * capacity_Ah;
    return cell;
}

/// Equal strings of one module each, with joints that resist and neighbours that touch. Invented.
inline voltkeel::Pack made_pack(int strings, int series, int parallel, bool transfer = false) {
    voltkeel::Pack pack;
    pack.name = "harbour workboat";
    voltkeel::PackModule kind;
    kind.name = "block";
    kind.cell_file = "hw50.json";
    kind.cell = made_cell(50, transfer);
    kind.layout = {series, parallel};
    kind.cell_link_ohm = 1e-4;
    kind.interconnect_ohm = 2e-5;
    kind.group_link_W_per_K = 0.5;
    pack.modules = {kind};
    for (int s = 0; s < strings; ++s) {
        voltkeel::PackString string;
        string.name = s == 0 ? "port" : (s == 1 ? "starboard" : "string " + std::to_string(s));
        string.modules = {"block"};
        string.busbar_ohm = 3e-4;
        string.contactor.resistance_ohm = 1e-4;
        string.fuse.resistance_ohm = 2e-4;
        pack.strings.push_back(string);
    }
    pack.busbar_ohm = 1e-4;
    return pack;
}

}  // namespace voltkeel_test
