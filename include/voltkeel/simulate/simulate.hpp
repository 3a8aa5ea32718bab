#pragma once
/// \file simulate.hpp
/// What a pack would do: every cell on the cell model, the currents between cells and between
/// strings from Kirchhoff's laws at every instant, heat, bleed resistors, and a load.
///
/// A cell's voltage is a straight line in the current of the instant (everything that bends is in
/// its state), so a group, a string and the pack are each a source behind a resistance, and the
/// split is solved exactly; a held power is the root of a quadratic. Over time the cells take the
/// exact step of cell/model.hpp, in sub-steps that follow how the split moves (see
/// `SimulationSettings::voltage_tolerance_V`).

#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "voltkeel/io/pack.hpp"
#include "voltkeel/simulate/differences.hpp"
#include "voltkeel/simulate/load.hpp"

namespace voltkeel {

/// State of every cell of a pack; cells in the order string, group, cell.
struct PackState {
    static constexpr int lag_room = 5;  ///< Branch voltages kept per cell: 4 branches, 1 transfer.
    std::vector<double> soc;
    std::vector<double> soc_carry;   ///< Rounding kept back from `soc`.
    std::vector<double> branch_V;    ///< `lag_room` per cell; unused ones are 0.
    std::vector<double> hysteresis;  ///< -1 .. 1.
    std::vector<double> core_degC;
    std::vector<double> case_degC;
    std::vector<double> ambient_degC;  ///< Surroundings of each cell.
    std::vector<bool> bleeding;        ///< Bleed resistor of each group.
    std::vector<bool> closed;          ///< Contactor of each string.
    std::vector<double> fuse_warmth;   ///< Of each string, 0 .. 1; empty: cold. See Fuse.
    std::vector<bool> fuse_open;       ///< Of each string; empty: none.
};

/// When bleed resistors conduct, as a cell monitor decides it from voltages that it takes with all
/// resistors off for an instant. Needs `Pack::bleed`.
struct BalancingSettings {
    bool active{false};
    double threshold_V{0.005};      ///< On above the lowest group of the string by this.
    double hysteresis_V{0.002};     ///< Off again when this much closer, 0 .. threshold.
    double voltage_min_V{0};        ///< No bleeding below.
    double resting_current_A{1e9};  ///< No bleeding while a string carries more, in magnitude.
    double interval_s{10};          ///< Voltages are looked at this often.
};

/// What ends a run. Voltage and SOC count only while the current goes that way.
struct CutOffSettings {
    bool voltage{true};  ///< A group leaves the voltage window of its cell file.
    double soc_min{-1};  ///< Of any cell.
    double soc_max{2};
    double temperature_max_degC{1000};  ///< Of any core, whatever the current.
    double warm_degC{1000};             ///< Every core is at least this warm, whatever the current.
    bool ends_run{true};                ///< Otherwise the next load step follows.
};

/// What a cooling model may see and set, once every `cooling_interval_s` and when the first string
/// closes or the last one opens. Modelled cells only: with
/// `SimulationSettings::each_cell` false that is one of each group, which stands for `copies[k]`.
struct CoolingStep {
    double time_s{0};
    double dt_s{0};          ///< Since the last call; 0 at the first.
    double load_power_W{0};  ///< Of the load, mean over `dt_s`; positive charges the pack.
    bool connected{true};    ///< A string is closed: the pack can feed the plant.
    const std::vector<double>& copies;
    const std::vector<double>& core_degC;
    const std::vector<double>& case_degC;
    const std::vector<double>& to_ambient_W;  ///< From each case to its surroundings, mean.
    std::vector<double>& ambient_degC;        ///< Surroundings of each cell, to be set.
    double& case_resistance_factor;  ///< On every cell's resistance to its surroundings, to be set.
    double& pack_power_W;  ///< What the plant takes at the pack's terminals from now on, to be set.
};

/// How a run starts and goes on.
struct SimulationSettings {
    double soc{1};                                ///< Of every cell at the start.
    std::vector<double> string_soc;               ///< One per string instead; empty: `soc`.
    double hysteresis{0};                         ///< -1 after a discharge, 1 after a charge.
    double temperature_degC{25};                  ///< Of cells and surroundings at the start.
    std::vector<double> string_temperature_degC;  ///< One per string instead.
    CellDifferences differences;
    std::optional<PackState> start;  ///< Goes on from here; the values above are not read then.

