// Resistances over SOC and temperature.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <vector>

#include "support/example_cell.hpp"
#include "voltkeel/cell/resistance.hpp"
#include "voltkeel/units.hpp"

using voltkeel::direct_current_resistance_ohm;
using voltkeel::resistance_at;
using voltkeel_test::apart;
using voltkeel_test::Random;

TEMPLATE_LIST_TEST_CASE("a table returns its nodes", "[resistance]", voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    Random random(1);
    const auto cell = voltkeel_test::cell_cast<Real>(voltkeel_test::random_cell<branches>(random));
    const auto table = cell.view().resistance;
    const auto close = [](Real a, Real b) {
        return std::abs(a - b) <= 64 * std::numeric_limits<Real>::epsilon() * std::abs(b);
    };
    for (int t = 0; t < table.temperature_degC.count; ++t) {
        for (int s = 0; s < table.soc.count; ++s) {
            const auto& node = table.nodes[t * table.soc.count + s];
            const Real soc = table.soc.first + table.soc.step * static_cast<Real>(s);
            const Real temperature_degC =
                table.temperature_degC.first + table.temperature_degC.step * static_cast<Real>(t);
            const auto point = resistance_at(table, soc, temperature_degC);
            CAPTURE(t, s);
            CHECK(close(point.value.r0_ohm, node.r0_ohm));
            for (int i = 0; i < branches; ++i) {
                CHECK(close(point.value.branch_ohm[i], node.branch_ohm[i]));
                CHECK(close(point.value.branch_time_s[i], node.branch_time_s[i]));
            }
        }
    }
}

TEMPLATE_LIST_TEST_CASE("between nodes a table is bilinear and its slope the derivative",
                        "[resistance]", voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    Random random(2);
    const double bound = std::is_same_v<Real, float> ? 2e-5 : 1e-7;
    for (int k = 0; k < 200; ++k) {
        const auto exact = voltkeel_test::random_cell<branches>(random);
        const auto own = voltkeel_test::cell_cast<Real>(exact);
        const auto view = exact.view();
        const auto& table = view.resistance;
        const int s = random.whole(0, table.soc.count - 2);
        const int t = random.whole(0, table.temperature_degC.count - 2);
        const double fs = random.uniform(0.05, 0.95);
        const double ft = random.uniform(0.05, 0.95);
        const double soc = table.soc.first + table.soc.step * (s + fs);
        const double temperature_degC =
            table.temperature_degC.first + table.temperature_degC.step * (t + ft);
        const auto point = resistance_at(own.view().resistance, static_cast<Real>(soc),
                                         static_cast<Real>(temperature_degC));
        const auto* low = table.nodes + t * table.soc.count + s;
        const auto* high = low + table.soc.count;
        // Four weights, the way a handbook writes it; the library nests two straight lines.
        const double weight[4] = {(1 - fs) * (1 - ft), fs * (1 - ft), (1 - fs) * ft, fs * ft};
        const auto check = [&](const char* name, auto of, Real value, Real slope) {
            const double expected = weight[0] * of(low[0]) + weight[1] * of(low[1]) +
                                    weight[2] * of(high[0]) + weight[3] * of(high[1]);
            const double step = 1e-6;
            const double expected_slope =
                (of(resistance_at(table, soc + step, temperature_degC).value) -
                 of(resistance_at(table, soc - step, temperature_degC).value)) /
                (2 * step);
            CAPTURE(k, name, soc, temperature_degC, value, expected, slope, expected_slope);
            REQUIRE(apart(value, expected) <= bound * expected);
            REQUIRE(apart(slope, expected_slope) <= 20 * bound * expected);
        };
        check(
            "r0", [](const auto& n) { return n.r0_ohm; }, point.value.r0_ohm, point.slope.r0_ohm);
        for (int i = 0; i < branches; ++i) {
            check(
                "branch_ohm", [i](const auto& n) { return n.branch_ohm[i]; },
                point.value.branch_ohm[i], point.slope.branch_ohm[i]);
            check(
                "branch_time_s", [i](const auto& n) { return n.branch_time_s[i]; },
                point.value.branch_time_s[i], point.slope.branch_time_s[i]);
        }
        REQUIRE(point.temperature_inside);
    }
}

TEMPLATE_LIST_TEST_CASE("outside the table values are held", "[resistance]",
                        voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    Random random(3);
    const auto cell = voltkeel_test::cell_cast<Real>(voltkeel_test::random_cell<branches>(random));
    const auto table = cell.view().resistance;
    const int last_soc = table.soc.count - 1;
    const int last_row = (table.temperature_degC.count - 1) * table.soc.count;
    struct Corner {
        double soc;
        double temperature_degC;
        int node;
    };
    for (const Corner& corner :
         {Corner{-0.02, -60, 0}, Corner{1.02, -60, last_soc}, Corner{-0.02, 90, last_row},
          Corner{1.02, 90, last_row + last_soc}, Corner{-1e30, 1e30, last_row}}) {
        const auto point = resistance_at(table, static_cast<Real>(corner.soc),
                                         static_cast<Real>(corner.temperature_degC));
        CAPTURE(corner.soc, corner.temperature_degC);
        CHECK(std::abs(point.value.r0_ohm - table.nodes[corner.node].r0_ohm) <=
              4 * std::numeric_limits<Real>::epsilon() * point.value.r0_ohm);
        CHECK(point.slope.r0_ohm == Real(0));
        CHECK(point.slope.branch_ohm[branches - 1] == Real(0));
        CHECK(point.slope.branch_time_s[0] == Real(0));
        CHECK_FALSE(point.temperature_inside);
    }
    const Real nan = std::numeric_limits<Real>::quiet_NaN();
    CHECK(resistance_at(table, nan, nan).value.r0_ohm == table.nodes[0].r0_ohm);
    CHECK_FALSE(resistance_at(table, Real(0.5), nan).temperature_inside);
}

