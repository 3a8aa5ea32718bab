// The balancing plan: arithmetic of a handbook, random packs, and a pack of cell models that is
// bled as planned and then discharged.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <limits>
#include <random>
#include <string>
#include <vector>

#include "support/scalars.hpp"
#include "support/seed.hpp"
#include "voltkeel/cell/model.hpp"
#include "voltkeel/charge/balancing_plan.hpp"

using voltkeel::BalancingGroup;
using voltkeel::BalancingPlan;
using voltkeel::BalancingPlanSettings;
using voltkeel::BleedReason;
using voltkeel::GroupBleed;
using voltkeel::plan_balancing;
using voltkeel::Status;

namespace {

template <class Real>
Real real(double x) {
    return static_cast<Real>(x);
}

/// A group whose voltage tells its SOC.
template <class Real>
BalancingGroup<Real> group(double soc, double capacity_Ah, double voltage_V = 4.1, int module = 0) {
    return {real<Real>(soc), 0, real<Real>(capacity_Ah), real<Real>(voltage_V), 1, module, true};
}

template <class Real>
BalancingPlan<Real> plan_of(const std::vector<BalancingGroup<Real>>& groups,
                            const BalancingPlanSettings<Real>& settings,
                            std::vector<GroupBleed<Real>>& bleeds) {
    bleeds.assign(groups.size(), {});
    BalancingPlan<Real> plan;
    REQUIRE(plan_balancing(groups.data(), static_cast<int>(groups.size()), settings, bleeds.data(),
                           plan) == Status::ok);
    return plan;
}

}  // namespace

// dSOC Q / I: 1 % of 50 Ah at 100 mA takes 5.0 h, 1 % of 280 Ah at 300 mA 9.33 h; 33 ohm at 4.1 V
// are 124 mA and 0.51 W (arithmetic; sizes of currents and resistors as the passive balancing page
// of the web handbook batterydesign.net has them).
TEMPLATE_TEST_CASE("balancing time and heat of the handbook", "[balancing_plan]",
                   VOLTKEEL_SCALARS) {
    std::vector<GroupBleed<TestType>> bleeds;
    BalancingPlanSettings<TestType> settings;
    settings.bleed_ohm = 41;
    auto plan =
        plan_of<TestType>({group<TestType>(0.80, 50), group<TestType>(0.81, 50)}, settings, bleeds);
    CHECK(static_cast<double>(plan.time_s) == Approx(5.0 * 3600).epsilon(1e-4));
    CHECK(bleeds[0].reason == BleedReason::level);
    CHECK(bleeds[1].reason == BleedReason::bleed);
    CHECK(static_cast<double>(bleeds[1].share) == Approx(1).epsilon(1e-6));
    settings.bleed_ohm = real<TestType>(4.1 / 0.3);
    plan = plan_of<TestType>({group<TestType>(0.80, 280), group<TestType>(0.81, 280)}, settings,
                             bleeds);
    CHECK(static_cast<double>(plan.time_s) == Approx(9.3333 * 3600).epsilon(1e-3));
    settings.bleed_ohm = 33;
    plan =
        plan_of<TestType>({group<TestType>(0.80, 50), group<TestType>(0.81, 50)}, settings, bleeds);
    CHECK(static_cast<double>(plan.module_heat_W) == Approx(0.5094).epsilon(1e-3));
    CHECK(static_cast<double>(bleeds[1].charge_Ah * 3600 / bleeds[1].resistor_s) ==
          Approx(0.1242).epsilon(1e-3));
}

TEMPLATE_TEST_CASE("what is not known apart is left alone", "[balancing_plan]", VOLTKEEL_SCALARS) {
    std::vector<GroupBleed<TestType>> bleeds;
    const BalancingPlanSettings<TestType> settings;
    auto full = group<TestType>(0.55, 50);
    const auto empty = group<TestType>(0.50, 50);
    full.ocv_slope_V = real<TestType>(0.05);  // 3 mV are 6 % of SOC
    (void)plan_of<TestType>({full, empty}, settings, bleeds);
    CHECK(bleeds[0].reason == BleedReason::flat);
    CHECK(bleeds[0].charge_Ah == 0);
    full.ocv_slope_V = 1;
    full.soc_std = real<TestType>(0.03);  // two sigmas are more than the difference
    (void)plan_of<TestType>({full, empty}, settings, bleeds);
    CHECK(bleeds[0].reason == BleedReason::level);
    full.soc_std = real<TestType>(0.01);  // 5 % less two sigmas
    (void)plan_of<TestType>({full, empty}, settings, bleeds);
    CHECK(static_cast<double>(bleeds[0].charge_Ah) == Approx(0.03 * 50).epsilon(1e-4));
    full.voltage_V = 2;
    (void)plan_of<TestType>({full, empty}, settings, bleeds);
    CHECK(bleeds[0].reason == BleedReason::low_voltage);
    full.valid = false;
    full.soc = std::numeric_limits<TestType>::quiet_NaN();
    (void)plan_of<TestType>({full, empty}, settings, bleeds);
    CHECK(bleeds[0].reason == BleedReason::invalid);
    // A larger group at the same SOC has more headroom: SOC alone would say level.
    (void)plan_of<TestType>({group<TestType>(0.5, 55), empty}, settings, bleeds);
    CHECK(bleeds[0].reason == BleedReason::level);
    CHECK(static_cast<double>(bleeds[1].charge_Ah) == Approx(2.5).epsilon(1e-4));
}

