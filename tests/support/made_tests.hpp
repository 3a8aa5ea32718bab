#pragma once

/// \file
/// Cell tests made in memory: a cell whose every value is known, and the logs that a tester would
/// write of it. The voltage comes from the cell model itself, so a fit of these logs can be held
/// against the truth; the sensors are as imperfect as asked for.

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "support/error_text.hpp"
#include "support/example_cell.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/cell.hpp"
#include "voltkeel/io/csv.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel_test {

/// What a made cell is like. Values are invented, of the size of a 5 Ah cylindrical cell.
struct MadeCellShape {
    int branches{3};
    int soc_nodes{21};
    double capacity_Ah{5};
    double half_gap_V{0.004};
    double entropy_V_per_K{0};
    double charge_rise_ohm{0};
    bool charge_transfer{false};
    double ohmic_activation_J_per_mol{20e3};
    double branch_activation_J_per_mol{40e3};
    double slow_time_activation_J_per_mol{22e3};
};

/// OCV of every made cell, midway between its branches, at 25 degC.
inline double made_ocv_V(double soc) {
    return 3.35 + 0.8 * soc - 0.3 * std::exp(-soc / 0.05) + 0.02 * std::sin(9 * soc);
}

/// A cell with every table filled, tested at 5 and 25 degC; the resistances rise towards both ends.
inline voltkeel::Cell made_cell(const MadeCellShape& shape = {}) {
    voltkeel::Cell cell;
    cell.name = "made";
    cell.capacity_Ah = shape.capacity_Ah;
    cell.hysteresis_rate = 30;
    for (int k = 0; k <= 200; ++k) {
        const double soc = k / 200.0;
        cell.ocv.soc.push_back(soc);
        cell.ocv.discharge_V.push_back(made_ocv_V(soc) - shape.half_gap_V);
        cell.ocv.charge_V.push_back(made_ocv_V(soc) + shape.half_gap_V);
        cell.ocv.voltage_std_V.push_back(0.001);
        cell.ocv.entropy_V_per_K.push_back(shape.entropy_V_per_K);
    }

    // Near what the fit starts from, but nowhere at it.
    const std::array<std::vector<double>, 4> times_s{
        std::vector<double>{28}, {7.5, 1650}, {2.7, 30, 2600}, {0.9, 9, 60, 2600}};
    const auto& branch_times_s = times_s[static_cast<std::size_t>(shape.branches - 1)];
    auto& grid = cell.resistance;
    grid.temperature_degC = {5, 25};
    for (int k = 0; k < shape.soc_nodes; ++k)
        grid.soc.push_back(k / (shape.soc_nodes - 1.0));
    grid.branches.resize(static_cast<std::size_t>(shape.branches));
    const double base_ohm = 0.09 / shape.capacity_Ah;
    for (const double temperature_degC : grid.temperature_degC) {
        const auto grown = [&](double activation_J_per_mol) {
            const double inverse_K = 1 / (temperature_degC + voltkeel::zero_celsius_K<double>)-1 /
                                     (25 + voltkeel::zero_celsius_K<double>);
            return std::exp(activation_J_per_mol / voltkeel::gas_constant_J_per_mol_K<double> *
                            inverse_K);
        };
        std::vector<double> r0_ohm;
        for (const double soc : grid.soc) {
            r0_ohm.push_back(base_ohm * grown(shape.ohmic_activation_J_per_mol) *
                             (1 + 0.3 * std::exp(-soc / 0.15)));
        }
        grid.r0_ohm.push_back(r0_ohm);
        for (int i = 0; i < shape.branches; ++i) {
            const bool slow = shape.branches > 1 && i + 1 == shape.branches;
            std::vector<double> ohm;
            for (const double soc : grid.soc) {
                const double share = slow ? 0.5 : 0.9 / std::max(1, shape.branches - 1);
                ohm.push_back(base_ohm * share * grown(shape.branch_activation_J_per_mol) *
                              (1 + 0.6 * std::exp(-soc / 0.15) + 0.2 * std::cos(3 * soc + i)));
            }
            auto& branch = grid.branches[static_cast<std::size_t>(i)];
            branch.resistance_ohm.push_back(ohm);
            branch.time_s.emplace_back(
                grid.soc.size(), branch_times_s[static_cast<std::size_t>(i)] *
                                     (slow ? grown(shape.slow_time_activation_J_per_mol) : 1));
        }
    }
    if (shape.charge_transfer) {
        auto& transfer = grid.charge_transfer.emplace();
        for (const double temperature_degC : grid.temperature_degC) {
            const double cold = std::exp(0.04 * (25 - temperature_degC));
            transfer.scale_V.emplace_back(grid.soc.size(), 0.03);
            transfer.exchange_current_A.emplace_back(grid.soc.size(),
                                                     0.6 * shape.capacity_Ah / cold);
            transfer.time_s.emplace_back(grid.soc.size(), 0.4 * cold);
        }
    }
    cell.charge_rise.resistance_ohm = shape.charge_rise_ohm;
    // That of half a minute or a minute, where there is a slower one.
    if (shape.branches > 2) cell.charge_rise.branch = shape.branches - 2;
    cell.thermal = {60, 0, 8, 0, "made"};
    cell.window.voltage_min_V = 2.8;
    cell.window.voltage_max_V = 4.2;
    cell.charge.zones[0] = {0, 45, 0.5 * shape.capacity_Ah, 4.2};
    cell.charge.zone_count = 1;
    cell.charge.end_current_A = 0.03 * shape.capacity_Ah;
    return cell;
}

