// Usable energy of a cell that can be written down: OCV E = a + b s, one resistance R, no warming.
//
// Constant current I until V = E - R I meets the lowest voltage v:
//   E_end = v + R I, t = (E_0 - E_end) Q / (b I), energy = I t ((E_0 + E_end) / 2 - R I)
// Constant power P until the same: E_end = v + R P / v, and with I = (E - sqrt(E^2 - c^2)) / (2 R),
// c^2 = 4 R P,
//   energy = Q / (2 b) [E^2 / 2 + (E sqrt(E^2 - c^2) - c^2 acosh(E / c)) / 2] from E_end to E_0
// Source: own derivation from V = a + b s - R I, s' = -I / Q; the integral is a standard one (e.g.
// Abramowitz and Stegun 3.3.41).

#include <catch2/catch.hpp>
#include <cmath>

#include "support/scalars.hpp"
#include "voltkeel/charge/usable_energy.hpp"

namespace {

using voltkeel::Draw;
using voltkeel::Status;
using voltkeel::UsableEnergy;

template <class Real>
struct StraightPack {
    voltkeel::OcvNode<Real> ocv[2]{{Real(3.2), 0, 0}, {Real(4.1), 0, 0}};
    voltkeel::ResistanceNode<Real, 1> resistance[4]{};
    voltkeel::CellParameters<Real, 1> cell{};
    voltkeel::CellLimits<Real> limits{};
    voltkeel::LimitPack<Real, 1> pack{};
    Real soc[3]{Real(0.8), Real(0.75), Real(0.9)};
    Real temperature_degC[3]{Real(25), Real(25), Real(25)};
    voltkeel::GroupStates<Real> states{};
    voltkeel::FixedDrainWorkspace<Real, 1, false, 3> work{};

    explicit StraightPack(int groups) {
        for (auto& node : resistance) {
            node.r0_ohm = Real(0.03);
            node.branch_ohm[0] = Real(1e-9);
            node.branch_time_s[0] = Real(1);
        }
        cell.capacity_Ah = Real(5);
        cell.ocv = {ocv, 2, Real(25)};
        cell.resistance = {resistance, voltkeel::uniform_axis(Real(0), Real(1), 2),
                           voltkeel::uniform_axis(Real(-20), Real(60), 2)};
        cell.thermal = {Real(1e7), Real(10)};
        limits.window = {Real(3.25), Real(4.2), Real(0),   Real(1),
                         Real(0),    Real(45),  Real(-20), Real(60)};
        pack.cells = &cell;
        pack.limits = &limits;
        pack.group_count = groups;
        pack.parallel = 2;
        states.soc = soc;
        states.temperature_degC = temperature_degC;
    }
    StraightPack(const StraightPack&) = delete;
    StraightPack& operator=(const StraightPack&) = delete;
};

double power_integral(double ocv_V, double corner2_V2) {
    const double root = std::sqrt(ocv_V * ocv_V - corner2_V2);
    return 0.5 * ocv_V * ocv_V +
           0.5 * (ocv_V * root - corner2_V2 * std::acosh(ocv_V / std::sqrt(corner2_V2)));
}

}  // namespace

TEMPLATE_TEST_CASE("usable energy at a power equals the closed form", "[range][reference]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    StraightPack<Real> p(1);
    for (const double cell_W : {2.0, 10.0, 25.0}) {
        Draw<Real> draw;
        draw.power_W = static_cast<Real>(2 * cell_W);
        UsableEnergy<Real> out;
        REQUIRE(voltkeel::usable_energy(p.pack, p.states, draw, p.work.view(), out) == Status::ok);
        const double start_V = 3.2 + 0.9 * 0.8;
        const double end_V = 3.25 + 0.03 * cell_W / 3.25;
        const double corner2_V2 = 4 * 0.03 * cell_W;
        const double energy_Wh =
            2 * 5 / (2 * 0.9) *
            (power_integral(start_V, corner2_V2) - power_integral(end_V, corner2_V2));
        CAPTURE(cell_W);
        CHECK(double(out.energy_Wh) == Approx(energy_Wh).epsilon(2e-5));
        CHECK(double(out.time_s) == Approx(3600 * energy_Wh / (2 * cell_W)).epsilon(2e-5));
        CHECK(out.reached);
        CHECK(out.reason == voltkeel::LimitReason::voltage);
        CHECK(out.group == 0);
        CHECK(double(out.end_soc) == Approx((end_V - 3.2) / 0.9).margin(1e-4));
        CHECK(double(out.end_voltage_V) == Approx(3.25).margin(2e-4));
        // What the sources gave is what arrived and what became heat.
        const double source_Wh = 10 * (0.8 - double(out.end_soc)) * 0.5 * (start_V + end_V);
        CHECK(double(out.energy_Wh + out.loss_Wh) == Approx(source_Wh).epsilon(1e-4));
    }
}

