#pragma once
// The smallest cell that a pack can be made of.

#include "voltkeel/io/cell.hpp"

namespace voltkeel_test {

/// An invented cell.
inline voltkeel::Cell small_cell(double empty_V = 3, double full_V = 4) {
    voltkeel::Cell cell;
    cell.name = "HW-50";
    cell.capacity_Ah = 5;
    cell.ocv.soc = {0, 1};
    cell.ocv.discharge_V = {empty_V, full_V};
    cell.ocv.charge_V = {empty_V, full_V};
    cell.ocv.voltage_std_V = {0, 0};
    cell.resistance.temperature_degC = {25};
    cell.resistance.soc = {0, 1};
    cell.resistance.r0_ohm = {{0.02, 0.02}};
    cell.resistance.branches = {{{{0.01, 0.01}}, {}, {{30, 30}}, {}}};
    cell.thermal = {70, 0, 10, 0, "assumed"};
    cell.window.voltage_min_V = 2.5;
    cell.window.voltage_max_V = 4.2;
    cell.charge.zone_count = 1;
    cell.charge.zones[0] = {5, 45, 2.5, 4.2};
    cell.charge.end_current_A = 0.1;
    return cell;
}

}  // namespace voltkeel_test