TEMPLATE_TEST_CASE("random packs: level afterwards, more to use, heat in its budget",
                   "[balancing_plan]", VOLTKEEL_SCALARS) {
    const std::uint64_t seed = voltkeel_test::seed();
    std::mt19937_64 random(seed);
    const auto between = [&](double low, double high) {
        return std::uniform_real_distribution<double>(low, high)(random);
    };
    const double slack = sizeof(TestType) == 4 ? 1e-4 : 1e-9;
    for (int turn = 0; turn < 2000; ++turn) {
        const int count = std::uniform_int_distribution<int>(1, 40)(random);
        std::vector<BalancingGroup<TestType>> groups;
        for (int k = 0; k < count; ++k) {
            groups.push_back(group<TestType>(between(0.3, 0.9), between(40, 60), between(3, 4.2),
                                             std::uniform_int_distribution<int>(0, 3)(random)));
        }
        BalancingPlanSettings<TestType> settings;
        settings.soc_step_min = 0;
        settings.bleed_ohm = real<TestType>(between(10, 60));
        settings.module_heat_max_W = real<TestType>(turn % 3 == 0 ? 0 : between(0.2, 4));
        std::vector<GroupBleed<TestType>> bleeds;
        const BalancingPlan<TestType> plan = plan_of(groups, settings, bleeds);
        double room_Ah = 0;
        for (const auto& g : groups)
            room_Ah = std::max(room_Ah, static_cast<double>((1 - g.soc) * g.capacity_Ah));
        CAPTURE(seed, turn, count);
        double heat_W[4] = {};
        for (std::size_t k = 0; k < groups.size(); ++k) {
            const auto& g = groups[k];
            const auto after_Ah =
                static_cast<double>((1 - g.soc) * g.capacity_Ah + bleeds[k].charge_Ah);
            CHECK(after_Ah == Approx(room_Ah).epsilon(slack));
            CHECK(bleeds[k].charge_Ah >= 0);
            CHECK(static_cast<double>(bleeds[k].share) <= 1 + slack);
            const auto power_W =
                static_cast<double>(g.voltage_V * g.voltage_V / settings.bleed_ohm);
            heat_W[g.module] += static_cast<double>(bleeds[k].share) * power_W;
            CHECK(static_cast<double>(bleeds[k].resistor_s) <=
                  static_cast<double>(plan.time_s) * (1 + slack));
        }
        for (const double heat : heat_W) {
            CHECK(heat <= static_cast<double>(plan.module_heat_W) * (1 + slack) + 1e-12);
            if (settings.module_heat_max_W > 0) {
                CHECK(heat <= static_cast<double>(settings.module_heat_max_W) * (1 + slack));
            }
        }
        CHECK(static_cast<double>(plan.usable_after_Ah) >=
              static_cast<double>(plan.usable_Ah) * (1 - slack));
        CHECK(static_cast<double>(plan.heat_J) >= 0);
    }
}

