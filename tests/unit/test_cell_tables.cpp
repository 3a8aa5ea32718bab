// The tables that the model reads, made from a cell: values at and between nodes, the Arrhenius law
// between and beyond the tested temperatures, float and double.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <string>
#include <utility>
#include <vector>

#include "support/scalars.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/cell.hpp"

using voltkeel::arrhenius_largest_factor;
using voltkeel::arrhenius_reach_K;
using voltkeel::arrhenius_value;
using voltkeel::Cell;
using voltkeel::CellParameters;
using voltkeel::CellTables;
using voltkeel::Error;
using voltkeel::Grid;

namespace {

/// R(T) / R(25 degC) of a resistance that follows Arrhenius' law, to the digits given.
struct Ratio {
    double temperature_degC;
    double ratio;
    double half_digit;  ///< Half a unit of the last digit given.
};
struct ArrheniusRow {
    double activation_energy_J_per_mol;
    std::vector<Ratio> ratios;
};

/// Table of R(T)/R(25 degC) for three activation energies, worked out once outside this project
/// with T0 = 298.15 K and the gas constant 8.314462618 J/(mol K) (CODATA 2018). The energies span
/// what is usual for lithium cells: electrolyte about 20 kJ/mol, charge transfer about 50 kJ/mol
/// (from memory, not re-read).
const std::vector<ArrheniusRow> arrhenius_rows = {
    {20e3,
     {{-20, 4.196, 5e-4},
      {-10, 2.924, 5e-4},
      {0, 2.093, 5e-4},
      {10, 1.533, 5e-4},
      {25, 1, 0},
      {45, 0.602, 5e-4}}},
    {30e3,
     {{-20, 8.595, 5e-4},
      {-10, 5.001, 5e-4},
      {0, 3.027, 5e-4},
      {10, 1.899, 5e-4},
      {25, 1, 0},
      {45, 0.467, 5e-4}}},
    {50e3,
     {{-20, 36.07, 5e-3},
      {-10, 14.62, 5e-3},
      {0, 6.335, 5e-4},
      {10, 2.911, 5e-4},
      {25, 1, 0},
      {45, 0.281, 5e-4}}},
};

double inverse_K(double degC) {
    return 1 / (degC + 273.15);
}

/// What the digits given leave open in `wanted` when it is drawn from `cold` and `warm`: the
/// logarithms of both enter with weights that add up to 1.
double open_share(const Ratio& wanted, const Ratio& cold, const Ratio& warm) {
    const double span = inverse_K(cold.temperature_degC) - inverse_K(warm.temperature_degC);
    const double weight =
        (inverse_K(wanted.temperature_degC) - inverse_K(warm.temperature_degC)) / span;
    return wanted.half_digit / wanted.ratio + std::abs(weight) * cold.half_digit / cold.ratio +
           std::abs(1 - weight) * warm.half_digit / warm.ratio;
}

constexpr double r25_ohm = 0.02;

/// An invented cell with `branches` branches whose resistances are `ratio` times those at 25 degC.
Cell cell_of(const std::vector<Ratio>& tested, int branches) {
    Cell cell;
    cell.name = "HW-50";
    cell.capacity_Ah = 4.95;
    cell.coulombic_efficiency = 0.999;
    cell.self_discharge_per_s = 1e-9;
    cell.hysteresis_rate = 30;
    cell.ocv.reference_temperature_degC = 24;
    cell.ocv.soc = {0, 0.1, 0.45, 1};
    cell.ocv.discharge_V = {2.5, 3.3, 3.6, 4.1};
    cell.ocv.charge_V = {2.7, 3.36, 3.6, 4.14};
    cell.ocv.voltage_std_V = {0.01, 0.002, 0.002, 0.002};
    cell.ocv.entropy_V_per_K = {-0.0004, 0, 0.0001, 0.0001};
    cell.resistance.soc = {0, 0.25, 0.5, 0.75, 1};
    const std::vector<double> over_soc = {2, 1.2, 1, 1.1, 1.5};
    const auto row = [&](double value) {
        std::vector<double> values = over_soc;
        for (double& factor : values)
            factor *= value;
        return values;
    };
    cell.resistance.branches.resize(static_cast<std::size_t>(branches));
    for (const Ratio& at : tested) {
        cell.resistance.temperature_degC.push_back(at.temperature_degC);
        cell.resistance.r0_ohm.push_back(row(r25_ohm * at.ratio));
        for (int i = 0; i != branches; ++i) {
            auto& branch = cell.resistance.branches[static_cast<std::size_t>(i)];
            branch.resistance_ohm.push_back(row(0.01 * (i + 1) * at.ratio));
            branch.time_s.push_back(row(std::pow(10.0, i + 1)));
        }
    }
    cell.charge_rise = {0.85, 0.01, 0.002, -1, {}};
    cell.thermal = {68, 7, 9, 1, "assumed", 1.5, 0.5, 60, 6};
    cell.window = {2.5, 4.2, 0.02, 0.98, 1, 44, -19, 59};
    cell.current_limits = {
        {10, {0, 25}, {0, 0.5, 1}, {{1, 2, 3}, {4, 5, 6}}, {{7, 8, 9}, {10, 11, 12}}},
        {30, {25}, {0.5}, {{3}}, {{6}}}};
    cell.charge.zone_count = 2;
    cell.charge.zones[0] = {1, 10, 2.4, 4.1};
    cell.charge.zones[1] = {10, 44, 4.8, 4.2};
    cell.charge.end_current_A = 0.25;
    return cell;
}

const Ratio& at_temperature(const ArrheniusRow& row, double temperature_degC) {
    for (const Ratio& ratio : row.ratios) {
        if (ratio.temperature_degC == temperature_degC) return ratio;
    }
    throw Error("no such temperature in the table");
}

/// Rounding of a value to `Real` and back, as a share, with the few operations around it.
template <class Real>
constexpr double rounding = 8 * static_cast<double>(std::numeric_limits<Real>::epsilon());

std::string refusal(const Cell& cell) {
    try {
        const CellTables<double, 1> tables(cell);
    } catch (const Error& error) {
        return error.what();
    }
    return "";
}

}  // namespace