TEMPLATE_TEST_CASE("the emptiest of three groups ends the pack", "[range][reference]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    StraightPack<Real> p(3);
    Draw<Real> draw;
    draw.current_A = Real(8);  // 4 A a cell
    UsableEnergy<Real> out;
    REQUIRE(voltkeel::usable_energy(p.pack, p.states, draw, p.work.view(), out) == Status::ok);
    const double end_soc = (3.25 + 0.03 * 4 - 3.2) / 0.9;
    const double time_s = (0.75 - end_soc) * 5 * 3600 / 4;
    CHECK(out.group == 1);
    CHECK(double(out.end_soc) == Approx(end_soc).margin(2e-5));
    CHECK(double(out.time_s) == Approx(time_s).epsilon(2e-5));
    CHECK(double(out.charge_Ah) == Approx(8 * time_s / 3600).epsilon(2e-5));
    double mean_V = 0;
    for (const double soc : {0.8, 0.75, 0.9})
        mean_V += 3.2 + 0.9 * (soc - 0.5 * (0.75 - end_soc)) - 0.03 * 4;
    CHECK(double(out.energy_Wh) == Approx(8 * time_s / 3600 * mean_V).epsilon(3e-5));
}

TEMPLATE_TEST_CASE("strings in parallel divide the current by Kirchhoff's laws",
                   "[range][reference]", VOLTKEEL_SCALARS) {
    // Two strings of one group: the same cells, but the second behind 10 mohm more. Both follow one
    // straight line, so with U = OCV differences the currents obey
    //   R1 I1 - R2 I2 = E1 - E2, E' = -b I / Q; after the start the shares tend to the equal split.
    // Checked against steps of 0.5 s of those two equations in double.
    using Real = TestType;
    StraightPack<Real> p(2);
    const voltkeel::LimitString<Real> strings[2] = {{0, 1, Real(0.001), true},
                                                    {1, 1, Real(0.011), true}};
    p.pack.strings = strings;
    p.pack.string_count = 2;
    voltkeel::FixedDrainWorkspace<Real, 1, false, 2, 2> work;
    Draw<Real> draw;
    draw.power_W = Real(50);
    UsableEnergy<Real> out;
    REQUIRE(voltkeel::usable_energy(p.pack, p.states, draw, work.view(), out) == Status::ok);

    double e[2] = {3.2 + 0.9 * 0.8, 3.2 + 0.9 * 0.75};
    const double r[2] = {0.015 + 0.001, 0.015 + 0.011};
    double time_s = 0;
    int first = -1;
    for (; first < 0; time_s += 0.5) {
        const double joint_ohm = 1 / (1 / r[0] + 1 / r[1]);
        const double open_V = (e[0] / r[0] + e[1] / r[1]) * joint_ohm;
        const double drawn_A = 2 * 50 / (open_V + std::sqrt(open_V * open_V - 4 * joint_ohm * 50));
        const double joint_V = open_V - joint_ohm * drawn_A;
        for (int k = 0; k < 2; ++k) {
            const double string_A = (e[k] - joint_V) / r[k];
            if (e[k] - 0.015 * string_A <= 3.25) first = k;
            e[k] -= 0.9 * string_A * 0.5 / (10 * 3600);
        }
    }
    CHECK(out.group == first);
    CHECK(double(out.time_s) == Approx(time_s).epsilon(3e-4));
}