// Bled as planned, then charged to the first full group and discharged to the first empty one:
// what the string gives is what the plan said, before and after.
TEST_CASE("a string of cell models gives what the plan says", "[balancing_plan]") {
    const voltkeel::OcvNode<double> ocv[] = {{3.0, 0, 0}, {4.2, 0, 0}};
    voltkeel::ResistanceNode<double, 1> node;
    node.r0_ohm = 0.001;
    node.branch_ohm[0] = 0.001;
    node.branch_time_s[0] = 20;
    const std::vector<voltkeel::ResistanceNode<double, 1>> table(4, node);
    const double capacity_Ah[] = {50, 48, 53, 51};
    const double soc[] = {0.70, 0.75, 0.66, 0.71};
    std::vector<voltkeel::CellParameters<double, 1>> cells(4);
    std::vector<voltkeel::CellState<double, 1>> states(4);
    std::vector<BalancingGroup<double>> groups;
    for (std::size_t k = 0; k < 4; ++k) {
        cells[k].capacity_Ah = capacity_Ah[k];
        cells[k].ocv = {ocv, 2, 25};
        cells[k].resistance = {table.data(), voltkeel::uniform_axis(0.0, 1.0, 2),
                               voltkeel::uniform_axis(-20.0, 60.0, 2)};
        states[k].soc = soc[k];
        groups.push_back(
            group<double>(soc[k], capacity_Ah[k], 3 + 1.2 * soc[k], static_cast<int>(k / 2)));
        groups.back().ocv_slope_V = 1.2;
    }
    BalancingPlanSettings<double> settings;
    settings.soc_step_min = 0;
    settings.module_heat_max_W = 0.4;
    std::vector<GroupBleed<double>> bleeds;
    const auto plan = plan_of(groups, settings, bleeds);
    REQUIRE(plan.bleeding == 3);
    const auto given_Ah = [&] {
        auto now = states;
        const auto run = [&](double current_A, auto&& stop) {
            double moved_Ah = 0;
            while (!std::any_of(now.begin(), now.end(), stop)) {
                for (std::size_t k = 0; k < 4; ++k)
                    step(cells[k], voltkeel::CellInput<double>{current_A, 1.0, 25}, now[k]);
                moved_Ah += std::abs(current_A) / 3600;
            }
            return moved_Ah;
        };
        run(10, [](const auto& s) { return s.soc >= 1; });
        return run(-10, [](const auto& s) { return s.soc <= 0; });
    };
    CHECK(given_Ah() == Approx(plan.usable_Ah).epsilon(1e-3));
    const double dt_s = 60;
    for (double time_s = 0; time_s < plan.time_s; time_s += dt_s) {
        for (std::size_t k = 0; k < 4; ++k) {
            const double volt = voltage_at(cells[k], states[k], 0.0, 25.0).voltage_V;
            const double held_s = std::max(0.0, std::min(dt_s, bleeds[k].time_s - time_s));
            step(cells[k],
                 voltkeel::CellInput<double>{-bleeds[k].share * volt / settings.bleed_ohm, held_s,
                                             25},
                 states[k]);
        }
    }
    // The voltage falls a little while a group is bled, so a little less is bled than planned.
    CHECK(given_Ah() == Approx(plan.usable_after_Ah).epsilon(2e-3));
    CHECK(plan.usable_after_Ah == Approx(48).epsilon(1e-9));
}

TEST_CASE("a balancing plan that cannot be made is refused and changes nothing",
          "[balancing_plan]") {
    std::vector<BalancingGroup<double>> groups{group<double>(0.8, 50), group<double>(0.7, 50)};
    std::vector<GroupBleed<double>> bleeds(2);
    BalancingPlan<double> plan;
    plan.time_s = 7;
    const BalancingPlanSettings<double> settings;
    const auto refused = [&](Status expected, Status got) {
        CHECK(got == expected);
        CHECK(plan.time_s == 7);
    };
    refused(Status::missing_table,
            plan_balancing<double>(nullptr, 2, settings, bleeds.data(), plan));
    refused(Status::missing_table,
            plan_balancing<double>(groups.data(), 2, settings, nullptr, plan));
    refused(Status::out_of_range, plan_balancing(groups.data(), 0, settings, bleeds.data(), plan));
    refused(Status::out_of_range,
            plan_balancing(groups.data(), 1001, settings, bleeds.data(), plan));
    const double nan = std::numeric_limits<double>::quiet_NaN();
    auto wrong = groups;
    wrong[1].capacity_Ah = 0;
    refused(Status::sample_not_finite,
            plan_balancing(wrong.data(), 2, settings, bleeds.data(), plan));
    wrong = groups;
    wrong[0].soc = nan;
    refused(Status::sample_not_finite,
            plan_balancing(wrong.data(), 2, settings, bleeds.data(), plan));
    auto odd = settings;
    odd.bleed_ohm = 0;
    CHECK(std::string(validate(odd).field) == "bleed_ohm");
    refused(Status::out_of_range, plan_balancing(groups.data(), 2, odd, bleeds.data(), plan));
    odd = settings;
    odd.sigmas = nan;
    CHECK(validate(odd).status == Status::not_finite);
    for (auto& g : groups)
        g.valid = false;
    CHECK(plan_balancing(groups.data(), 2, settings, bleeds.data(), plan) == Status::ok);
    CHECK(plan.bleeding == 0);
    CHECK(std::string(message(static_cast<BleedReason>(5))) == "unknown reason");
    CHECK(std::string(message(BleedReason::flat)) != message(BleedReason::level));
}
