#pragma once
/// \file simulated_string.hpp
/// One string of unequal groups under an invented load, run by the simulator and read by sensors
/// with noise: the truth that filters of packs are held against.

#include <cstddef>
#include <vector>

#include "support/example_cell.hpp"
#include "support/made_pack.hpp"
#include "voltkeel/simulate/simulate.hpp"

namespace voltkeel_test {

/// How the groups differ and how good the sensors are.
struct StringShape {
    int groups{12};
    int strings{1};
    double capacity_log_std{0.02};
    double resistance_log_std{0.1};
    double soc_std{0.01};
    double soc{0.9};
    double voltage_std_V{0.001};
    double duration_s{5400};
    double row_s{1};
    double temperature_degC{20};
    std::uint64_t salt{1};
};

/// What sensors showed of it, and what was true.
struct SimulatedString {
    voltkeel::Cell cell;
    std::vector<double> time_s, current_A;
    std::vector<double> string_current_A;  ///< (rows, strings)
    std::vector<double> voltage_V;         ///< (rows, groups), with noise
    std::vector<double> soc;               ///< (rows, groups)
    std::vector<double> capacity_factor, resistance_factor;
    int groups{0};
    int strings{1};
    double row_s{1};
    double temperature_degC{20};

    [[nodiscard]] std::size_t size() const { return time_s.size(); }
    /// Groups of all strings.
    [[nodiscard]] std::size_t width() const {
        return static_cast<std::size_t>(groups) * static_cast<std::size_t>(strings);
    }
    [[nodiscard]] double at(const std::vector<double>& column, std::size_t row, int group) const {
        return column[row * width() + static_cast<std::size_t>(group)];
    }
};

/// Runs the load: from a rest on, spells of driving with rests, about half the charge of the cell
/// in all.
inline SimulatedString simulated_string(const StringShape& shape = {}) {
    voltkeel::Pack pack = made_pack(shape.strings, shape.groups, 1);
    // What a cell monitor sees is the cell: joints are not part of the model.
    pack.modules[0].cell_link_ohm = 0;
    pack.modules[0].interconnect_ohm = 0;
    pack.modules[0].group_link_W_per_K = 0;
    voltkeel::SpreadSettings spread;
    Random random(shape.salt);
    spread.seed = static_cast<std::uint64_t>(random.whole(1, 1000000));
    spread.capacity_log_std = shape.capacity_log_std;
    spread.resistance_log_std = shape.resistance_log_std;
    spread.soc_std = shape.soc_std;
    voltkeel::SimulationSettings settings;
    settings.soc = shape.soc;
    settings.temperature_degC = shape.temperature_degC;
    settings.differences = draw_differences(pack, spread);
    settings.heat = false;
    settings.cut_off.voltage = false;
    std::vector<voltkeel::LoadStep> load;
    double spell_A = 0;
    const int rows = static_cast<int>(shape.duration_s / shape.row_s);
    const int every = static_cast<int>(20 / shape.row_s);
    for (int k = 0; k < rows; ++k) {
        if (k % every == 0)
            spell_A = random.whole(0, 3) == 0 ? 0 : 50 * shape.strings * random.uniform(-1.6, 0.5);
        if (k == 0) spell_A = 0;
        load.push_back(voltkeel::current_load(spell_A, shape.row_s));
    }
    const voltkeel::SimulationResult run = voltkeel::simulate(pack, load, settings);
    SimulatedString made;
    made.cell = pack.modules[0].cell;
    made.groups = shape.groups;
    made.strings = shape.strings;
    made.row_s = shape.row_s;
    made.temperature_degC = shape.temperature_degC;
    made.time_s = run.time_s;
    made.current_A = run.current_A;
    made.string_current_A = run.string_current_A;
    made.soc = run.group_soc;
    made.capacity_factor = settings.differences.capacity_factor;
    made.resistance_factor = settings.differences.resistance_factor;
    made.voltage_V = run.group_voltage_V;
    for (double& voltage_V : made.voltage_V)
        voltage_V += shape.voltage_std_V * random.normal();
    return made;
}

}  // namespace voltkeel_test
