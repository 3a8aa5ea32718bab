#pragma once

/// \file
/// Cells for tests: a linear one whose answers can be worked out by hand, and random ones with
/// curved tables. They own their tables; `view()` gives the parameters the library takes.

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <random>
#include <tuple>
#include <vector>

#include "support/seed.hpp"
#include "voltkeel/cell/parameters.hpp"

namespace voltkeel_test {

/// A scalar and a number of branches, for test cases that run on every model.
template <class Real_, int Branches_>
struct Model {
    using Scalar = Real_;
    static constexpr int branches = Branches_;
};

#ifdef VOLTKEEL_TEST_SANITIZED  // see scalars.hpp
using EveryModel = std::tuple<Model<float, 1>, Model<double, 2>, Model<float, 3>, Model<double, 4>>;
#else
using EveryModel =
    std::tuple<Model<float, 1>, Model<float, 2>, Model<float, 3>, Model<float, 4>, Model<double, 1>,
               Model<double, 2>, Model<double, 3>, Model<double, 4>>;
#endif

/// Random numbers that repeat with VOLTKEEL_SEED; `salt` keeps the streams of test cases apart.
class Random {
  public:
    explicit Random(std::uint64_t salt) : engine_(seed() + 1000003 * salt) {}

    double uniform(double low, double high) {
        return std::uniform_real_distribution<double>(low, high)(engine_);
    }
    double normal() { return normal_(engine_); }
    /// A whole number from low to high, both included.
    int whole(int low, int high) { return std::uniform_int_distribution<int>(low, high)(engine_); }

  private:
    std::mt19937_64 engine_;
    std::normal_distribution<double> normal_{};
};

/// Parameters of a cell together with the tables they look at.
template <class Real, int Branches>
struct OwnedCell {
    std::vector<voltkeel::OcvNode<Real>> ocv;
    std::vector<voltkeel::ResistanceNode<Real, Branches>> resistance;
    voltkeel::CellParameters<Real, Branches> scalars;  ///< All but the table pointers.