TEST_CASE("the Arrhenius line meets the tabulated ratios between and beyond tested temperatures") {
    // Pairs of tested temperatures; everything within reach of them is compared.
    const std::vector<std::pair<double, double>> tested = {{-20, 25}, {0, 25},  {-10, 10},
                                                           {10, 25},  {25, 45}, {-20, 45}};
    int between = 0;
    int beyond = 0;
    int cut = 0;
    for (const ArrheniusRow& row : arrhenius_rows) {
        for (const auto& [cold_degC, warm_degC] : tested) {
            const Ratio& cold = at_temperature(row, cold_degC);
            const Ratio& warm = at_temperature(row, warm_degC);
            for (const Ratio& wanted : row.ratios) {
                const double at_degC = wanted.temperature_degC;
                if (at_degC < cold_degC - arrhenius_reach_K ||
                    at_degC > warm_degC + arrhenius_reach_K) {
                    continue;
                }
                INFO(row.activation_energy_J_per_mol << " J/mol, tested at " << cold_degC << " and "
                                                     << warm_degC << ", asked at " << at_degC);
                const double value =
                    arrhenius_value({cold_degC, warm_degC}, {cold.ratio, warm.ratio}, at_degC);
                if (wanted.ratio / cold.ratio > arrhenius_largest_factor) {
                    CHECK(value == cold.ratio * arrhenius_largest_factor);
                    ++cut;
                    continue;
                }
                CHECK(std::abs(value / wanted.ratio - 1) <=
                      1.001 * open_share(wanted, cold, warm) + 1e-12);
                (at_degC > cold_degC && at_degC < warm_degC ? between : beyond) += 1;
            }
        }
    }
    CHECK(between >= 20);
    CHECK(beyond >= 40);
    CHECK(cut == 1);  // 50 kJ/mol, from 25 degC down to 0 degC
}

