#pragma once
// The cell of the controller programs that watch a pack. Invented.

#include "voltkeel/cell/parameters.hpp"

namespace pack_cell {

constexpr voltkeel::OcvNode<float> ocv_nodes[] = {{3.00F, 0.01F, 0.0F},
                                                  {3.45F, 0.01F, 0.0F},
                                                  {3.60F, 0.01F, 0.0F},
                                                  {3.80F, 0.01F, 0.0F},
                                                  {4.15F, 0.01F, 0.0F}};
constexpr voltkeel::ResistanceNode<float, 1> resistance_nodes[] = {{0.004F, {0.006F}, {60.0F}},
                                                                   {0.003F, {0.005F}, {60.0F}},
                                                                   {0.002F, {0.003F}, {40.0F}},
                                                                   {0.001F, {0.002F}, {40.0F}}};

inline voltkeel::CellParameters<float, 1> make_cell() {
    voltkeel::CellParameters<float, 1> cell;
    cell.capacity_Ah = 60.0F;
    cell.hysteresis_rate = 30.0F;
    cell.ocv = {ocv_nodes, 5, 25.0F};
    cell.resistance = {resistance_nodes, voltkeel::uniform_axis(0.0F, 1.0F, 2),
                       voltkeel::uniform_axis(0.0F, 40.0F, 2)};
    cell.thermal = {900.0F, 2.0F};
    return cell;
}

}  // namespace pack_cell