    [[nodiscard]] voltkeel::CellParameters<Real, Branches> view() const& {
        voltkeel::CellParameters<Real, Branches> cell = scalars;
        cell.ocv.nodes = ocv.data();
        cell.ocv.count = static_cast<int>(ocv.size());
        cell.resistance.nodes = resistance.data();
        return cell;
    }
    voltkeel::CellParameters<Real, Branches> view() const&& = delete;  // the tables would be gone
};

/// The same cell in another scalar.
template <class To, class From, int Branches>
[[nodiscard]] OwnedCell<To, Branches> cell_cast(const OwnedCell<From, Branches>& from) {
    const auto to = [](From x) { return static_cast<To>(x); };
    const auto axis = [&](const voltkeel::UniformAxis<From>& a) {
        return voltkeel::uniform_axis(to(a.first), to(a.last()), a.count);
    };
    OwnedCell<To, Branches> cell;
    for (const auto& node : from.ocv) {
        cell.ocv.push_back({to(node.mean_V), to(node.half_gap_V), to(node.entropy_V_per_K)});
    }
    for (const auto& node : from.resistance) {
        voltkeel::ResistanceNode<To, Branches> n;
        n.r0_ohm = to(node.r0_ohm);
        for (int i = 0; i < Branches; ++i) {
            n.branch_ohm[i] = to(node.branch_ohm[i]);
            n.branch_time_s[i] = to(node.branch_time_s[i]);
        }
        cell.resistance.push_back(n);
    }
    const auto& s = from.scalars;
    cell.scalars.capacity_Ah = to(s.capacity_Ah);
    cell.scalars.coulombic_efficiency = to(s.coulombic_efficiency);
    cell.scalars.self_discharge_per_s = to(s.self_discharge_per_s);
    cell.scalars.hysteresis_rate = to(s.hysteresis_rate);
    cell.scalars.ocv.reference_temperature_degC = to(s.ocv.reference_temperature_degC);
    cell.scalars.resistance.soc = axis(s.resistance.soc);
    cell.scalars.resistance.temperature_degC = axis(s.resistance.temperature_degC);
    cell.scalars.charge_rise = {to(s.charge_rise.soc_start), to(s.charge_rise.resistance_ohm),
                                s.charge_rise.branch};
    cell.scalars.thermal = {to(s.thermal.heat_capacity_J_per_K), to(s.thermal.resistance_K_per_W)};
    return cell;
}

/// How far apart two numbers are, in double whatever their types.
template <class A, class B>
[[nodiscard]] double apart(A a, B b) {
    return std::abs(static_cast<double>(a) - static_cast<double>(b));
}

/// What a linear cell is made of.
struct LinearShape {
    double capacity_Ah{3};
    double ocv_empty_V{3.4};
    double ocv_full_V{4.2};
    double half_gap_V{0};
    double hysteresis_rate{0};
    double r0_ohm{0.03};
    double branch_ohm[4]{0.02, 0.015, 0.01, 0.008};
    double branch_time_s[4]{30, 120, 900, 5400};
};

/// Straight OCV and the same resistances everywhere.
template <class Real, int Branches>
[[nodiscard]] OwnedCell<Real, Branches> linear_cell(const LinearShape& shape = {}) {
    OwnedCell<double, Branches> cell;
    cell.ocv = {{shape.ocv_empty_V, shape.half_gap_V, 0}, {shape.ocv_full_V, shape.half_gap_V, 0}};
    voltkeel::ResistanceNode<double, Branches> node;
    node.r0_ohm = shape.r0_ohm;
    for (int i = 0; i < Branches; ++i) {
        node.branch_ohm[i] = shape.branch_ohm[i];
        node.branch_time_s[i] = shape.branch_time_s[i];
    }
    cell.resistance.assign(4, node);
    cell.scalars.capacity_Ah = shape.capacity_Ah;
    cell.scalars.hysteresis_rate = shape.hysteresis_rate;
    cell.scalars.resistance.soc = voltkeel::uniform_axis(0.0, 1.0, 2);
    cell.scalars.resistance.temperature_degC = voltkeel::uniform_axis(-20.0, 60.0, 2);
    return cell_cast<Real>(cell);
}

/// A cell with curved, temperature-dependent tables; every value within what cells show.
template <int Branches>
[[nodiscard]] OwnedCell<double, Branches> random_cell(Random& random) {
    OwnedCell<double, Branches> cell;
    // Steps and knees where they happen to fall: slopes from 0.35 to 1.4 V, smooth as an OCV is.
    const int ocv_count = random.whole(11, 31);
    const double empty_V = random.uniform(3.0, 3.3);
    const double slope_V = random.uniform(0.75, 1.0);
    const double wave = random.uniform(6, 12);
    const double height_V = random.uniform(0.2, 0.4) / wave;
    const double phase = random.uniform(0, 6);
    const double half_gap_V = random.uniform(0.002, 0.015);
    for (int k = 0; k < ocv_count; ++k) {
        const double soc = k / (ocv_count - 1.0);
        cell.ocv.push_back({empty_V + slope_V * soc + height_V * std::sin(wave * soc + phase),
                            half_gap_V * (1 + 0.4 * std::sin(5 * soc + phase)),
                            random.uniform(-0.0004, 0.0003)});
    }
    const int soc_count = random.whole(5, 12);
    const int temperature_count = random.whole(3, 7);
    auto& table = cell.scalars.resistance;
    table.soc = voltkeel::uniform_axis(0.0, 1.0, soc_count);
    table.temperature_degC = voltkeel::uniform_axis(-20.0, 45.0, temperature_count);
    cell.scalars.capacity_Ah = random.uniform(2, 60);
    const double base_ohm = 0.06 / cell.scalars.capacity_Ah;
    for (int t = 0; t < temperature_count; ++t) {
        const double cold = std::exp(1.8 * (1 - t / (temperature_count - 1.0)));
        for (int s = 0; s < soc_count; ++s) {
            const double low = 1 + 0.8 * std::pow(1 - s / (soc_count - 1.0), 4);
            voltkeel::ResistanceNode<double, Branches> node;
            node.r0_ohm = base_ohm * cold * low * random.uniform(0.8, 1.2);
            double time_s = random.uniform(1.5, 4);
            for (int i = 0; i < Branches; ++i) {
                node.branch_ohm[i] = 0.5 * base_ohm * cold * low * random.uniform(0.6, 1.4);
                node.branch_time_s[i] = time_s * random.uniform(0.8, 1.2);
                time_s *= 9;
            }
            cell.resistance.push_back(node);
        }
    }
    cell.scalars.coulombic_efficiency = random.uniform(0.98, 1);
    cell.scalars.hysteresis_rate = random.uniform(5, 100);
    cell.scalars.ocv.reference_temperature_degC = random.uniform(15, 30);
    cell.scalars.charge_rise = {random.uniform(0.6, 0.9), random.uniform(0, 2) * base_ohm};
    return cell;
}

}  // namespace voltkeel_test
