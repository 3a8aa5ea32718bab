// The SOC filter on a controller: tables in flash, 300 samples, no standard library beyond the
// freestanding headers and three functions of <cmath>. Prints every 50th state as raw bits, so that
// the run on a controller can be compared with the run on a desktop to the last one.

#include <array>
#include <cstdint>
#include <limits>

#include "print_bits.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/estimate/soc_filter.hpp"

namespace {

#ifndef VOLTKEEL_TEST_TRANSFER
#define VOLTKEEL_TEST_TRANSFER 0
#endif
constexpr bool transfer = VOLTKEEL_TEST_TRANSFER != 0;
constexpr int branches = transfer ? 2 : 3;
constexpr int soc_count = 11;
constexpr int temperature_count = 4;
constexpr int ocv_count = 21;

using Node = voltkeel::ResistanceNode<float, branches, transfer>;

/// A template, because only there the member that a form does not have may be left out.
template <class Any>
constexpr void set_transfer([[maybe_unused]] Any& node, [[maybe_unused]] float cold,
                            [[maybe_unused]] float low) {
    if constexpr (transfer) node.transfer = {0.05F, 40.0F / (cold * low), 0.8F * cold};
}

/// An invented 40 Ah cell: resistances rise when cold and near empty.
constexpr std::array<Node, soc_count * temperature_count> make_resistance() {
    constexpr float cold[temperature_count] = {4.0F, 2.1F, 1.0F, 0.75F};  // -20 to 45 degC
    constexpr float share[3] = {0.5F, 0.7F, 0.9F};
    constexpr float time_s[3] = {2.0F, 25.0F, 600.0F};
    std::array<Node, soc_count * temperature_count> nodes{};
    for (int t = 0; t < temperature_count; ++t) {
        for (int s = 0; s < soc_count; ++s) {
            const float empty = 1.0F - static_cast<float>(s) / static_cast<float>(soc_count - 1);
            const float low = 1.0F + 0.6F * empty * empty * empty;
            Node node{};
            node.r0_ohm = 0.0015F * cold[t] * low;
            // With charge transfer it stands for the fastest branch.
            for (int i = 0; i < branches; ++i) {
                const int from = i + 3 - branches;
                node.branch_ohm[i] = 0.001F * share[from] * cold[t] * low;
                node.branch_time_s[i] = time_s[from] * (1.0F + 0.2F * empty);
            }
            set_transfer(node, cold[t], low);
            nodes[static_cast<std::size_t>(t * soc_count + s)] = node;
        }
    }
    return nodes;
}

constexpr std::array<voltkeel::OcvNode<float>, ocv_count> make_ocv() {
    std::array<voltkeel::OcvNode<float>, ocv_count> nodes{};
    for (int k = 0; k < ocv_count; ++k) {
        const float soc = static_cast<float>(k) / static_cast<float>(ocv_count - 1);
        const float empty = 1.0F - soc;
        nodes[static_cast<std::size_t>(k)] = {
            3.45F + 0.7F * soc - 0.4F * empty * empty * empty * empty, 0.006F + 0.004F * empty,
            0.0002F - 0.0004F * empty};
    }
    return nodes;
}

constexpr auto resistance = make_resistance();
constexpr auto ocv = make_ocv();

voltkeel::CellParameters<float, branches, transfer> cell_parameters() {
    voltkeel::CellParameters<float, branches, transfer> cell;
    cell.capacity_Ah = 40.0F;
    cell.coulombic_efficiency = 0.998F;
    cell.self_discharge_per_s = 1e-9F;
    cell.hysteresis_rate = 40.0F;
    cell.ocv = {ocv.data(), ocv_count, 25.0F};
    cell.resistance.nodes = resistance.data();
    cell.resistance.soc = voltkeel::uniform_axis(0.0F, 1.0F, soc_count);
    cell.resistance.temperature_degC = voltkeel::uniform_axis(-20.0F, 45.0F, temperature_count);
    cell.thermal = {900.0F, 3.0F, 0.15F, 800.0F};
    return cell;
}

/// Whole numbers that look random: Numerical Recipes' linear congruence (from memory, not re-read).
class Numbers {
  public:
    /// From -limit to limit.
    int next(int limit) {
        state_ = state_ * 1664525U + 1013904223U;
        return static_cast<int>((state_ >> 8U) % static_cast<std::uint32_t>(2 * limit + 1)) - limit;
    }