TEST_CASE("beyond its reach the Arrhenius line is held, and its slope is bounded") {
    const std::vector<double> tested_degC = {10, 25};
    const auto at = [&](const std::vector<double>& values, double temperature_degC) {
        return arrhenius_value(tested_degC, values, temperature_degC);
    };
    const std::vector<double> usual = {1.533, 1};
    CHECK(at(usual, 10 - arrhenius_reach_K) > at(usual, 10 - arrhenius_reach_K + 1));
    CHECK(at(usual, -60) == at(usual, 10 - arrhenius_reach_K));
    CHECK(at(usual, 200) == at(usual, 25 + arrhenius_reach_K));
    CHECK(at(usual, 10) == 1.533);
    CHECK(at(usual, 25) == Approx(1).epsilon(1e-14));

    // A value that rises with the temperature is followed between the tests, and held outside.
    const std::vector<double> rising = {1, 2};
    CHECK(at(rising, 17.5) > 1.4);
    CHECK(at(rising, -10) == 1.0);
    CHECK(at(rising, 40) == 2.0);

    // 1 : 100 over 15 K would be 200 kJ/mol; outside, 80 kJ/mol hold.
    const std::vector<double> steep = {100, 1};
    const double slope_K = 80e3 / 8.314462618;
    CHECK(at(steep, 5) == Approx(100 * std::exp(slope_K * (inverse_K(5) - inverse_K(10)))));
    CHECK(at(steep, 40) == Approx(std::exp(slope_K * (inverse_K(40) - inverse_K(25)))));
    CHECK(at(steep, -15) == 100 * arrhenius_largest_factor);

    // One tested temperature: nothing is known about others.
    CHECK(arrhenius_value({25}, {0.02}, -20) == 0.02);
    // A third temperature changes the line on its own side only.
    CHECK(arrhenius_value({0, 10, 25}, {9, 1.533, 1}, 20) == Approx(at(usual, 20)).epsilon(1e-14));
}

TEMPLATE_TEST_CASE("tables hold the tested values at tested temperatures and SOCs", "",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    for (const ArrheniusRow& row : arrhenius_rows) {
        const Cell cell = cell_of(row.ratios, 2);
        const CellTables<Real, 2> tables(cell);
        const CellParameters<Real, 2> parameters = tables.parameters();
        for (std::size_t t = 0; t != row.ratios.size(); ++t) {
            for (std::size_t s = 0; s != cell.resistance.soc.size(); ++s) {
                const auto point =
                    resistance_at(parameters.resistance, static_cast<Real>(cell.resistance.soc[s]),
                                  static_cast<Real>(row.ratios[t].temperature_degC));
                INFO(row.activation_energy_J_per_mol << " J/mol, row " << t << ", column " << s);
                const auto share = [](Real value, double expected) {
                    return std::abs(static_cast<double>(value) / expected - 1);
                };
                // Every tested temperature is a node of the table.
                CHECK(share(point.value.r0_ohm, cell.resistance.r0_ohm[t][s]) <= rounding<Real>);
                for (std::size_t i = 0; i != 2; ++i) {
                    const auto& branch = cell.resistance.branches[i];
                    CHECK(share(point.value.branch_ohm[i], branch.resistance_ohm[t][s]) <=
                          rounding<Real>);
                    CHECK(share(point.value.branch_time_s[i], branch.time_s[t][s]) <=
                          rounding<Real>);
                }
                CHECK(point.temperature_inside);
            }
        }
    }
}

