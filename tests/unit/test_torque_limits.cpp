// Torque from power: energy balance at the shaft, standstill, field weakening, signs.

#include "support/scalars.hpp"
#include "voltkeel/limits/torque.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <string>

#include "support/example_cell.hpp"
#include "support/seed.hpp"

namespace {

using voltkeel::EfficiencyTable;
using voltkeel::Status;
using voltkeel::torque_limits;
using voltkeel::TorqueDrive;
using voltkeel::TorqueLimit;

template <class Real>
TorqueDrive<Real> drive() {
    TorqueDrive<Real> d;
    d.torque_max_Nm = Real(250);
    d.power_max_W = Real(80e3);
    d.speed_max_rad_s = Real(1000);
    d.efficiency = Real(0.9);
    d.regeneration_efficiency = Real(0.85);
    d.auxiliary_W = Real(500);
    return d;
}

template <class Real>
TorqueLimit<Real> at(const TorqueDrive<Real>& d, double charge_W, double discharge_W,
                     double speed_rad_s) {
    TorqueLimit<Real> limit;
    REQUIRE(voltkeel::validate(d).status == Status::ok);
    REQUIRE(torque_limits(d, static_cast<Real>(charge_W), static_cast<Real>(discharge_W),
                          static_cast<Real>(speed_rad_s), limit) == Status::ok);
    return limit;
}

}  // namespace

TEMPLATE_TEST_CASE("torque times speed is the power that is left, with the efficiency",
                   "[limits][torque]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    const auto d = drive<Real>();
    const auto limit = at(d, 10e3, -40e3, 300);
    CHECK(double(limit.motoring_Nm) == Approx((40e3 - 500) * 0.9 / 300).epsilon(1e-5));
    // Nothing of the auxiliary load is counted on while braking.
    CHECK(double(limit.regeneration_Nm) == Approx(-10e3 / 0.85 / 300).epsilon(1e-5));
    CHECK(limit.motoring_by_pack);
    CHECK(limit.regeneration_by_pack);
    CHECK(limit.highest_Nm == limit.motoring_Nm);
    CHECK(limit.lowest_Nm == limit.regeneration_Nm);
    // Turning backwards, motoring is a negative torque.
    const auto back = at(d, 10e3, -40e3, -300);
    CHECK(back.motoring_Nm == limit.motoring_Nm);
    CHECK(back.lowest_Nm == -limit.motoring_Nm);
    CHECK(back.highest_Nm == -limit.regeneration_Nm);
    auto fed = d;
    fed.auxiliary_share_braking = Real(1);
    CHECK(double(at(fed, 10e3, -40e3, 300).regeneration_Nm) ==
          Approx(-10.5e3 / 0.85 / 300).epsilon(1e-5));
}

TEMPLATE_TEST_CASE("at standstill the drive decides, in field weakening its power",
                   "[limits][torque]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    const auto d = drive<Real>();
    for (const double speed : {0.0, 1e-6, -1e-6, 0.5, -0.5}) {
        const auto limit = at(d, 10e3, -40e3, speed);
        CHECK(limit.motoring_Nm == Real(250));
        CHECK(limit.regeneration_Nm == Real(-250));
        CHECK_FALSE(limit.motoring_by_pack);
    }
    const auto fast = at(d, 200e3, -200e3, 800);
    CHECK(double(fast.motoring_Nm) == Approx(100));
    CHECK(double(fast.regeneration_Nm) == Approx(-100));
    CHECK_FALSE(fast.regeneration_by_pack);
    const auto beyond = at(d, 200e3, -200e3, 1001);
    CHECK(beyond.motoring_Nm == Real(0));
    CHECK(beyond.regeneration_Nm == Real(0));
    // A pack that gives nothing: no motoring; one that takes nothing: no braking, at any speed.
    for (const double speed : {0.0, 0.3, 20.0, 900.0}) {
        CHECK(at(d, 0, 0, speed).motoring_Nm == Real(0));
        CHECK(at(d, 0, -400, speed).motoring_Nm == Real(0));  // the auxiliary load takes it all
        CHECK(at(d, 0, -40e3, speed).regeneration_Nm == Real(0));
    }
}

TEMPLATE_TEST_CASE("regeneration goes to nothing smoothly as the pack fills up", "[limits][torque]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    const auto d = drive<Real>();
    double before = 0;
    for (int k = 0; k <= 2000; ++k) {
        const double now = double(at(d, 5.0 * k, -40e3, 150).regeneration_Nm);
        CHECK(now <= before + 1e-4);
        CHECK(std::abs(now - before) <= 5 / 0.85 / 150 + 1e-3);
        before = now;
    }
}

