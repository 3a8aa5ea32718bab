#pragma once
/// \file circuit.hpp
/// The currents of a pack at one instant. Every cell is a source behind a resistance; so is a group
/// of cells, a string of groups, and the pack (Thevenin), and the shares follow on the way back.

#include <cstddef>
#include <vector>

#include "simulate/cell_bank.hpp"
#include "voltkeel/io/pack.hpp"
#include "voltkeel/simulate/load.hpp"

namespace voltkeel::detail {

/// What never changes during a run. A unit is a modelled cell; it stands for `copies` cells of its
/// group that are alike.
struct Wiring {
    struct Group {
        std::size_t first_unit{0};
        std::size_t unit_count{0};
        double copies{1};
        double link_ohm{0};  ///< Of each cell.
        int string{0};
        int within{0};  ///< Its number within the string.
        double voltage_min_V{0};
        double voltage_max_V{0};
    };
    struct String {
        std::size_t first_group{0};
        std::size_t group_count{0};
        double series_ohm{0};  ///< Interconnects, busbars, contactor and fuse.
    };
    std::vector<Group> groups;
    std::vector<String> strings;
    double busbar_ohm{0};
    std::size_t unit_count{0};
};

/// A pack without its state: `series_ohm` and the numbers of every group. \param each_cell false
/// makes one unit of every group
[[nodiscard]] Wiring make_wiring(const Pack& pack, bool each_cell);

/// What is asked of the pack at an instant, with limits.
struct Demand {
    LoadKind kind{LoadKind::current};
    double amount{0};
    double voltage_max_V{0};
    double voltage_min_V{0};
    double group_voltage_max_V{0};
    double group_voltage_min_V{0};
    double end_current_A{0};  ///< Its time is to be told exactly; 0: nobody asks.
    double plant_W{0};        ///< Taken at the terminals besides, whatever the load does.

    explicit Demand(const LoadStep& step);
};

/// One instant: what the cells show, and the currents and voltages that follow.
struct Instant {
    CellLook look;
    std::vector<double> siemens;  ///< Of each cell with its link, in groups of several units.
    std::vector<double> group_emf_V, group_ohm;
    std::vector<double> string_emf_V, string_ohm;
    double emf_V{0};
    double ohm{0};  ///< Of all closed strings in parallel.

    std::vector<double> unit_A;  ///< Of each cell of the unit.
    std::vector<double> group_V;
    std::vector<double> string_A;
    double current_A{0};
    double voltage_V{0};
    bool limited{false};         ///< A limit set the current, or the demand is a voltage.
    double drawn_W{0};           ///< Power that is asked out of a source, and the most that the
    double most_W{0};            ///< source could give; infinite where no power is asked.
    bool power_available{true};  ///< Otherwise the current is that of the largest power.

    void resize(const Wiring& wiring);
};

/// Sources and resistances from the cells up. \param bleed_S conductance of the bleed resistor of
/// each group \param closed contactor of each string
void gather(const Wiring& wiring, const std::vector<double>& bleed_S,
            const std::vector<bool>& closed, Instant& at);

/// Currents and voltages from the demand down. After gather().
void distribute(const Wiring& wiring, const std::vector<double>& bleed_S,
                const std::vector<bool>& closed, const Demand& demand, Instant& at);

}  // namespace voltkeel::detail