TEMPLATE_TEST_CASE("tables meet the tabulated ratios at temperatures that were not tested", "",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    for (const ArrheniusRow& row : arrhenius_rows) {
        const Ratio& cold = at_temperature(row, 0);
        const Ratio& warm = at_temperature(row, 25);
        const CellTables<Real, 1> tables(cell_of({cold, warm}, 1));
        const CellParameters<Real, 1> parameters = tables.parameters();
        for (const Ratio& wanted : row.ratios) {
            INFO(row.activation_energy_J_per_mol << " J/mol at " << wanted.temperature_degC);
            const auto point = resistance_at(parameters.resistance, Real(0.5),
                                             static_cast<Real>(wanted.temperature_degC));
            const double expected_ohm = r25_ohm * wanted.ratio;
            const double open = 1.001 * open_share(wanted, cold, warm) + rounding<Real>;
            CHECK(std::abs(static_cast<double>(point.value.r0_ohm) / expected_ohm - 1) <= open);
        }
    }
}

TEMPLATE_TEST_CASE("straight lines between the nodes stay within 1 % of the Arrhenius law", "",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    // The steepest usual law, tested across the whole range so that nothing is held.
    constexpr double activation_K = 50e3 / 8.314462618;
    const auto law = [](double degC) {
        return std::exp(activation_K * (inverse_K(degC) - inverse_K(25)));
    };
    std::vector<Ratio> tested;
    for (const double degC : {-35.0, 0.0, 25.0, 60.0})
        tested.push_back({degC, law(degC), 0});
    const CellTables<Real, 1> tables(cell_of(tested, 1));
    const CellParameters<Real, 1> parameters = tables.parameters();
    double largest = 0;
    for (double degC = -35; degC <= 60; degC += 0.25) {
        const auto value = static_cast<double>(
            resistance_at(parameters.resistance, Real(0.5), static_cast<Real>(degC)).value.r0_ohm);
        const double share = value / (r25_ohm * law(degC)) - 1;
        INFO(degC << " degC");
        CHECK(share > -1e-5);  // a straight line lies above a curve of this kind
        CHECK(share < 0.01);
        largest = std::max(largest, share);
    }
    CHECK(largest > 0.005);  // the comparison does reach between the nodes
}

TEMPLATE_TEST_CASE("uneven SOCs are followed by a finer table", "", VOLTKEEL_SCALARS) {
    using Real = TestType;
    Cell cell = cell_of({{25, 1, 0}}, 1);
    cell.resistance.soc = {0, 0.05, 0.5, 0.9, 1};
    const CellTables<Real, 1> tables(cell);
    const CellParameters<Real, 1> parameters = tables.parameters();
    const auto r0_ohm = [&](double soc) {
        return static_cast<double>(
            resistance_at(parameters.resistance, static_cast<Real>(soc), Real(-20)).value.r0_ohm);
    };
    for (std::size_t s = 0; s != cell.resistance.soc.size(); ++s) {
        CHECK(r0_ohm(cell.resistance.soc[s]) ==
              Approx(cell.resistance.r0_ohm[0][s]).epsilon(100 * rounding<Real>));
    }
    // Half way between SOC 0.05 (1.2 times) and 0.5 (once), by hand.
    CHECK(r0_ohm(0.275) == Approx(1.1 * r25_ohm).epsilon(100 * rounding<Real>));
}

