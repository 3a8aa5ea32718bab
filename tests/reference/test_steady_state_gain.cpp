// The filter left running at one point settles at the gain of the Riccati equation.
//
// Source: computed with 30 digits by solving the discrete algebraic Riccati equation for
// A = diag(1, exp(-1/30)), C = (0.6, -1), Q = diag(1e-10, 1e-8), R = 1e-4. There the branch voltage
// counts positive in discharge; here it is negative, which turns its gain and covariance with the
// SOC.

#include <catch2/catch.hpp>
#include <cmath>

#include "support/example_cell.hpp"
#include "voltkeel/estimate/soc_filter.hpp"

using voltkeel::SocFilter;
using voltkeel::SocFilterSettings;
using voltkeel::Status;
using voltkeel_test::apart;

TEST_CASE("forty thousand steps settle at the steady-state gain", "[soc_filter]") {
    voltkeel_test::LinearShape shape;
    shape.ocv_empty_V = 3.4;
    shape.ocv_full_V = 4.0;
    const auto owned = voltkeel_test::linear_cell<double, 1>(shape);
    const double kept = std::exp(-1.0 / 30);
    SocFilterSettings<double> settings;
    settings.voltage_std_V = 0.01;
    settings.overvoltage_share_std = 0;
    settings.update_interval_s = 0;
    settings.gate = 100;
    settings.soc_std_per_sqrt_h = std::sqrt(1e-10 * 3600);
    settings.branch_share_std = 0;
    settings.rest_std_V = std::sqrt(1e-8 / (1 - kept * kept));
    settings.log_scale_std_per_sqrt_h = 0;
    settings.log_scale_std_initial = 0;
    settings.hysteresis_std_initial = 0;
    settings.hysteresis_std_walked = 0;
    settings.soc_std_floor = 0;

    SocFilter<double, 1> filter;
    REQUIRE(filter.configure(owned.view(), settings) == Status::ok);
    REQUIRE(filter.start(0.5, 0.01, 25) == Status::ok);
    const auto& s = filter.state();
    double early = 0;
    for (int k = 0; k < 40000; ++k) {
        // At rest, on the voltage it expects: the state stays and the covariance settles.
        (void)filter.step({0, 3.7, 25, 1});
        if (k == 4000) early = s.covariance(0, 0);
    }
    // A short loop does not get there: that is the point of the numbers.
    CHECK(early > 1.01 * 1.74069416138e-7);
    CHECK(apart(s.covariance(0, 0), 1.74069416138e-7) < 1e-9 * 1.74069416138e-7);
    CHECK(apart(s.covariance(0, 1), -4.54611474566e-9) < 1e-9 * 4.54611474566e-9);
    CHECK(apart(s.covariance(1, 1), 1.51611343796e-7) < 1e-9 * 1.51611343796e-7);

    const auto& e = filter.step({0, 3.7 + 1e-3, 25, 1});
    REQUIRE(e.updated);
    CHECK(apart(e.innovation_V, 1e-3) < 1e-9);
    CHECK(apart(e.innovation_std_V * e.innovation_std_V, 1.00209257970e-4) < 5.1e-16);
    CHECK(apart((s.cell.soc - 0.5) / e.innovation_V, 0.000998955349373) < 1e-9);
    CHECK(apart(s.cell.branch_V[0] / e.innovation_V, 0.00148883674949) < 1e-9);
    // Before the update one process noise is on top, and the branch has decayed once.
    CHECK(apart(s.covariance(0, 0) + 1e-10, 1.74169416138e-7) < 1e-9 * 1.74169416138e-7);
    CHECK(apart(kept * s.covariance(0, 1), -4.39707537664e-9) < 1e-9 * 4.39707537664e-9);
    CHECK(apart(kept * kept * s.covariance(1, 1) + 1e-8, 1.51833471131e-7) <
          1e-9 * 1.51833471131e-7);
}
