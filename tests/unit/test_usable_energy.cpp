// Usable energy of packs of random groups: against much finer steps, books that close, cold and
// doubt that cost, and what is refused.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <limits>
#include <memory>
#include <random>
#include <vector>

#include "bench/bench_cell.hpp"
#include "support/scalars.hpp"
#include "support/seed.hpp"
#include "voltkeel/charge/usable_energy.hpp"

namespace {

using voltkeel::Draw;
using voltkeel::LimitReason;
using voltkeel::Status;
using voltkeel::UsableEnergy;
using voltkeel::UsableEnergyBand;
using voltkeel::UsableEnergySettings;

constexpr int most_groups = 12;

template <class Real>
struct RandomPack {
    voltkeel_test::OwnedCell<Real, 3> tables =
        voltkeel_test::cell_cast<Real>(voltkeel_test::bench_cell<3>());
    voltkeel::CellParameters<Real, 3> cell = tables.view();
    voltkeel::CellLimits<Real> limits{};
    voltkeel::LimitPack<Real, 3> pack{};
    std::vector<Real> soc, degC, scale, capacity, soc_std, scale_std;
    voltkeel::GroupStates<Real> states{};
    voltkeel::FixedDrainWorkspace<Real, 3, false, most_groups> work{};
    double power_W{0};

    explicit RandomPack(std::uint64_t seed, double cold_degC = 0) {
        std::mt19937_64 random(seed);
        const auto between = [&](double low, double high) {
            return std::uniform_real_distribution<double>(low, high)(random);
        };
        cell.thermal = {Real(900), Real(2.5)};
        limits.window = {Real(3.0), Real(4.2), Real(0.02), Real(1),
                         Real(0),   Real(45),  Real(-30),  Real(60)};
        pack.cells = &cell;
        pack.limits = &limits;
        pack.group_count = std::uniform_int_distribution<int>(1, most_groups)(random);
        const double base_soc = between(0.3, 0.95);
        const double base_degC = cold_degC + between(5, 25);
        power_W = pack.group_count * 3.7 * 50 * std::exp(between(std::log(0.05), std::log(1.0)));
        for (int g = 0; g < pack.group_count; ++g) {
            soc.push_back(static_cast<Real>(base_soc + between(-0.02, 0.02)));
            degC.push_back(static_cast<Real>(base_degC + between(-2, 2)));
            scale.push_back(static_cast<Real>(between(0.9, 1.3)));
            capacity.push_back(static_cast<Real>(between(0.9, 1.05)));
            soc_std.push_back(Real(0.02));
            scale_std.push_back(Real(0.1));
        }
        states.soc = soc.data();
        states.temperature_degC = degC.data();
        states.resistance_scale = scale.data();
        states.capacity_scale = capacity.data();
    }
    RandomPack(const RandomPack&) = delete;
    RandomPack& operator=(const RandomPack&) = delete;

    [[nodiscard]] Draw<Real> draw() const { return {static_cast<Real>(power_W), Real(0)}; }
    [[nodiscard]] UsableEnergy<Real> empty(const UsableEnergySettings<Real>& settings = {}) {
        UsableEnergy<Real> out;
        REQUIRE(voltkeel::usable_energy(pack, states, draw(), work.view(), out, settings) ==
                Status::ok);
        return out;
    }
};

}  // namespace

TEMPLATE_TEST_CASE("the default steps give what ten times finer ones give", "[range]",
                   VOLTKEEL_SCALARS) {
    using Real = TestType;
    const std::uint64_t seed = voltkeel_test::seed();
    for (std::uint64_t k = 0; k < 25; ++k) {
        CAPTURE(seed, k);
        RandomPack<Real> p(seed + k);
        UsableEnergySettings<Real> fine;
        fine.soc_step = Real(0.001);
        fine.voltage_step_V = Real(0.002);
        const UsableEnergy<Real> coarse = p.empty();
        const UsableEnergy<Real> exact = p.empty(fine);
        CHECK(double(coarse.energy_Wh) ==
              Approx(double(exact.energy_Wh)).epsilon(1e-3).margin(1e-3 * p.power_W / 60));
        CHECK(coarse.reason == exact.reason);
        CHECK(coarse.energy_Wh * Real(3600) ==
              Approx(p.power_W * double(coarse.time_s)).epsilon(1e-5));
        // Nothing is beyond its window at the end, and something is at it.
        if (exact.reason == LimitReason::soc)
            CHECK(double(exact.end_soc) == Approx(0.02).margin(1e-4));
    }
}