TEMPLATE_TEST_CASE("the OCV of the tables is that of the cell", "", VOLTKEEL_SCALARS) {
    using Real = TestType;
    const Cell cell = cell_of({{25, 1, 0}}, 1);
    const CellTables<Real, 1> tables(cell);
    const CellParameters<Real, 1> parameters = tables.parameters();
    CHECK(parameters.ocv.reference_temperature_degC == Real(24));
    for (std::size_t k = 0; k != cell.ocv.soc.size(); ++k) {
        const auto point = ocv_at(parameters.ocv, static_cast<Real>(cell.ocv.soc[k]), Real(24));
        INFO(k);
        const double tolerance = 100 * rounding<Real>;
        CHECK(static_cast<double>(point.mean_V + point.half_gap_V) ==
              Approx(cell.ocv.charge_V[k]).epsilon(tolerance));
        CHECK(static_cast<double>(point.mean_V - point.half_gap_V) ==
              Approx(cell.ocv.discharge_V[k]).epsilon(tolerance));
        CHECK(static_cast<double>(point.entropy_V_per_K) ==
              Approx(cell.ocv.entropy_V_per_K[k]).epsilon(tolerance).margin(1e-9));
    }
    // A quarter of the way from SOC 0.1 to 0.45, and 10 K warmer than the reference, by hand:
    // discharge 3.375 V, charge 3.42 V, entropy 25 uV/K.
    const auto point = ocv_at(parameters.ocv, Real(0.1875), Real(34));
    CHECK(static_cast<double>(point.mean_V) == Approx(3.3975 + 0.00025).margin(2e-6));
    CHECK(static_cast<double>(point.half_gap_V) == Approx(0.0225).margin(2e-6));

    Cell unmeasured = cell;
    unmeasured.ocv.entropy_V_per_K.clear();
    const CellTables<Real, 1> without(unmeasured);
    CHECK(ocv_at(without.parameters().ocv, Real(0.2), Real(50)).entropy_V_per_K == Real(0));
}

TEMPLATE_TEST_CASE_SIG("parameters, limits and charge plan arrive unchanged", "",
                       ((class Real, int Branches), Real, Branches), (float, 1), (float, 4),
                       (double, 2), (double, 3)) {
    const Cell cell = cell_of({{0, 2, 0}, {25, 1, 0}}, Branches);
    CellTables<Real, Branches> first(cell);
    const CellTables<Real, Branches> tables(std::move(first));  // views must follow the move
    const CellParameters<Real, Branches> parameters = tables.parameters();
    CHECK(validate(parameters).status == voltkeel::Status::ok);
    CHECK(parameters.capacity_Ah == static_cast<Real>(4.95));
    CHECK(parameters.coulombic_efficiency == static_cast<Real>(0.999));
    CHECK(parameters.self_discharge_per_s == static_cast<Real>(1e-9));
    CHECK(parameters.hysteresis_rate == Real(30));
    CHECK(parameters.charge_rise.soc_start == static_cast<Real>(0.85));
    CHECK(parameters.charge_rise.resistance_ohm == static_cast<Real>(0.01));
    CHECK(parameters.thermal.heat_capacity_J_per_K == Real(68));
    CHECK(parameters.thermal.core_resistance_K_per_W == Real(1.5));
    CHECK(parameters.thermal.core_heat_capacity_J_per_K == Real(60));
    CHECK(parameters.thermal.resistance_K_per_W == Real(9));
    for (int i = 0; i != Branches; ++i) {
        const auto value = resistance_at(parameters.resistance, Real(0.5), Real(25)).value;
        CHECK(static_cast<double>(value.branch_ohm[i]) == Approx(0.01 * (i + 1)).epsilon(1e-6));
        CHECK(static_cast<double>(value.branch_time_s[i]) ==
              Approx(std::pow(10.0, i + 1)).epsilon(1e-6));
    }

    const voltkeel::CellLimits<Real> limits = tables.limits();
    CHECK(limits.window.voltage_min_V == static_cast<Real>(2.5));
    CHECK(limits.window.voltage_max_V == static_cast<Real>(4.2));
    CHECK(limits.window.soc_min == static_cast<Real>(0.02));
    CHECK(limits.window.soc_max == static_cast<Real>(0.98));
    CHECK(limits.window.charge_temperature_min_degC == Real(1));
    CHECK(limits.window.charge_temperature_max_degC == Real(44));
    CHECK(limits.window.discharge_temperature_min_degC == Real(-19));
    CHECK(limits.window.discharge_temperature_max_degC == Real(59));
    REQUIRE(limits.table_count == 2);
    const voltkeel::CurrentTable<Real>& table = limits.tables[0];
    CHECK(table.duration_s == Real(10));
    REQUIRE(table.temperature_count == 2);
    REQUIRE(table.soc_count == 3);
    CHECK(table.temperature_degC[1] == Real(25));
    CHECK(table.soc[1] == Real(0.5));
    for (int k = 0; k != 6; ++k) {
        CHECK(table.charge_A[k] == static_cast<Real>(k + 1));
        CHECK(table.discharge_A[k] == static_cast<Real>(k + 7));
    }
    CHECK(limits.tables[1].duration_s == Real(30));
    CHECK(limits.tables[1].discharge_A[0] == Real(6));

    const voltkeel::ChargePlan<Real>& plan = tables.charge_plan();
    REQUIRE(plan.zone_count == 2);
    CHECK(plan.end_current_A == static_cast<Real>(0.25));
    CHECK(plan.zones[0].current_A == static_cast<Real>(2.4));
    CHECK(plan.zones[1].temperature_min_degC == Real(10));
    CHECK(plan.zones[1].temperature_max_degC == Real(44));
    CHECK(plan.zones[1].voltage_V == static_cast<Real>(4.2));
}

