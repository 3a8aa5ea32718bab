// The limits of a pack on a controller: two strings of six groups with a fuse, followed over a
// minute in which the pack gives what it may, with the torque of a drive at each tick.

#include <cstdint>

#include "print_bits.hpp"
#include "voltkeel/limits/torque.hpp"
#include "voltkeel/limits/tracker.hpp"

namespace {

constexpr int group_count = 12;
constexpr int string_count = 2;

const voltkeel::OcvNode<float> ocv[5] = {{3.0F, 0.004F, -1e-4F},
                                         {3.5F, 0.004F, 0.0F},
                                         {3.65F, 0.003F, 1e-4F},
                                         {3.85F, 0.003F, 5e-5F},
                                         {4.18F, 0.002F, 0.0F}};
voltkeel::ResistanceNode<float, 2> nodes[9];
const float table_degC[2] = {0.0F, 20.0F};
const float table_soc[2] = {0.0F, 1.0F};
const float charge_A[4] = {0.0F, 0.0F, 60.0F, 40.0F};
const float discharge_A[4] = {120.0F, 120.0F, 300.0F, 300.0F};
voltkeel::FixedPackLimitWorkspace<float, 2, false, group_count, string_count> workspace;
voltkeel::LimitTracker<float> tracker;

voltkeel::CellParameters<float, 2> make_cell() {
    for (int t = 0; t < 3; ++t) {
        for (int s = 0; s < 3; ++s) {
            const float scale = (t == 0 ? 2.6F : t == 1 ? 1.0F : 0.7F) * (s == 0 ? 1.4F : 1.0F);
            auto& node = nodes[t * 3 + s];
            node.r0_ohm = 0.0012F * scale;
            node.branch_ohm[0] = 0.0006F * scale;
            node.branch_ohm[1] = 0.0009F * scale;
            node.branch_time_s[0] = 4.0F;
            node.branch_time_s[1] = 90.0F;
        }
    }
    voltkeel::CellParameters<float, 2> cell;
    cell.capacity_Ah = 50.0F;
    cell.hysteresis_rate = 30.0F;
    cell.ocv = {ocv, 5, 25.0F};
    cell.resistance = {nodes, voltkeel::uniform_axis(0.0F, 1.0F, 3),
                       voltkeel::uniform_axis(0.0F, 50.0F, 3)};
    cell.thermal = {900.0F, 3.0F};
    return cell;
}

}  // namespace

int main() {
    const voltkeel::CellParameters<float, 2> cell = make_cell();
    voltkeel::CurrentTable<float> table{30.0F, table_degC, 2, table_soc, 2, charge_A, discharge_A};
    voltkeel::CellLimits<float> limits;
    limits.window = {2.8F, 4.2F, 0.03F, 0.97F, 0.0F, 45.0F, -20.0F, 60.0F};
    limits.tables = &table;
    limits.table_count = 1;
    const voltkeel::LimitString<float> strings[string_count] = {{0, 6, 0.001F, true},
                                                                {6, 6, 0.0012F, true}};
    voltkeel::LimitComponent<float> fuse;
    fuse.kind = voltkeel::LimitReason::fuse;
    fuse.rated_A = 200.0F;
    fuse.i2t_A2s = 600000.0F;
    voltkeel::LimitPack<float, 2> pack;
    pack.cells = &cell;
    pack.limits = &limits;
    pack.group_count = group_count;
    pack.strings = strings;
    pack.string_count = string_count;
    pack.components = &fuse;
    pack.component_count = 1;
    voltkeel::TorqueDrive<float> drive;
    drive.torque_max_Nm = 150.0F;
    drive.auxiliary_W = 200.0F;
    drive.winding_loss_W_per_Nm2 = 0.05F;
    if (voltkeel::validate(pack).status != voltkeel::Status::ok ||
        voltkeel::validate(drive).status != voltkeel::Status::ok) {
        puts0("set-up failed\n");
        return 1;
    }
    float soc[group_count];
    float degC[group_count];
    float scale[group_count];
    float lags[group_count * 2] = {};
    float soc_std[group_count];
    for (int g = 0; g < group_count; ++g) {
        soc[g] = 0.30F + 0.002F * static_cast<float>(g % 5);
        degC[g] = 14.0F + 0.5F * static_cast<float>(g % 3);
        scale[g] = 1.0F + 0.02F * static_cast<float>(g % 4);
        soc_std[g] = 0.01F;
    }
    voltkeel::GroupStates<float> states;
    states.soc = soc;
    states.temperature_degC = degC;
    states.resistance_scale = scale;
    states.branch_V = lags;
    states.soc_std = soc_std;
    float current_A = 0.0F;
    float first_A = 0.0F;
    bool by_fuse = false;
    for (int tick = 0; tick < 60; ++tick) {
        voltkeel::PackHorizonLimit<float> found[4];
        voltkeel::PackHorizonLimit<float> told[4];
        if (voltkeel::pack_limits(pack, states, voltkeel::default_pack_horizons_s<float>, 4,
                                  workspace.view(), found) != voltkeel::Status::ok ||
            tracker.update(found, 4, current_A, 1.0F, told) != voltkeel::Status::ok) {
            return 2;
        }
        voltkeel::TorqueLimit<float> torque;
        if (voltkeel::torque_limits(drive, told[1].charge.power_W, told[1].discharge.power_W,
                                    5.0F * static_cast<float>(tick),
                                    torque) != voltkeel::Status::ok) {
            return 3;
        }
        if (tick == 0) first_A = told[1].discharge.current_A;
        by_fuse = by_fuse || found[1].discharge.reason == voltkeel::LimitReason::fuse;
        current_A = told[1].discharge.current_A;
        for (int g = 0; g < group_count; ++g) {
            voltkeel::CellState<float, 2> state;
            state.soc = soc[g];
            state.resistance_scale = scale[g];
            state.branch_V[0] = lags[2 * g];
            state.branch_V[1] = lags[2 * g + 1];
            voltkeel::step(cell, {0.5F * current_A, 1.0F, degC[g]}, state);
            soc[g] = state.soc;
            lags[2 * g] = state.branch_V[0];
            lags[2 * g + 1] = state.branch_V[1];
        }
        fuse.warmth = voltkeel::warmth_after(fuse, current_A, 1.0F);
        if (tick % 4 == 0) {
            const float values[] = {found[0].charge.current_A, told[1].discharge.current_A,
                                    told[1].discharge.power_W, told[3].discharge.end_voltage_V,
                                    torque.motoring_Nm,        torque.regeneration_Nm,
                                    tracker.discharge_used(1)};
            print_bits(tick, values, 7);
        }
    }
    // It must have worked, not only have done the same on both sides.
    if (!(first_A < -200.0F) || !(current_A > first_A) || !(current_A < 0.0F) || !by_fuse) {
        puts0("the limits did not shrink as the pulse was used\n");
        return 4;
    }
    return 0;
}
