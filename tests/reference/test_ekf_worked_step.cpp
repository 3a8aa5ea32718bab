// One step of an extended Kalman filter, worked by hand.
//
// Source: the numbers are computed with 30 digits from the textbook recursion
//   P- = A P A' + Q,  S = C P- C' + R,  K = P- C' / S,  x+ = x- + K e,  P+ in Joseph form
// (Bar-Shalom, Li, Kirubarajan, Estimation with Applications to Tracking and Navigation, 2001, ch.
// 5; from memory, not re-read) for a 3 Ah cell with OCV = 3.4 + 0.8 soc, R0 30 mohm, R1 20 mohm,
// tau 30 s: dt 1 s, x = (0.5, 0), P = diag(1e-2, 1e-4), Q = diag(1e-10, 1e-8), R = 1e-4, 3 A of
// discharge, 3.700 V measured. That text counts discharge and the branch voltage positive; here
// both are negative, which turns the sign of the branch and of its covariance with the SOC.

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>

#include "support/example_cell.hpp"
#include "voltkeel/estimate/soc_filter.hpp"

using voltkeel::SocFilter;
using voltkeel::SocFilterSettings;
using voltkeel::Status;
using voltkeel_test::apart;

TEST_CASE("one filter step equals the worked one", "[soc_filter]") {
    // The filter offers no way to set a covariance, and the worked one (branch at 0 V with 10 mV of
    // spread, but 0.1 mV of process noise) is not one it starts from. So the branch is brought
    // there with two short coasting steps at another temperature, where the same branch is large
    // and fast: current up, then half of it back, over ln 2 time constants each. That leaves
    //   u = R I / 4 - R I / 4 = 0,   var = (3/16 + 3/16) (share R I)^2 = 3/8 (share R I)^2.
    constexpr double dt_s = 1;
    const double kept = std::exp(-dt_s / 30);
    SocFilterSettings<double> settings;
    settings.voltage_std_V = 0.01;
    settings.overvoltage_share_std = 0;
    settings.update_interval_s = 0;
    settings.gate = 100;
    settings.soc_std_per_sqrt_h = std::sqrt(1e-10 * 3600);
    // Process noise of the branch: (1 - a^2) (share R1 |I|)^2 = 1e-8.
    settings.branch_share_std = std::sqrt(1e-8 / (1 - kept * kept)) / (0.02 * 3);
    settings.log_scale_std_per_sqrt_h = 0;
    settings.log_scale_std_initial = 0;
    settings.hysteresis_std_initial = 0;
    settings.hysteresis_std_walked = 0;
    settings.rest_std_V = 0;
    settings.soc_std_floor = 0;

    const double fast_s = 0x1p-9;  // a power of two: its table entry is read back without rounding
    const double large_ohm = 1;
    auto owned = voltkeel_test::linear_cell<double, 1>();
    for (const std::size_t warm : {2U, 3U}) {  // nodes at 60 degC; those at -20 degC are the cell's
        owned.resistance[warm].branch_ohm[0] = large_ohm;
        owned.resistance[warm].branch_time_s[0] = fast_s;
    }
    const double up_A = std::sqrt(1e-4 * 8 / 3) / (settings.branch_share_std * large_ohm);
    const double half_s = fast_s * std::log(2.0);
    const double moved_soc = (up_A - up_A / 2) * half_s / (3600 * 3);
    const double moved_var = 1e-10 * 2 * half_s;

    SocFilter<double, 1> filter;
    REQUIRE(filter.configure(owned.view(), settings) == Status::ok);
    REQUIRE(filter.start(0.5 - moved_soc, std::sqrt(1e-2 - moved_var), 60) == Status::ok);
    const double none = std::numeric_limits<double>::quiet_NaN();
    (void)filter.step({up_A, none, 60, half_s});
    (void)filter.step({-up_A / 2, none, 60, half_s});
    const auto& s = filter.state();
    REQUIRE(apart(s.cell.soc, 0.5) < 1e-14);
    REQUIRE(apart(s.cell.branch_V[0], 0) < 2e-15);
    REQUIRE(apart(s.covariance(0, 0), 1e-2) < 1e-15);
    REQUIRE(apart(s.covariance(1, 1), 1e-4) < 1e-15);
    REQUIRE(s.covariance(0, 1) == 0);

    const auto& e = filter.step({-3, 3.700, -20, dt_s});
    REQUIRE(e.updated);
    CHECK(apart(e.voltage_predicted_V, 3.70781074381) < 5.1e-12);
    CHECK(apart(e.innovation_V, -0.0078107438067) < 5.1e-14);
    CHECK(apart(e.innovation_std_V * e.innovation_std_V, 0.0065935607625) < 5.1e-14);
    CHECK(apart(e.soc, 0.490245407898) < 5.1e-13);
    CHECK(apart(s.cell.branch_V[0], -0.00207786614094) < 5.1e-15);
    CHECK(apart(s.covariance(0, 0), 2.93560198216e-4) < 5.1e-16);
    CHECK(apart(s.covariance(0, 1), -1.13517661014e-4) < 5.1e-16);
    CHECK(apart(s.covariance(1, 1), 9.22330995593e-5) < 5.1e-17);
    CHECK(apart(e.soc_std * e.soc_std, 2.93560198216e-4) < 5.1e-16);
    // Gains, out of the same numbers: K = (x+ - x-) / e.
    CHECK(apart((e.soc - 0.499722222222) / e.innovation_V, 1.21330497559) < 1e-9);
    CHECK(apart((s.cell.branch_V[0] + 0.00196703397108) / e.innovation_V, 0.0141897074848) < 1e-9);
}

TEST_CASE("the prediction before that step equals the worked one", "[soc_filter]") {
    const auto owned = voltkeel_test::linear_cell<double, 1>();
    voltkeel::CellState<double, 1> state;
    state.soc = 0.5;
    voltkeel::step(owned.view(), {-3, 1, 25}, state);
    CHECK(apart(state.soc, 0.499722222222) < 5.1e-13);
    CHECK(apart(state.branch_V[0], -0.00196703397108) < 5.1e-15);
    CHECK(apart(voltkeel::voltage_at(owned.view(), state, -3.0, 25.0).voltage_V, 3.70781074381) <
          5.1e-12);
}