/// A current held for a while. Rows: 0.1 s after its start, every second to `dense_s`, then ever
/// further apart up to `longest_row_s`.
struct HeldCurrent {
    double current_A{0};
    double duration_s{0};
    double dense_s{10};
    double longest_row_s{60};
};

/// Where a test starts and how well the tester reads. The cell starts at rest.
struct MadeTester {
    std::string source{"made test"};
    double initial_soc{1};
    double temperature_degC{25};
    double voltage_std_V{0};
    double current_offset_A{0};  ///< Added to what the tester shows of every current but 0.
    std::uint64_t salt{0};       ///< Of the noise.
    double resistance_walk_per_sqrt_h{0};  ///< Of the logarithm of the resistance as a whole.
};

/// The log of a cell under a program of currents.
inline voltkeel::Log made_log(const voltkeel::Cell& truth, const std::vector<HeldCurrent>& program,
                              const MadeTester& tester = {}) {
    return voltkeel::with_form(truth, [&](auto form) {
        using Form = decltype(form);
        const voltkeel::CellTables<double, Form::branches, Form::transfer> tables(truth);
        const auto cell = tables.parameters();
        voltkeel::CellState<double, Form::branches, Form::transfer> state;
        state.soc = tester.initial_soc;
        Random random(tester.salt);
        voltkeel::Log log;
        log.source = tester.source;
        const auto write = [&](double time_s, double current_A) {
            const auto point =
                voltkeel::voltage_at(cell, state, current_A, tester.temperature_degC);
            log.time_s.push_back(time_s);
            log.current_A.push_back(current_A == 0 ? 0 : current_A + tester.current_offset_A);
            log.voltage_V.push_back(point.voltage_V + tester.voltage_std_V * random.normal());
            log.temperature_degC.push_back(tester.temperature_degC);
        };
        double begin_s = 0;
        write(begin_s, 0);
        for (const HeldCurrent& hold : program) {
            if (tester.resistance_walk_per_sqrt_h > 0) {
                const double hours = hold.duration_s / voltkeel::seconds_per_hour<double>;
                state.resistance_scale *= std::exp(tester.resistance_walk_per_sqrt_h *
                                                   std::sqrt(hours) * random.normal());
            }
            double at_s = 0;
            double next_s = std::min(0.1, hold.duration_s);
            while (at_s < hold.duration_s) {
                voltkeel::step(cell, {hold.current_A, next_s - at_s, tester.temperature_degC},
                               state);
                at_s = next_s;
                write(begin_s + at_s, hold.current_A);
                next_s = at_s < 1              ? 1
                         : at_s < hold.dense_s ? std::floor(at_s + 1.5)
                                               : at_s + std::min(0.2 * at_s, hold.longest_row_s);
                if (next_s > hold.duration_s - 0.05) next_s = hold.duration_s;
            }
            begin_s += hold.duration_s;
        }
        return log;
    });
}