  private:
    std::uint32_t state_{20260101U};
};

voltkeel::SocFilter<float, branches, transfer> filter;

/// Heat in steps of many lengths: the temperatures of core and case, and the core as it is found
/// behind the case. False when both cores are far apart.
bool warm_up(const voltkeel::ThermalParameters<float>& thermal, Numbers& numbers) {
    voltkeel::CellTemperature<float> truth{15.0F, 15.0F};
    float core_degC = 20.0F;
    for (int k = 401; k <= 440; ++k) {
        const float heat_W = static_cast<float>(numbers.next(50) + 50) * 0.125F;
        const float dt_s = static_cast<float>(k - 400) * 1.5F;
        const float case_degC = truth.case_degC;
        truth = voltkeel::temperature_after(thermal, truth, 15.0F, heat_W, dt_s);
        core_degC = voltkeel::core_temperature_after(thermal, core_degC, case_degC, truth.case_degC,
                                                     heat_W, dt_s);
        const float values[] = {truth.core_degC, truth.case_degC, core_degC};
        if (k % 10 == 0) print_bits(k, values, 3);
    }
    const float apart_K = core_degC - truth.core_degC;
    return apart_K < 0.5F && apart_K > -0.5F && truth.core_degC > truth.case_degC + 0.2F;
}

}  // namespace

int main() {
    const auto cell = cell_parameters();
    if (filter.configure(cell) != voltkeel::Status::ok) {
        puts0("configure failed\n");
        return 1;
    }
    // The cell itself: 15 points away from what the filter is told, with 20 % more resistance.
    voltkeel::CellState<float, branches, transfer> truth;
    truth.soc = 0.7F;
    truth.resistance_scale = 1.2F;
    if (filter.start(0.55F, 0.1F, 15.0F) != voltkeel::Status::ok) {
        puts0("start failed\n");
        return 2;
    }
    Numbers numbers;
    float current_A = 0.0F;
    std::uint32_t faults = 0;
    for (int k = 1; k <= 300; ++k) {
        if (k % 7 == 1) current_A = static_cast<float>(numbers.next(80000)) * 0.001F;
        const float temperature_degC = 15.0F + static_cast<float>(k) * 0.03125F;
        const float dt_s = 0.5F;
        voltkeel::step(cell, {current_A, dt_s, temperature_degC}, truth);
        voltkeel::CellSample<float> sample{
            current_A,
            voltkeel::voltage_at(cell, truth, current_A, temperature_degC).voltage_V +
                static_cast<float>(numbers.next(60)) * 0.0001F,
            temperature_degC, dt_s};
        if (k % 83 == 0) sample.voltage_V = std::numeric_limits<float>::quiet_NaN();
        if (k == 120) sample.voltage_V = 0.5F;  // a loose wire
        if (k == 171) sample.current_A = std::numeric_limits<float>::infinity();
        const voltkeel::SocEstimate<float>& e = filter.step(sample);
        faults |= e.fault_bits;
        if (k % 50 != 0) continue;
        const auto& s = filter.state();
        const float values[] = {e.soc,
                                s.cell.branch_V[0],
                                s.cell.branch_V[1],
                                s.cell.branch_V[2],
                                s.cell.hysteresis,
                                s.log_scale,
                                e.innovation_V,
                                s.covariance(0, 0)};
        print_bits(k, values, 8);
    }
    // It must have worked, not only have done the same on both sides.
    const float error = filter.estimate().soc - truth.soc;
    if (!(error < 0.05F && error > -0.05F)) {
        puts0("the filter is more than 5 points off\n");
        return 3;
    }
    if (filter.state().rejected_count == 0 || filter.state().update_count < 100 ||
        (faults & voltkeel::fault_current_not_finite) == 0 ||
        (faults & voltkeel::fault_voltage_not_finite) == 0) {
        puts0("the bad samples went unnoticed\n");
        return 4;
    }
    if (!warm_up(cell.thermal, numbers)) {
        puts0("the core behind the case is not the core\n");
        return 5;
    }
    puts0("done\n");
    return 0;
}
