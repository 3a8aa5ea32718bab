// The OCV of a 5 Ah 21700 cell, NMC 811 against graphite with silicon oxide.
//
// Source: Chen et al., J. Electrochem. Soc. 167 (2020) 080534: both electrode curves with the
// coefficients of the paper; windows x 0.0279..0.9014 and y 0.9084..0.2661 for empty to full
// (windows from memory, not re-read). The tables of values were computed from these curves with 30
// digits.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "support/example_cell.hpp"
#include "support/published_curves.hpp"
#include "voltkeel/cell/ocv.hpp"

using voltkeel::OcvNode;
using voltkeel::OcvTable;
using voltkeel::Status;
using voltkeel_test::apart;
using voltkeel_test::Curve21700;

namespace {

double negative_V(double x) {
    return Curve21700::negative_V(x);
}
double positive_V(double y) {
    return Curve21700::positive_V(y);
}
double curve_V(double soc) {
    return Curve21700::ocv_V(soc);
}

std::vector<OcvNode<double>> sampled(int intervals) {
    std::vector<OcvNode<double>> nodes;
    for (int k = 0; k <= intervals; ++k)
        nodes.push_back({curve_V(static_cast<double>(k) / intervals), 0, 0});
    return nodes;
}

/// Largest distance of the table from the curve between two SOCs.
double worst_V(const OcvTable<double>& table, double from, double to) {
    double worst = 0;
    for (double soc = from; soc <= to; soc += 1e-4)
        worst = std::max(worst, apart(voltkeel::ocv_at(table, soc, 25.0).mean_V, curve_V(soc)));
    return worst;
}

struct Row {
    double at;
    double value_V;
};

const Row whole_cell[] = {{0.0, 2.49766}, {0.1, 3.25772}, {0.2, 3.44930}, {0.3, 3.54830},
                          {0.4, 3.63431}, {0.5, 3.70776}, {0.6, 3.80892}, {0.7, 3.92364},
                          {0.8, 4.02154}, {0.9, 4.09405}, {1.0, 4.19291}};

}  // namespace

TEST_CASE("the electrode curves are typed in right", "[ocv]") {
    for (const Row& row : {Row{0.03, 1.0112918},
                           {0.1, 0.40651611},
                           {0.2, 0.21698622},
                           {0.3, 0.16297316},
                           {0.5, 0.13308551},
                           {0.7, 0.092193655},
                           {0.9, 0.092020002}}) {
        CAPTURE(row.at);
        CHECK(apart(negative_V(row.at), row.value_V) < 5.1e-8);
    }
    for (const Row& row : {Row{0.27, 4.2729576},
                           {0.3, 4.2053944},
                           {0.4, 4.1047468},
                           {0.5, 3.9719587},
                           {0.6, 3.8244740},
                           {0.7, 3.7304027},
                           {0.8, 3.6491105},
                           {0.9, 3.5682003}}) {
        CAPTURE(row.at);
        CHECK(apart(positive_V(row.at), row.value_V) < 5.1e-8);
    }
}

TEST_CASE("the table gives the published curve", "[ocv]") {
    for (const int intervals : {20, 200}) {
        const auto nodes = sampled(intervals);
        const OcvTable<double> table{nodes.data(), intervals + 1, 25};
        for (const Row& row : whole_cell) {
            CAPTURE(intervals, row.at);
            CHECK(apart(voltkeel::ocv_at(table, row.at, 25.0).mean_V, row.value_V) < 5.1e-6);
        }
    }
    // The same in float, to the digits a float has.
    std::vector<OcvNode<float>> nodes;
    for (int k = 0; k <= 200; ++k)
        nodes.push_back({static_cast<float>(curve_V(k / 200.0)), 0, 0});
    const OcvTable<float> table{nodes.data(), 201, 25};
    for (const Row& row : whole_cell) {
        CAPTURE(row.at);
        CHECK(apart(voltkeel::ocv_at(table, static_cast<float>(row.at), 25.0F).mean_V,
                    row.value_V) < 6e-6);
    }
}

TEST_CASE("between nodes the table is as close as straight lines can be", "[ocv]") {
    const auto coarse = sampled(20);
    const auto fine = sampled(200);
    const OcvTable<double> every_5{coarse.data(), 21, 25};
    const OcvTable<double> every_half{fine.data(), 201, 25};
    // h^2/8 of the largest second derivative there, taken from the curve itself.
    const auto bound_V = [](double spacing, double from, double to) {
        double steepest = 0;
        for (double soc = from; soc <= to; soc += 1e-4) {
            steepest = std::max(
                steepest,
                std::abs(curve_V(soc + 1e-4) - 2 * curve_V(soc) + curve_V(soc - 1e-4)) / 1e-8);
        }
        return spacing * spacing / 8 * steepest;
    };
    for (const Row& part : {Row{0.1, 0.95}, Row{0.25, 0.9}}) {
        const double from = part.at;
        const double to = part.value_V;
        CAPTURE(from, to, worst_V(every_5, from, to), worst_V(every_half, from, to));
        CHECK(worst_V(every_5, from, to) <= 1.01 * bound_V(0.05, from, to));
        CHECK(worst_V(every_half, from, to) <= 1.01 * bound_V(0.005, from, to));
        CHECK(worst_V(every_half, from, to) < worst_V(every_5, from, to) / 30);
        CHECK(worst_V(every_5, from, to) > 1e-4);
    }
    // What that means in use: on the plateau 0.5 % steps are right to 0.1 mV.
    CHECK(worst_V(every_half, 0.25, 0.9) < 1e-4);
}

TEST_CASE("the curve rises, and its inverse finds the SOC", "[ocv]") {
    const auto nodes = sampled(200);
    for (std::size_t k = 1; k < nodes.size(); ++k)
        REQUIRE(nodes[k].mean_V > nodes[k - 1].mean_V);
    const OcvTable<double> table{nodes.data(), 201, 25};
    for (const Row& row : whole_cell) {
        if (row.at < 0.05 || row.at > 0.95) continue;
        double soc = -1;
        REQUIRE(voltkeel::soc_from_ocv(table, row.value_V, 25.0, 0.0, soc) == Status::ok);
        const double slope_V = (curve_V(row.at + 0.005) - curve_V(row.at - 0.005)) / 0.01;
        CAPTURE(row.at, soc, slope_V);
        // The published voltages end after five decimals.
        CHECK(apart(soc, row.at) < 6e-6 / slope_V);
    }
    double soc = -1;
    CHECK(voltkeel::soc_from_ocv(table, 2.4, 25.0, 0.0, soc) == Status::voltage_out_of_range);
    CHECK(soc == 0);
    CHECK(voltkeel::soc_from_ocv(table, 4.25, 25.0, 0.0, soc) == Status::voltage_out_of_range);
    CHECK(soc == 1);
}