TEMPLATE_LIST_TEST_CASE("direct current resistance is the sum", "[resistance]",
                        voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    const auto cell = voltkeel_test::linear_cell<Real, branches>();
    double expected = 0.03;
    for (int i = 0; i < branches; ++i)
        expected += voltkeel_test::LinearShape{}.branch_ohm[i];
    CHECK(apart(direct_current_resistance_ohm(cell.resistance[0]), expected) < 1e-8);
}

TEST_CASE("nodes 5 K apart follow the Arrhenius law as closely as chords can", "[resistance]") {
    // Ratios R(T) / R(25 degC) at 20, 30 and 50 kJ/mol: computed from the law itself with the
    // CODATA 2018 gas constant, 30 digits.
    struct Row {
        double temperature_degC;
        double ratio_20;
        double ratio_30;
    };
    const Row rows[] = {{45, 0.602, 0.467},
                        {10, 1.533, 1.899},
                        {0, 2.093, 3.027},
                        {-10, 2.924, 5.001},
                        {-20, 4.196, 8.595}};
    const auto ratio = [](double energy_J_per_mol, double temperature_degC) {
        const double temperature_K = temperature_degC + voltkeel::zero_celsius_K<double>;
        return std::exp(energy_J_per_mol / voltkeel::gas_constant_J_per_mol_K<double> *
                        (1 / temperature_K - 1 / 298.15));
    };
    for (const Row& row : rows) {
        CAPTURE(row.temperature_degC);
        CHECK(std::abs(ratio(20e3, row.temperature_degC) - row.ratio_20) < 5.1e-4);
        CHECK(std::abs(ratio(30e3, row.temperature_degC) - row.ratio_30) < 5.1e-4);
    }
    for (const double energy_J_per_mol : {20e3, 30e3, 50e3}) {
        std::vector<voltkeel::ResistanceNode<double, 1>> nodes;
        const auto temperature_axis = voltkeel::uniform_axis(-20.0, 45.0, 14);
        for (int t = 0; t < temperature_axis.count; ++t) {
            voltkeel::ResistanceNode<double, 1> node;
            node.r0_ohm = ratio(energy_J_per_mol, -20.0 + 5 * t);
            node.branch_time_s[0] = 1;
            nodes.insert(nodes.end(), 2, node);
        }
        const voltkeel::ResistanceTable<double, 1> table{
            nodes.data(), voltkeel::uniform_axis(0.0, 1.0, 2), temperature_axis};
        double worst = 0;
        for (double temperature_degC = -20; temperature_degC <= 45; temperature_degC += 0.1) {
            const double got = resistance_at(table, 0.5, temperature_degC).value.r0_ohm;
            worst = std::max(worst, std::abs(got / ratio(energy_J_per_mol, temperature_degC) - 1));
        }
        // A chord lies h^2/8 R'' above its curve; R''/R = s^2 + 2 s/T with s = -d ln R/dT, here at
        // the middle of the coldest interval.
        const double middle_K = 255.65;
        const double s =
            energy_J_per_mol / voltkeel::gas_constant_J_per_mol_K<double> / (middle_K * middle_K);
        const double expected = 25.0 / 8 * (s * s + 2 * s / middle_K);
        CAPTURE(energy_J_per_mol, worst, expected);
        CHECK(worst < 1.03 * expected);
        CHECK(worst > 0.97 * expected);
        if (energy_J_per_mol < 25e3) CHECK(worst < 0.01);
    }
}

TEMPLATE_LIST_TEST_CASE("a place moved along the SOC is the place looked up", "[resistance]",
                        voltkeel_test::EveryModel) {
    using Real = typename TestType::Scalar;
    constexpr int branches = TestType::branches;
    Random random(7);
    const auto cell = voltkeel_test::cell_cast<Real>(voltkeel_test::random_cell<branches>(random));
    const auto table = cell.view().resistance;
    const auto t = voltkeel::locate(table.temperature_degC, Real(21));
    auto place = voltkeel::resistance_place(table, Real(0.5), t);
    Real soc = Real(0.5);
    int moved_within = 0;
    for (int k = 0; k < 2000; ++k) {
        // Small steps within an interval, and leaps: past both ends, to NaN and back.
        soc = k % 10 > 0 ? soc + static_cast<Real>(random.uniform(-0.004, 0.004))
                         : static_cast<Real>(random.uniform(-0.3, 1.3));
        if (k % 400 == 399) soc = std::numeric_limits<Real>::quiet_NaN();
        const auto* const before = place.cold;
        voltkeel::move_place(table, soc, t, place);
        const auto exact = voltkeel::resistance_place(table, soc, t);
        CAPTURE(k, soc);
        REQUIRE(place.cold == exact.cold);
        REQUIRE(place.warm == exact.warm);
        REQUIRE(place.soc_fraction == exact.soc_fraction);
        REQUIRE(place.per_soc == exact.per_soc);
        REQUIRE(place.temperature_fraction == exact.temperature_fraction);
        moved_within += place.cold == before ? 1 : 0;
    }
    CHECK(moved_within > 500);
}