    bool heat{true};       ///< Cells warm and cool; otherwise temperatures stay.
    bool each_cell{true};  ///< Otherwise every group is one cell with the group's current: right
                           ///< where the cells of a group are alike.
    BalancingSettings balancing;
    CutOffSettings cut_off;
    std::function<void(const CoolingStep&)> cooling;
    double cooling_interval_s{1};

    double output_interval_s{0};  ///< 0: a row at the end of every load step.
    bool record_groups{true};     ///< Voltage, SOC and temperature of every group in every row.
    bool record_cells{false};     ///< Current, SOC and core temperature of every cell.

    /// Error that one sub-step may leave in a cell's voltage; it also bounds the error of the
    /// split.
    double voltage_tolerance_V{2e-9};
    double temperature_tolerance_K{1e-5};  ///< The same for temperatures.
    double longest_step_s{600};            ///< Of a sub-step.
};

/// What happened.
enum class SimulationEventKind {
    voltage_min,          ///< A group fell below its window while discharging.
    voltage_max,          ///< A group rose above its window while charging.
    soc_min,              ///< A cell.
    soc_max,              ///< A cell.
    temperature_max,      ///< A cell's core.
    warm,                 ///< The coldest core has reached its temperature.
    power_not_available,  ///< The pack cannot give the power (load or plant) at any current.
    end_current,          ///< The load step ended at its end current.
    fuse_rating,          ///< A string carries more than its fuse's rating; the run goes on.
    contactor_rating,     ///< A string carries more than its contactor's rating; the run goes on.
    making_current,       ///< A contactor closed on more than it may; the run goes on.
    fuse_opened,          ///< A string is out for good; the run goes on with the others, and where
                          ///< none is left, without current or voltage to the end of the load.
};

/// Plain words for an event; never null.
[[nodiscard]] const char* simulation_event_name(SimulationEventKind kind) noexcept;

/// One event, with where it happened.
struct SimulationEvent {
    double time_s{0};  ///< What may end a run and the opening of a fuse are found to 0.1 ms (an end
                       ///< current to 1 ms), the rest to one sub-step.
    SimulationEventKind kind{SimulationEventKind::voltage_min};
    int string{-1};   ///< -1: the pack.
    int group{-1};    ///< Within the string; -1: all of it.
    double value{0};  ///< Voltage, SOC, temperature, current or power, in base units.
    double bound{0};
};

/// Where charge and energy went, summed over the run. Energies in J.
struct EnergyBalance {
    double terminal_Ah{0};    ///< Into the pack at its terminals.
    double terminal_J{0};     ///< The same.
    double plant_J{0};        ///< Taken at the terminals by the cooling plant: with terminal_J what
                              ///< the load gave.
    double stored_J{0};       ///< Open-circuit voltage times current, all cells.
    double overvoltage_J{0};  ///< Lost in the cells.
    double joint_J{0};        ///< Lost in links, busbars, contactors and fuses.
    double bleed_J{0};        ///< Lost in bleed resistors.
    double bleed_to_cells_J{0};  ///< Of it what warmed the cells; the rest left the pack.
    double reversible_J{0};      ///< Entropic heat, positive warms; not part of the electric sum.
    double heat_J{0};            ///< Made in all cells.
    double heat_kept_J{0};       ///< Now in warmer cells.
    double to_ambient_J{0};      ///< Left through the cases.

