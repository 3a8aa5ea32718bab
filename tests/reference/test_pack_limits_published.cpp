// Limits of a pack against worked values of the pulse power method, the closed form of one branch,
// and the heat balance of a fuse.
//   discharge  P = n Vmin (OCV - Vmin) / R        charge  P = n Vmax (Vmax - OCV) / R
// Source: FreedomCAR Battery Test Manual, DOE/ID-11069 (October 2003), pulse power capability (from
// memory, not re-read), for n groups alike in series.

#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "voltkeel/limits/pack_limits.hpp"

namespace {

using voltkeel::LimitComponent;
using voltkeel::LimitReason;
using voltkeel::PackHorizonLimit;
using voltkeel::Status;

/// Groups of a cell of one branch with a straight OCV, and a thermal mass that no pulse warms.
template <class Real>
struct SeriesPack {
    voltkeel::OcvNode<Real> ocv[2];
    voltkeel::ResistanceNode<Real, 1> resistance[4]{};
    voltkeel::CellParameters<Real, 1> cell{};
    voltkeel::CellLimits<Real> limits{};
    voltkeel::LimitPack<Real, 1> pack{};
    std::vector<Real> soc, degC, scale;
    voltkeel::PackLimitSettings<Real> settings{};

    SeriesPack(int count, double empty_V, double full_V, double capacity_Ah, double r0_ohm,
               double branch_ohm, double branch_time_s)
        : ocv{{static_cast<Real>(empty_V), 0, 0}, {static_cast<Real>(full_V), 0, 0}},
          soc(static_cast<std::size_t>(count), Real(0.5)),
          degC(static_cast<std::size_t>(count), Real(25)),
          scale(static_cast<std::size_t>(count), Real(1)) {
        for (auto& node : resistance) {
            node.r0_ohm = static_cast<Real>(r0_ohm);
            node.branch_ohm[0] = static_cast<Real>(branch_ohm);
            node.branch_time_s[0] = static_cast<Real>(branch_time_s);
        }
        cell.capacity_Ah = static_cast<Real>(capacity_Ah);
        cell.ocv = {ocv, 2, Real(25)};
        cell.resistance = {resistance, voltkeel::uniform_axis(Real(0), Real(1), 2),
                           voltkeel::uniform_axis(Real(-20), Real(60), 2)};
        cell.thermal = {Real(1e7), Real(1e-3)};
        limits.window.voltage_min_V = Real(2.5);
        limits.window.voltage_max_V = Real(4.2);
        pack.cells = &cell;
        pack.limits = &limits;
        pack.group_count = count;
    }
    SeriesPack(const SeriesPack&) = delete;
    SeriesPack& operator=(const SeriesPack&) = delete;

    [[nodiscard]] PackHorizonLimit<Real> at(double horizon_s) {
        std::vector<voltkeel::detail::GroupWork<Real, 1, false>> work(soc.size());
        voltkeel::detail::StringWork<Real> string_work[1];
        voltkeel::GroupStates<Real> states;
        states.soc = soc.data();
        states.temperature_degC = degC.data();
        states.resistance_scale = scale.data();
        const Real horizons_s[] = {static_cast<Real>(horizon_s)};
        PackHorizonLimit<Real> out;
        REQUIRE(voltkeel::pack_limits(pack, states, horizons_s, 1,
                                      {work.data(), pack.group_count, string_work, 1}, &out,
                                      settings) == Status::ok);
        return out;
    }
};

/// 0.1 %, from below; 0.01 % is for the flat OCV that falls by micro-volts, and for float.
void check_limit(double found, double expected) {
    CHECK(std::abs(found) <= std::abs(expected) * (1 + 1e-4));
    CHECK(std::abs(found) >= std::abs(expected) * (1 - 1.1e-3));
    CHECK(found * expected > 0);
}

}  // namespace

TEMPLATE_TEST_CASE("ten groups of OCV 3.8 V: 52 A and 1300 W out, 20 A and 840 W in",
                   "[limits][pack][reference]", float, double) {
    SeriesPack<TestType> out(10, 3.7995, 3.8005, 1e4, 0.025, 1e-9, 1e6);
    auto limit = out.at(10);
    check_limit(double(limit.discharge.current_A), -52);
    check_limit(double(limit.discharge.power_W), -1300);
    CHECK(limit.discharge.reason == LimitReason::voltage);
    SeriesPack<TestType> in(10, 3.7995, 3.8005, 1e4, 0.020, 1e-9, 1e6);
    limit = in.at(10);
    check_limit(double(limit.charge.current_A), 20);
    check_limit(double(limit.charge.power_W), 840);
    // Four cells in parallel: four times the current.
    in.pack.parallel = 4;
    check_limit(double(in.at(10).charge.current_A), 80);
}

TEMPLATE_TEST_CASE("one branch: the current that meets the window follows in closed form",
                   "[limits][pack][reference]", float, double) {
    // V = OCV(soc) + I (slope t / 3600 Q + R0 + R1 (1 - exp(-t / tau))) for a straight OCV: solved
    // for I. 10 + 15 mohm and 30 s act like 14.2520303414 mohm at 10 s.
    SeriesPack<TestType> p(6, 3.3, 4.1, 20, 0.010, 0.015, 30);
    p.scale[4] = TestType(1.25);  // this one decides
    for (const double t : {0.5, 2.0, 10.0, 30.0, 120.0}) {
        CAPTURE(t);
        const double scale = 1.25;
        const double ohm =
            0.8 * t / (3600 * 20) + scale * (0.010 + 0.015 * (1 - std::exp(-t / 30)));
        const auto limit = p.at(t);
        check_limit(double(limit.charge.current_A), (4.2 - 3.7) / ohm);
        check_limit(double(limit.discharge.current_A), -(3.7 - 2.5) / ohm);
        CHECK(limit.charge.group == 4);
        CHECK(limit.discharge.group == 4);
        // The other groups end where their own resistance leads.
        const double own_ohm = 0.8 * t / (3600 * 20) + 0.010 + 0.015 * (1 - std::exp(-t / 30));
        const double current_A = double(limit.discharge.current_A);
        CHECK(double(limit.discharge.end_voltage_V) ==
              Approx(6 * 3.7 + current_A * (5 * own_ohm + ohm)).epsilon(1e-3));
    }
}

TEMPLATE_TEST_CASE("a fuse of 50 A and 50 kA2s lets through what its heat balance says",
                   "[limits][pack][reference]", float, double) {
    // w' = ((I / 50)^2 - w) / 20 from 0 to 0.8: I = 50 sqrt(0.8 / (1 - exp(-t / 20))).
    SeriesPack<TestType> p(10, 3.7995, 3.8005, 1e4, 0.001, 1e-9, 1e6);
    LimitComponent<TestType> fuse;
    fuse.kind = LimitReason::fuse;
    fuse.rated_A = TestType(50);
    fuse.i2t_A2s = TestType(50000);
    p.pack.components = &fuse;
    p.pack.component_count = 1;
    for (const double t : {2.0, 10.0, 30.0}) {
        const auto limit = p.at(t);
        CHECK(double(limit.discharge.current_A) ==
              Approx(-50 * std::sqrt(0.8 / (1 - std::exp(-t / 20)))).epsilon(1e-4));
        CHECK(limit.discharge.reason == LimitReason::fuse);
        CHECK(limit.discharge.component == 0);
    }
}