TEMPLATE_TEST_CASE("cold and doubt cost energy", "[range]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    const std::uint64_t seed = voltkeel_test::seed();
    for (std::uint64_t k = 0; k < 10; ++k) {
        CAPTURE(seed, k);
        RandomPack<Real> warm(seed + k);
        RandomPack<Real> cold(seed + k, -20);
        UsableEnergySettings<Real> outside;
        outside.ambient_degC = Real(-10);
        CHECK(cold.empty(outside).energy_Wh < warm.empty().energy_Wh);

        warm.states.soc_std = warm.soc_std.data();
        warm.states.resistance_log_std = warm.scale_std.data();
        UsableEnergyBand<Real> band;
        REQUIRE(voltkeel::usable_energy_band(warm.pack, warm.states, warm.draw(), warm.work.view(),
                                             band) == Status::ok);
        CHECK(band.least_Wh < band.central.energy_Wh);
        CHECK(band.most_Wh > band.central.energy_Wh);
        // Two per cent of SOC are at least so much energy, at 3 V.
        const double two_Wh = 1.96 * 0.02 * 0.9 * 50 * 3.0 * warm.pack.group_count;
        CHECK(double(band.central.energy_Wh - band.least_Wh) >
              0.9 * std::min(two_Wh, double(band.central.energy_Wh)));
        CHECK(double(band.std_Wh) == Approx(double(band.most_Wh - band.least_Wh) / 3.92)
                                         .epsilon(1e-3)
                                         .margin(band.least_Wh > Real(0) ? 1e-3 : 1e9));
    }
}

TEMPLATE_TEST_CASE("what ends a pack is named", "[range]", VOLTKEEL_SCALARS) {
    using Real = TestType;
    RandomPack<Real> p(7);
    Draw<Real> draw = p.draw();
    UsableEnergy<Real> out;
    SECTION("no current gives the power") {
        draw.power_W = Real(1e7);
        REQUIRE(voltkeel::usable_energy(p.pack, p.states, draw, p.work.view(), out) == Status::ok);
        CHECK(out.power_missing);
        CHECK(out.energy_Wh == Real(0));
        CHECK(out.group == -1);
    }
    SECTION("too hot already") {
        std::fill(p.degC.begin(), p.degC.end(), Real(61));
        REQUIRE(voltkeel::usable_energy(p.pack, p.states, draw, p.work.view(), out) == Status::ok);
        CHECK(out.reason == LimitReason::temperature);
        CHECK(out.time_s == Real(0));
    }
    SECTION("all contactors open") {
        const voltkeel::LimitString<Real> open[1] = {{0, p.pack.group_count, Real(0.01), false}};
        p.pack.strings = open;
        p.pack.string_count = 1;
        REQUIRE(voltkeel::usable_energy(p.pack, p.states, draw, p.work.view(), out) == Status::ok);
        CHECK(out.reason == LimitReason::contactor);
        CHECK(out.energy_Wh == Real(0));
        CHECK_FALSE(out.reached);
    }
    SECTION("the time bound") {
        UsableEnergySettings<Real> brief;
        brief.longest_s = Real(60);
        REQUIRE(voltkeel::usable_energy(p.pack, p.states, draw, p.work.view(), out, brief) ==
                Status::not_reached);
        CHECK(double(out.time_s) == Approx(60).margin(0.02));
        CHECK_FALSE(out.reached);
    }
}

TEST_CASE("an energy that cannot be asked for is refused and changes nothing", "[range]") {
    RandomPack<double> p(3);
    UsableEnergy<double> out;
    out.energy_Wh = -7;
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const auto ask = [&](const Draw<double>& draw, const UsableEnergySettings<double>& s = {}) {
        return voltkeel::usable_energy(p.pack, p.states, draw, p.work.view(), out, s);
    };
    CHECK(ask({0, 0}) == Status::out_of_range);
    CHECK(ask({5, 5}) == Status::out_of_range);
    CHECK(ask({-5, 0}) == Status::out_of_range);
    CHECK(ask({nan, 0}) == Status::sample_not_finite);
    UsableEnergySettings<double> wrong;
    wrong.soc_step = 0;
    CHECK(ask({5, 0}, wrong) == Status::out_of_range);
    p.soc[0] = nan;
    CHECK(ask({5, 0}) == Status::sample_not_finite);
    p.soc[0] = 0.5;
    p.states.temperature_degC = nullptr;
    CHECK(ask({5, 0}) == Status::missing_table);
    p.states.temperature_degC = p.degC.data();
    voltkeel::DrainWorkspace<double, 3> small = p.work.view();
    small.group_capacity = p.pack.group_count - 1;
    CHECK(voltkeel::usable_energy(p.pack, p.states, {5, 0}, small, out) == Status::out_of_range);
    UsableEnergyBand<double> band;
    CHECK(voltkeel::usable_energy_band(p.pack, p.states, {5, 0}, p.work.view(), band, {}, 0.0) ==
          Status::out_of_range);
    CHECK(out.energy_Wh == -7);
}
