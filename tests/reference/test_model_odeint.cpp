// The model step against a general integrator: Boost.Odeint, Dormand-Prince 5(4) with controlled
// error 1e-12, on the differential equations of the model.
//
//     dsoc/dt = I / (3600 Q)      du_i/dt = (R_i(soc) I - u_i) / tau_i(soc)
//     dh/dt   = gamma |dsoc/dt| (sign(I) - h)

#include <array>
#include <boost/numeric/odeint.hpp>
#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "support/example_cell.hpp"
#include "voltkeel/cell/model.hpp"

using voltkeel::CellState;
using voltkeel_test::OwnedCell;
using voltkeel_test::Random;

namespace {

constexpr int branches = 3;
using Vector = std::array<double, branches + 2>;  // soc, u_1 .. u_3, h

struct Segment {
    double current_A;
    double length_s;
};

std::vector<Segment> random_profile(Random& random) {
    std::vector<Segment> profile;
    for (int k = 0; k < 40; ++k)
        profile.push_back({random.uniform(-6, 6), random.uniform(20, 120)});
    return profile;
}

/// Straight lines over SOC, written out here once more: the table is not asked. `tilt` is the
/// relative change of every resistance and time constant from empty to full.
struct Line {
    double tilt;
    [[nodiscard]] double at(double end_value, double soc) const {
        return end_value * (1 + tilt * soc);
    }
};

const voltkeel_test::LinearShape shape = [] {
    voltkeel_test::LinearShape s;
    s.hysteresis_rate = 40;
    return s;
}();

OwnedCell<double, branches> tilted_cell(const Line& line) {
    auto cell = voltkeel_test::linear_cell<double, branches>(shape);
    for (const std::size_t full : {1U, 3U}) {
        for (int i = 0; i < branches; ++i) {
            cell.resistance[full].branch_ohm[i] = line.at(shape.branch_ohm[i], 1);
            cell.resistance[full].branch_time_s[i] = line.at(shape.branch_time_s[i], 1);
        }
    }
    return cell;
}

/// States after every segment, by the integrator.
std::vector<Vector> integrated(const std::vector<Segment>& profile, const Line& line, Vector x) {
    namespace odeint = boost::numeric::odeint;
    auto stepper = odeint::make_controlled(1e-12, 1e-12, odeint::runge_kutta_dopri5<Vector>());
    std::vector<Vector> states;
    for (const Segment& segment : profile) {
        const double I = segment.current_A;
        const auto slope = [&](const Vector& at, Vector& d, double) {
            d[0] = I / (3600 * shape.capacity_Ah);
            for (std::size_t i = 0; i < branches; ++i) {
                d[1 + i] = (line.at(shape.branch_ohm[i], at[0]) * I - at[1 + i]) /
                           line.at(shape.branch_time_s[i], at[0]);
            }
            d[branches + 1] =
                shape.hysteresis_rate * std::abs(d[0]) * (std::copysign(1, I) - at[branches + 1]);
        };
        odeint::integrate_adaptive(stepper, slope, x, 0.0, segment.length_s, 0.1);
        states.push_back(x);
    }
    return states;
}

/// Largest distance of the model from `expected` at the ends of the segments, `parts` steps each.
Vector worst_of(const std::vector<Segment>& profile, const OwnedCell<double, branches>& owned,
                const std::vector<Vector>& expected, const Vector& start, int parts) {
    CellState<double, branches> state;
    state.soc = start[0];
    for (std::size_t i = 0; i < branches; ++i)
        state.branch_V[i] = start[1 + i];
    state.hysteresis = start[branches + 1];
    Vector worst{};
    for (std::size_t k = 0; k < profile.size(); ++k) {
        for (int n = 0; n < parts; ++n) {
            voltkeel::step(owned.view(), {profile[k].current_A, profile[k].length_s / parts, 25},
                           state);
        }
        const auto note = [&](std::size_t i, double value) {
            worst[i] = std::max(worst[i], std::abs(value - expected[k][i]));
        };
        note(0, state.soc);
        for (std::size_t i = 0; i < branches; ++i)
            note(1 + i, state.branch_V[i]);
        note(branches + 1, state.hysteresis);
    }
    return worst;
}

const Vector start{0.55, 0.01, -0.02, 0.005, 0.3};

}  // namespace

TEST_CASE("with constant resistances one step a segment is exact", "[model]") {
    Random random(1);
    const auto profile = random_profile(random);
    const Line level{0};
    const Vector worst =
        worst_of(profile, tilted_cell(level), integrated(profile, level, start), start, 1);
    for (std::size_t i = 0; i < worst.size(); ++i) {
        CAPTURE(i);
        CHECK(worst[i] < 1e-10);
    }
}

TEST_CASE("with resistances over SOC the error is of second order in the SOC walked", "[model]") {
    Random random(2);
    const Line line{-0.6};
    const auto owned = tilted_cell(line);
    for (int run = 0; run < 5; ++run) {
        const auto profile = random_profile(random);
        const auto expected = integrated(profile, line, start);
        const Vector once = worst_of(profile, owned, expected, start, 1);
        const Vector twice = worst_of(profile, owned, expected, start, 2);
        const Vector eight = worst_of(profile, owned, expected, start, 8);
        const Vector sixteen = worst_of(profile, owned, expected, start, 16);
        CAPTURE(run);
        CHECK(once[0] < 1e-12);
        CHECK(once[branches + 1] < 1e-10);
        for (std::size_t i = 1; i <= branches; ++i) {
            CAPTURE(i, once[i], twice[i], eight[i], sixteen[i]);
            // Even with one step a segment (two minutes of 6 A are 7 % of 3 Ah) the error stays
            // below half of what R I changes meanwhile; with 16 steps below 1/16^2 of that.
            const double bound_V =
                0.5 * 0.6 * shape.branch_ohm[i - 1] * 6 * (6 * 120 / (3600 * shape.capacity_Ah));
            CHECK(once[i] < bound_V);
            CHECK(sixteen[i] < bound_V / 256);
            CHECK(sixteen[i] > 1e-10);  // well above what the integrator itself is off
            // Halving the step divides the error by four.
            CHECK(eight[i] / sixteen[i] > 3.8);
            CHECK(eight[i] / sixteen[i] < 4.2);
        }
    }
}