TEST_CASE("a cell that is not usable makes no tables") {
    const Cell good = cell_of({{0, 2, 0}, {25, 1, 0}}, 1);
    CHECK(refusal(good).empty());
    const auto broken = [&](auto change) {
        Cell cell = good;
        change(cell);
        return refusal(cell);
    };
    CHECK(refusal(cell_of({{25, 1, 0}}, 2)) ==
          "resistance.branches: has 2 branches, this model has 1");
    CHECK(broken([](Cell& c) { c.resistance.branches.clear(); }) ==
          "resistance.branches: has 0 branches, must have 1 to 4");
    CHECK_THAT(broken([](Cell& c) { c.resistance.r0_ohm[1][2] = -0.01; }),
               Catch::StartsWith("resistance.r0_ohm[1][2]: -0.01 is outside "));
    CHECK_THAT(broken([](Cell& c) { c.resistance.branches[0].time_s[0][0] = 0; }),
               Catch::StartsWith("resistance.branches[0].time_s[0][0]: 0 is outside "));
    CHECK_THAT(broken([](Cell& c) { c.coulombic_efficiency = 0.4; }),
               Catch::StartsWith("coulombic_efficiency"));
    CHECK_THAT(broken([](Cell& c) { c.thermal.resistance_K_per_W = 0; }),
               Catch::StartsWith("thermal.resistance_K_per_W"));
    CHECK_THAT(broken([](Cell& c) {
                   c.thermal.core_resistance_K_per_W = 2;
                   c.thermal.core_heat_capacity_J_per_K = c.thermal.heat_capacity_J_per_K;
               }),
               Catch::StartsWith("thermal.core_heat_capacity_J_per_K"));
    CHECK_THAT(broken([](Cell& c) { c.ocv.discharge_V[2] = 3.2; }),
               Catch::StartsWith("ocv.discharge_V[2]: 3.2 is not above"));
    CHECK_THAT(broken([](Cell& c) { c.window.voltage_max_V = 2; }),
               Catch::StartsWith("limits.voltage_min_V: "));
    CHECK_THAT(broken([](Cell& c) { c.current_limits[1].duration_s = 10; }),
               Catch::StartsWith("limits.current_tables[1].duration_s: "));
    CHECK_THAT(broken([](Cell& c) { c.charge.zones[1].temperature_min_degC = 9; }),
               Catch::StartsWith("charge.zones.temperature_min_degC[1]: "));
}

TEST_CASE("the branch count of a cell picks the model") {
    for (std::size_t count = 1; count <= 4; ++count) {
        for (const bool transfer : {false, true}) {
            const auto form = voltkeel::with_form(count, transfer, [](auto f) {
                return std::pair{decltype(f)::branches, decltype(f)::transfer};
            });
            CHECK(form.first == static_cast<int>(count));
            CHECK(form.second == transfer);
        }
    }
    const auto branches = [](auto form) { return decltype(form)::branches; };
    CHECK_THROWS_AS(voltkeel::with_form(0, false, branches), Error);
    CHECK_THROWS_AS(voltkeel::with_form(5, true, branches), Error);
}