TEMPLATE_TEST_CASE("no smaller torque breaks the power either, with losses and tables",
                   "[limits][torque][property]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    voltkeel_test::Random random(41);
    CAPTURE(voltkeel_test::seed());
    const Real speeds[] = {Real(0), Real(100), Real(400), Real(900)};
    const Real torques[] = {Real(0), Real(60), Real(250)};
    for (int n = 0; n < 300; ++n) {
        Real values[2][12];
        for (auto& table : values) {
            for (Real& value : table)
                value = static_cast<Real>(random.uniform(0.6, 0.97));
        }
        const EfficiencyTable<Real> motoring{speeds, 4, torques, 3, values[0]};
        const EfficiencyTable<Real> braking{speeds, 4, torques, 3, values[1]};
        auto d = drive<Real>();
        if (n % 2 == 0) {
            d.motoring_table = &motoring;
            d.regeneration_table = &braking;
        }
        d.winding_loss_W_per_Nm2 = static_cast<Real>(random.uniform(0, 0.3));
        const double charge_W = random.uniform(0, 30e3);
        const double discharge_W = -random.uniform(0, 80e3);
        const double speed = random.uniform(0, 1) < 0.2 ? 0 : random.uniform(-1000, 1000);
        const auto limit = at(d, charge_W, discharge_W, speed);
        const double counted = std::max(std::abs(speed), 1.0);
        const double spare_W = std::max(0.0, -discharge_W - 500);
        const double loss = double(d.winding_loss_W_per_Nm2);
        const auto efficiency = [&](bool motor, double torque) {
            if (d.motoring_table == nullptr) return motor ? 0.9 : 0.85;
            std::size_t s = counted < 100 ? 0 : (counted < 400 ? 1 : 2);
            std::size_t t = torque < 60 ? 0 : 1;
            const double x =
                std::min(1.0, (counted - double(speeds[s])) / double(speeds[s + 1] - speeds[s]));
            const double y = (torque - double(torques[t])) / double(torques[t + 1] - torques[t]);
            const Real* v = values[motor ? 0 : 1];
            const auto node = [&](std::size_t a, std::size_t b) { return double(v[a * 3 + b]); };
            return (1 - x) * ((1 - y) * node(s, t) + y * node(s, t + 1)) +
                   x * ((1 - y) * node(s + 1, t) + y * node(s + 1, t + 1));
        };
        CAPTURE(n, speed, charge_W, discharge_W);
        const double tolerance_W = sizeof(Real) == sizeof(float) ? 2 : 1e-3;
        for (int k = 0; k <= 100; ++k) {
            const double m = double(limit.motoring_Nm) * k / 100;
            CHECK(m * counted / efficiency(true, m) + loss * m * m <= spare_W + tolerance_W);
            const double b = -double(limit.regeneration_Nm) * k / 100;
            const double into_W = b * counted * efficiency(false, b) - loss * b * b;
            CHECK(into_W <= charge_W + tolerance_W);
            CHECK(-into_W <= spare_W + tolerance_W);
        }
        // A little more breaks it, where the pack decides.
        if (limit.motoring_by_pack) {
            const double m = double(limit.motoring_Nm) * 1.001 + 1e-3;
            CHECK(m * counted / efficiency(true, m) + loss * m * m > spare_W - tolerance_W);
        }
        if (limit.regeneration_by_pack) {
            const double b = -double(limit.regeneration_Nm) * 1.001 + 1e-3;
            const double into_W = b * counted * efficiency(false, b) - loss * b * b;
            CHECK((into_W > charge_W - tolerance_W || -into_W > spare_W - tolerance_W));
        }
    }
}

TEST_CASE("drives and powers that cannot be are refused", "[limits][torque]") {
    const double nan = std::numeric_limits<double>::quiet_NaN();
    TorqueLimit<double> limit;
    limit.motoring_Nm = -7;
    const auto d = drive<double>();
    CHECK(torque_limits(d, nan, -1.0, 1.0, limit) == Status::sample_not_finite);
    CHECK(torque_limits(d, 1.0, -1.0, nan, limit) == Status::sample_not_finite);
    CHECK(torque_limits(d, -1.0, -1.0, 1.0, limit) == Status::out_of_range);
    CHECK(torque_limits(d, 1.0, 1.0, 1.0, limit) == Status::out_of_range);
    CHECK(limit.motoring_Nm == -7);
    const auto field = [](auto&& change) {
        auto bad = drive<double>();
        change(bad);
        return std::string(voltkeel::validate(bad).field);
    };
    using Drive = TorqueDrive<double>;
    CHECK(field([](Drive& x) { x.torque_max_Nm = 0; }) == "torque_max_Nm");
    CHECK(field([&](Drive& x) { x.power_max_W = nan; }) == "power_max_W");
    CHECK(field([](Drive& x) { x.speed_max_rad_s = 0; }) == "speed_max_rad_s");
    CHECK(field([](Drive& x) { x.efficiency = 1.1; }) == "efficiency");
    CHECK(field([](Drive& x) { x.standstill_speed_rad_s = 0; }) == "standstill_speed_rad_s");
    const double speeds[] = {0, 0};
    const double torques[] = {0};
    const double values[] = {0.9, 0.9};
    const EfficiencyTable<double> flat{speeds, 2, torques, 1, values};
    CHECK(field([&](Drive& x) { x.motoring_table = &flat; }) == "efficiency_table.speed_rad_s");
    const EfficiencyTable<double> none{};
    CHECK(field([&](Drive& x) { x.regeneration_table = &none; }) == "efficiency_table");
}