    /// terminal_J less what became of it: rounding.
    [[nodiscard]] double electric_error_J() const {
        return terminal_J - (stored_J + overvoltage_J + joint_J + bleed_J);
    }
    /// heat_J and bleed_to_cells_J less what became of them.
    [[nodiscard]] double heat_error_J() const {
        return heat_J + bleed_to_cells_J - (heat_kept_J + to_ambient_J);
    }
    /// Largest difference, over the groups, between the charge that its cells took and what the
    /// string brought less what the bleed resistor took.
    double charge_error_Ah{0};
};

/// A run. Rows stand one behind the other in the flat columns: value (row, k) of a column with n
/// values a row is at row * n + k.
struct SimulationResult {
    std::vector<std::string> string_names;
    std::vector<int> group_string;  ///< String of each group.
    std::vector<int> cell_group;    ///< Group of each cell, counted over the pack.

    std::vector<double> time_s;         ///< Rows; values just before the load changes.
    std::vector<double> current_A;      ///< Of the pack: load and cooling plant.
    std::vector<double> plant_power_W;  ///< Of it taken by the cooling plant, >= 0.
    std::vector<double> voltage_V;      ///< At the terminals; 0 while no string is closed.
    std::vector<double> group_voltage_min_V, group_voltage_mean_V, group_voltage_max_V;
    std::vector<double> soc_min, soc_mean, soc_max;  ///< Over the cells; mean weighed by capacity.
    std::vector<double> core_min_degC, core_mean_degC, core_max_degC;  ///< Over the cells.
    std::vector<double> ambient_degC;      ///< Mean of the cells' surroundings.
    std::vector<double> string_current_A;  ///< (rows, strings)
    std::vector<double> string_voltage_V;  ///< (rows, strings), inside the contactor.

    std::vector<double>
        group_voltage_V;            ///< (rows, groups); this and the next two on record_groups.
    std::vector<double> group_soc;  ///< Mean of its cells, weighed by capacity.
    std::vector<double> group_core_degC;  ///< Warmest core.
    std::vector<double>
        cell_current_A;  ///< (rows, cells); this and the next three on record_cells.
    std::vector<double> cell_soc;
    std::vector<double> cell_core_degC;
    std::vector<double> cell_case_degC;

    std::vector<double> bled_Ah;  ///< Of each group.
    std::vector<double> bled_J;   ///< Of each group.
    std::vector<SimulationEvent> events;
    EnergyBalance balance;
    PackState end;
    int hottest_cell{0};  ///< Where the warmest core of the run was, at any sub-step.
    double hottest_degC{-1000};
    double hottest_time_s{0};
    std::int64_t step_count{0};      ///< Sub-steps taken.
    std::int64_t rejected_count{0};  ///< Sub-steps tried again shorter.

    [[nodiscard]] std::size_t size() const { return time_s.size(); }
};

/// Runs a load.
/// \param progress asked now and then with the share done; false cancels with an Error
/// \throws Error for a pack, load or setting that cannot be used, naming field, value and bound
[[nodiscard]] SimulationResult simulate(const Pack& pack, const std::vector<LoadStep>& load,
                                        const SimulationSettings& settings = {},
                                        const std::function<bool(double share)>& progress = {});

/// State that a run with these settings starts from.
[[nodiscard]] PackState start_state(const Pack& pack, const SimulationSettings& settings = {});

/// The columns of a run by name, one value a row each: time_s, current_A, voltage_V, power_W,
/// plant_power_W where a cooling plant took any, the spreads, string_current_A:NAME, and where
/// recorded group_voltage_V:NAME:k and its like, k counted within the string.
[[nodiscard]] std::vector<std::pair<std::string, std::vector<double>>> result_columns(
    const SimulationResult& result);

/// Writes these columns as CSV. \throws Error when the file cannot be written
void write_simulation(const std::filesystem::path& path, const SimulationResult& result);

}  // namespace voltkeel
