// Two more published OCV forms, the curves that a data sheet is drawn with, and Arrhenius' law.

#include <Eigen/Dense>
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "support/example_cell.hpp"
#include "support/published_curves.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/cell/ocv.hpp"
#include "voltkeel/fit/data_sheet.hpp"
#include "voltkeel/io/cell.hpp"

using voltkeel::Chemistry;
using voltkeel::OcvNode;
using voltkeel::OcvTable;
using voltkeel::published_ocv_V;
using voltkeel::Status;
using voltkeel_test::apart;
using voltkeel_test::Curve21700;
using voltkeel_test::CurvePolymer;

namespace {

struct Row {
    double soc;
    double ocv_V;
    double slope_V;
};

// Computed from the published form with 30 digits.
const Row polymer[] = {
    {0.0, 2.654, 36.3006},        {0.1, 3.6745686, 1.2913156},  {0.2, 3.7250286, 0.23979726},
    {0.3, 3.7476923, 0.23234065}, {0.4, 3.7728775, 0.27503801}, {0.5, 3.8033625, 0.33787591},
    {0.6, 3.8410936, 0.41994803}, {0.7, 3.8879923, 0.5212270},  {0.8, 3.9459792, 0.6417120},
    {0.9, 4.0169749, 0.7814030},  {1.0, 4.1029, 0.9403}};

std::vector<OcvNode<double>> nodes_of(double (*curve_V)(double), int intervals) {
    std::vector<OcvNode<double>> nodes;
    for (int k = 0; k <= intervals; ++k)
        nodes.push_back({curve_V(static_cast<double>(k) / intervals), 0, 0});
    return nodes;
}

std::vector<double> soc_axis(int intervals) {
    std::vector<double> soc;
    for (int k = 0; k <= intervals; ++k)
        soc.push_back(static_cast<double>(k) / intervals);
    return soc;
}

}  // namespace

TEST_CASE("the table gives the polymer cell's curve and slope", "[ocv]") {
    const auto nodes = nodes_of(CurvePolymer::ocv_V, 1000);
    const OcvTable<double> table{nodes.data(), 1001, 25};
    for (const Row& row : polymer) {
        CAPTURE(row.soc);
        CHECK(apart(CurvePolymer::ocv_V(row.soc), row.ocv_V) < 5.1e-8);
        CHECK(apart(CurvePolymer::slope_V(row.soc), row.slope_V) < 5.1e-7 * (1 + row.slope_V));
        CHECK(apart(voltkeel::ocv_at(table, row.soc, 25.0).mean_V, row.ocv_V) < 5.1e-8);
        // Forward difference over 1e-3: half a step times the second derivative off.
        if (row.soc < 1) {
            const double bound_V = 0.5e-3 * (1.031 * 35 * 35 * std::exp(-35 * row.soc) + 2);
            CHECK(apart(voltkeel::ocv_at(table, row.soc + 1e-9, 25.0).slope_V, row.slope_V) <
                  bound_V);
        }
        double soc = -1;
        REQUIRE(voltkeel::soc_from_ocv(table, CurvePolymer::ocv_V(row.soc), 25.0, 0.0, soc) ==
                Status::ok);
        CHECK(apart(soc, row.soc) < 1e-12);
    }
}

TEST_CASE("the polymer cell's pulse is the sum of its two published branches", "[model]") {
    // At half charge: R0 74.4608, R1 46.6902 mohm with 32.810 s, R2 49.84 mohm with 223.034 s.
    const double soc = 0.5;
    const double r0 = CurvePolymer::r0_ohm(soc);
    const double r1 = CurvePolymer::r1_ohm(soc);
    const double r2 = CurvePolymer::r2_ohm(soc);
    const double tau1_s = r1 * CurvePolymer::c1_F(soc);
    const double tau2_s = r2 * CurvePolymer::c2_F(soc);
    CHECK(apart(r0, 0.0744608) < 5.1e-8);
    CHECK(apart(r1, 0.0466902) < 5.1e-8);
    CHECK(apart(r2, 0.04984) < 5.1e-8);
    CHECK(apart(tau1_s, 32.810) < 5.1e-4);
    CHECK(apart(tau2_s, 223.034) < 5.1e-4);
    voltkeel_test::LinearShape shape;
    shape.r0_ohm = r0;
    shape.branch_ohm[0] = r1;
    shape.branch_ohm[1] = r2;
    shape.branch_time_s[0] = tau1_s;
    shape.branch_time_s[1] = tau2_s;
    const auto owned = voltkeel_test::linear_cell<double, 2>(shape);
    for (const double pulse_s : {1.0, 10.0, 60.0, 600.0}) {
        voltkeel::CellState<double, 2> state;
        state.soc = soc;
        voltkeel::step(owned.view(), {-0.4, pulse_s, 25}, state);
        const double over_V = voltage_at(owned.view(), state, -0.4, 25.0).overvoltage_V;
        const double expected_V = -0.4 * (r0 + r1 * (1 - std::exp(-pulse_s / tau1_s)) +
                                          r2 * (1 - std::exp(-pulse_s / tau2_s)));
        CAPTURE(pulse_s);
        CHECK(apart(over_V, expected_V) < 1e-15);
    }
}