/// Slow test: rest, C/20 to empty, two hours of rest, C/20 to full, two hours of rest.
inline std::vector<HeldCurrent> slow_program(double capacity_Ah) {
    const double current_A = capacity_Ah / 20;
    return {{0, 1800, 1, 300},
            {-current_A, 72000, 60, 60},
            {0, 7200, 60, 60},
            {current_A, 72000, 60, 60},
            {0, 7200, 60, 60}};
}

/// Down from full: 10 s pulses at these rates at every tenth, each with a rest behind, then C/3 to
/// the next tenth and a long rest.
inline std::vector<HeldCurrent> pulses_at_tenths(double capacity_Ah,
                                                 const std::vector<double>& rates_per_h,
                                                 double rest_s, double long_rest_s, int lowest) {
    std::vector<HeldCurrent> program{{0, 300, 1, 60}};
    double soc = 1;
    for (int tenth = 10; tenth >= lowest; --tenth) {
        for (const double rate_per_h : rates_per_h) {
            if (tenth == 10 && rate_per_h > 0) continue;  // a full cell takes no charge
            program.push_back({rate_per_h * capacity_Ah, 10, 10, 60});
            program.push_back({0, rest_s, 10, 60});
            soc += rate_per_h * 10 / 3600;
        }
        if (tenth == lowest) break;
        const double next_soc = (tenth - 1) / 10.0;
        program.push_back({-capacity_Ah / 3, 3 * 3600 * (soc - next_soc), 10, 60});
        program.push_back({0, long_rest_s, 10, 60});
        soc = next_soc;
    }
    return program;
}

/// Pulse test down from full: at every tenth of the charge 10 s discharges at 0.5C and 1.5C and a
/// 10 s charge at 0.5C with rests between; C/3 to the next tenth and a rest of `long_rest_s`.
/// \param lowest tenth to pulse at, 0 .. 10
inline std::vector<HeldCurrent> pulse_program(double capacity_Ah, int lowest = 1,
                                              double long_rest_s = 2700) {
    return pulses_at_tenths(capacity_Ah, {-0.5, -1.5, 0.5}, 300, long_rest_s, lowest);
}

/// Values of a made cell at one place.
template <int Branches>
[[nodiscard]] inline voltkeel::ResistanceNode<double, Branches> resistance_of(
    const voltkeel::Cell& cell, double soc, double temperature_degC) {
    const voltkeel::CellTables<double, Branches> tables(cell);
    return voltkeel::resistance_at(tables.parameters().resistance, soc, temperature_degC).value;
}

/// DC resistance at the end of a pulse from rest at a held SOC, by the cell model: R0 and what
/// every branch has reached by then. With charge transfer it depends on the current.
[[nodiscard]] inline double pulse_resistance_ohm(const voltkeel::Cell& cell, double soc,
                                                 double temperature_degC, double pulse_s,
                                                 double current_A = -1e-3) {
    return voltkeel::with_form(cell, [&](auto form) {
        constexpr int branches = decltype(form)::branches;
        const voltkeel::CellTables<double, branches, decltype(form)::transfer> tables(cell);
        const auto node =
            voltkeel::resistance_at(tables.parameters().resistance, soc, temperature_degC).value;
        double ohm = node.r0_ohm;
        for (int i = 0; i < branches; ++i)
            ohm += node.branch_ohm[i] * -std::expm1(-pulse_s / node.branch_time_s[i]);
        if constexpr (decltype(form)::transfer) {
            ohm +=
                voltkeel::charge_transfer_step(node.transfer, 0.0, current_A, pulse_s).voltage_V /
                current_A;
        }
        return ohm;
    });
}

}  // namespace voltkeel_test