TEST_CASE("a data sheet is drawn with the published curves", "[data sheet]") {
    const std::vector<double> soc = soc_axis(20);
    // At the voltages where the published curves end by themselves nothing is drawn.
    const auto nmc_V =
        published_ocv_V(Chemistry::nmc, Curve21700::ocv_V(0), Curve21700::ocv_V(1), soc);
    const auto lco_V =
        published_ocv_V(Chemistry::lco, CurvePolymer::ocv_V(0), CurvePolymer::ocv_V(1), soc);
    for (std::size_t k = 0; k < soc.size(); ++k) {
        CAPTURE(soc[k]);
        CHECK(apart(nmc_V[k], Curve21700::ocv_V(soc[k])) < 1e-11);
        CHECK(apart(lco_V[k], CurvePolymer::ocv_V(soc[k])) < 1e-11);
    }
    // Iron phosphate at every tenth, from common tables (from memory, not re-read); the plateau
    // 3.27 to 3.32 V between 20 and 80 %, read on a teaching page, with 20 mV for its tables.
    const double tenths_V[] = {2.80, 3.20, 3.25, 3.28, 3.29, 3.30, 3.31, 3.33, 3.335, 3.34, 3.42};
    const auto lfp_V = published_ocv_V(Chemistry::lfp, 2.80, 3.42, soc_axis(10));
    const auto drawn_V = published_ocv_V(Chemistry::lfp, 2.5, 3.65, soc_axis(10));
    for (std::size_t k = 0; k <= 10; ++k) {
        CAPTURE(k);
        CHECK(apart(lfp_V[k], tenths_V[k]) < 1e-12);
        if (k > 0 && k < 10) CHECK(apart(drawn_V[k], tenths_V[k]) < 2e-5);
        if (k >= 2 && k <= 8) CHECK((drawn_V[k] > 3.25 - 1e-4 && drawn_V[k] < 3.34));
    }
    CHECK(apart(drawn_V.front(), 2.5) < 1e-12);
    CHECK(apart(drawn_V.back(), 3.65) < 1e-12);
}

TEST_CASE("the polynomial-logarithm form meets the 21700 curve", "[ocv]") {
    // OCV = k0 + k1/s + .. + k4/s^4 + k5 s + k6 ln s + k7 ln(1 - s), s scaled into (eps, 1 - eps):
    // Pattipati et al., J. Power Sources 269 (2014) 317. How close the form comes to the curve
    // between 5 and 95 % was computed from the curve itself with NumPy's least squares: 6.1522,
    // 5.2383 and 5.8200 mV rms (no eps gets below 5.2 mV). Our table must show the same.
    const auto nodes = nodes_of(Curve21700::ocv_V, 200);
    const OcvTable<double> table{nodes.data(), 201, 25};
    const struct {
        double eps, rms_V;
    } computed[] = {{0.01, 6.1522e-3}, {0.1, 5.2383e-3}, {0.3, 5.8200e-3}};
    for (const auto& row : computed) {
        constexpr int rows = 181;
        Eigen::MatrixXd a(rows, 8);
        Eigen::VectorXd voltage_V(rows);
        for (int k = 0; k < rows; ++k) {
            const double soc = 0.05 + 0.9 * k / (rows - 1);
            const double s = row.eps + (1 - 2 * row.eps) * soc;
            a.row(k) << 1, 1 / s, 1 / (s * s), 1 / (s * s * s), 1 / (s * s * s * s), s, std::log(s),
                std::log(1 - s);
            voltage_V[k] = voltkeel::ocv_at(table, soc, 25.0).mean_V;
        }
        const Eigen::VectorXd x = a.colPivHouseholderQr().solve(voltage_V);
        const double rms_V = std::sqrt((a * x - voltage_V).squaredNorm() / rows);
        CAPTURE(row.eps, rms_V);
        CHECK(apart(rms_V, row.rms_V) < 1e-7);
    }
}

TEST_CASE("resistances grow in the cold by the published ratios", "[cell]") {
    // R(T) / R(25 degC), computed with the gas constant 8.314462618 J/(mol K) from 298.15 K.
    struct Ratios {
        double activation_J_per_mol;
        std::array<double, 5> ratio;  // 45, 10, 0, -10, -20 degC
    };
    const std::array<double, 5> temperature_degC{45, 10, 0, -10, -20};
    for (const Ratios& row : {Ratios{20e3, {0.602, 1.533, 2.093, 2.924, 4.196}},
                              {30e3, {0.467, 1.899, 3.027, 5.001, 8.595}},
                              {50e3, {0.281, 2.911, 6.335, 14.62, 36.07}}}) {
        const auto grown = [&](double degC) {
            return std::exp(row.activation_J_per_mol / 8.314462618 *
                            (1 / (degC + 273.15) - 1 / 298.15));
        };
        for (std::size_t k = 0; k < temperature_degC.size(); ++k) {
            const double degC = temperature_degC[k];
            CAPTURE(row.activation_J_per_mol, degC);
            // The last printed digit of each ratio.
            const double digit = row.ratio[k] > 10 ? 0.0051 : 0.00051;
            // Between two tested temperatures.
            const double between =
                voltkeel::arrhenius_value({-25, 50}, {grown(-25), grown(50)}, degC);
            CHECK(apart(between, row.ratio[k]) < digit);
            CHECK(apart(between / grown(degC), 1.0) < 1e-12);
            // Beyond the tested ones, as far as it is drawn: 25 K, and a factor of six.
            const double beyond = voltkeel::arrhenius_value({25, 60}, {1, grown(60)}, degC);
            if (degC < 0 || row.ratio[k] > voltkeel::arrhenius_largest_factor) {
                CHECK(beyond <=
                      std::min(grown(0), voltkeel::arrhenius_largest_factor) * (1 + 1e-12));
            } else {
                CHECK(apart(beyond, row.ratio[k]) < digit);
            }
        }
    }
}
