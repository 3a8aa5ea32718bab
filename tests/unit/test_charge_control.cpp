// The charge control: what each measurement leads to, and thousands of random packs, faults and
// supplies, simulated with the cell model.

#include <algorithm>
#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <limits>
#include <random>
#include <set>
#include <string>
#include <vector>

#include "support/scalars.hpp"
#include "support/seed.hpp"
#include "voltkeel/cell/heat.hpp"
#include "voltkeel/charge/control.hpp"

using voltkeel::CellParameters;
using voltkeel::CellState;
using voltkeel::ChargeControl;
using voltkeel::ChargeControlSettings;
using voltkeel::ChargeControlState;
using voltkeel::ChargeInput;
using voltkeel::ChargePhase;
using voltkeel::ChargePlan;
using voltkeel::ChargeReason;
using voltkeel::ChargeRequest;
using voltkeel::StageKind;
using voltkeel::Status;
using voltkeel::SupplyLimits;

namespace {

template <class Real>
Real real(double x) {
    return static_cast<Real>(x);
}

/// 14 groups of 4 cells of 5 Ah, 0.5 C to 4.15 V.
template <class Real>
ChargePlan<Real> usual_plan() {
    ChargePlan<Real> plan;
    plan.zone_count = 2;
    plan.zones[0] = {0, 10, real<Real>(1.25), real<Real>(4.1)};
    plan.zones[1] = {10, 45, real<Real>(2.5), real<Real>(4.15)};
    plan.zone_hysteresis_K = 2;
    plan.end_current_A = real<Real>(0.25);
    return plan;
}

template <class Real>
ChargeControlSettings<Real> usual_settings() {
    ChargeControlSettings<Real> s;
    s.series = 14;
    s.parallel = 4;
    s.capacity_Ah = 20;
    s.group_resistance_ohm = real<Real>(0.01);
    s.voltage_max_V = real<Real>(4.2);
    s.voltage_min_V = real<Real>(2.5);
    return s;
}

template <class Real>
ChargeInput<Real> usual_input() {
    ChargeInput<Real> in;
    in.measured = {
        real<Real>(3.6), real<Real>(3.61), real<Real>(50.4), 0, 20, 22, true, true, true};
    in.allowed_A = 40;
    in.supply.voltage_max_V = 65;
    in.supply.current_max_A = 30;
    in.supply.power_max_W = 3000;
    in.dt_s = real<Real>(0.5);
    return in;
}

/// A control with a charger that gives exactly what it is asked for.
template <class Real>
struct Bench {
    ChargeControl<Real> control;
    ChargeInput<Real> in = usual_input<Real>();
    ChargeRequest<Real> out{};

    explicit Bench(const ChargePlan<Real>& plan = usual_plan<Real>(),
                   const ChargeControlSettings<Real>& settings = usual_settings<Real>()) {
        REQUIRE(control.configure(plan, settings) == Status::ok);
        REQUIRE(control.start() == Status::ok);
    }
    void run(double seconds, bool follow = true) {
        const int ticks = static_cast<int>(std::lround(seconds / 0.5));
        for (int k = 0; k < ticks; ++k) {
            REQUIRE(control.step(in, out) == Status::ok);
            if (follow) in.measured.current_A = out.current_A;
        }
    }
    [[nodiscard]] std::vector<ChargeReason> log() const {
        std::vector<ChargeReason> reasons;
        const auto& state = control.state();
        const std::uint32_t kept = std::min<std::uint32_t>(state.event_count, 16);
        for (std::uint32_t k = state.event_count - kept; k < state.event_count; ++k)
            reasons.push_back(state.events[k % 16].reason);
        return reasons;
    }
};

}  // namespace

TEMPLATE_TEST_CASE("the request is the least of plan, limits and supply, and names it",
                   "[charge_control]", VOLTKEEL_SCALARS) {
    Bench<TestType> bench;
    bench.run(4);
    CHECK(bench.out.current_A == 0);
    CHECK(bench.out.reason == ChargeReason::starting_again);
    bench.run(5);
    CHECK(bench.out.current_A > 0);
    CHECK(bench.out.current_A < 10);
    CHECK(bench.out.reason == ChargeReason::ramp);
    bench.run(20);
    CHECK(static_cast<double>(bench.out.current_A) == Approx(10));  // 4 cells of 2.5 A
    CHECK(bench.out.reason == ChargeReason::plan);
    CHECK(bench.out.phase == ChargePhase::constant_current);
    CHECK(static_cast<double>(bench.out.voltage_V) == Approx(14 * 4.15).epsilon(1e-5));
    bench.in.allowed_A = 6;
    bench.run(0.5);
    CHECK(bench.out.current_A == 6);  // at once, the word for it once it lasts
    bench.run(5);
    CHECK(bench.out.reason == ChargeReason::limits);
    bench.in.supply.power_max_W = 252;
    bench.run(5);
    CHECK(static_cast<double>(bench.out.current_A) == Approx(5).epsilon(1e-5));
    CHECK(bench.out.reason == ChargeReason::supply);
    bench.in.measured.temperature_min_degC = 9;
    bench.in.allowed_A = 40;
    bench.in.supply.power_max_W = 3000;
    bench.run(30);
    CHECK(static_cast<double>(bench.out.current_A) == Approx(5).epsilon(1e-5));  // colder zone
    bench.in.measured.temperature_min_degC = real<TestType>(10.5);
    bench.run(30);
    CHECK(static_cast<double>(bench.out.current_A) == Approx(5).epsilon(1e-5));  // hysteresis
    bench.in.measured.temperature_min_degC = real<TestType>(12.5);
    bench.run(30);
    CHECK(static_cast<double>(bench.out.current_A) == Approx(10).epsilon(1e-5));
}

TEMPLATE_TEST_CASE("the taper ends after its dwell, not at a dip", "[charge_control]",
                   VOLTKEEL_SCALARS) {
    Bench<TestType> bench;
    bench.run(30);
    bench.in.measured.group_voltage_max_V = real<TestType>(4.149);
    bench.in.measured.current_A = real<TestType>(0.9);
    bench.run(20, false);
    CHECK(bench.out.phase == ChargePhase::constant_voltage);
    bench.in.measured.current_A = 3;  // a dip, over
    bench.run(1, false);
    bench.in.measured.current_A = real<TestType>(0.9);
    bench.run(29, false);
    CHECK(bench.out.phase == ChargePhase::constant_voltage);
    bench.run(2, false);
    CHECK(bench.out.phase == ChargePhase::done);
    CHECK(bench.out.reason == ChargeReason::taper_end);
    CHECK(bench.out.current_A == 0);
    CHECK(bench.out.voltage_V == 0);
    CHECK_FALSE(bench.out.open_contactor);
    CHECK(bench.out.remaining_s == 0);
    bench.run(100, false);
    CHECK(bench.out.phase == ChargePhase::done);
    REQUIRE(bench.control.start() == Status::ok);
    CHECK_FALSE(bench.control.over());
}

TEMPLATE_TEST_CASE("every fault stops the charge, opens the contactor and stays",
                   "[charge_control]", VOLTKEEL_SCALARS) {
    struct Row {
        ChargeReason reason;
        void (*change)(Bench<TestType>&);
        double seconds;
    };
    const Row rows[] = {
        {ChargeReason::over_voltage,
         [](auto& b) { b.in.measured.group_voltage_max_V = real<TestType>(4.21); }, 1},
        {ChargeReason::under_voltage,
         [](auto& b) { b.in.measured.group_voltage_min_V = real<TestType>(2.4); }, 1},
        {ChargeReason::over_temperature, [](auto& b) { b.in.measured.temperature_max_degC = 61; },
         6},
        {ChargeReason::under_temperature, [](auto& b) { b.in.measured.temperature_min_degC = -21; },
         6},
        {ChargeReason::lost_measurement, [](auto& b) { b.in.measured.voltage_valid = false; }, 6},
        {ChargeReason::lost_measurement, [](auto& b) { b.in.measured.current_valid = false; }, 6},
        {ChargeReason::lost_measurement, [](auto& b) { b.in.measured.temperature_valid = false; },
         6},
        {ChargeReason::lost_measurement,
         [](auto& b) {
             b.in.measured.group_voltage_max_V = std::numeric_limits<TestType>::quiet_NaN();
         },
         6},
        {ChargeReason::lost_measurement,
         [](auto& b) { b.in.allowed_A = std::numeric_limits<TestType>::quiet_NaN(); }, 6},
        {ChargeReason::over_current, [](auto& b) { b.in.measured.current_A = 20; }, 6},
    };
    for (const Row& row : rows) {
        CAPTURE(message(row.reason));
        Bench<TestType> bench;
        bench.run(40);
        REQUIRE(bench.out.current_A > 9);
        row.change(bench);
        bench.run(row.seconds, row.reason != ChargeReason::over_current);
        CHECK(bench.out.reason == row.reason);
        CHECK(bench.out.phase == ChargePhase::fault);
        CHECK(bench.out.current_A == 0);
        CHECK(bench.out.open_contactor);
        CHECK(bench.log().back() == row.reason);
        bench.in = usual_input<TestType>();
        bench.run(60);
        CHECK(bench.out.reason == row.reason);
        CHECK(bench.out.current_A == 0);
    }
}

TEMPLATE_TEST_CASE("what passes pauses the charge, and it goes on by itself", "[charge_control]",
                   VOLTKEEL_SCALARS) {
    struct Row {
        ChargeReason reason;
        ChargePhase phase;
        void (*change)(ChargeInput<TestType>&);
        double seconds;
    };
    const Row rows[] = {
        {ChargeReason::no_supply, ChargePhase::no_supply,
         [](auto& in) { in.supply.power_max_W = 0; }, 600},
        {ChargeReason::switched_off, ChargePhase::waiting, [](auto& in) { in.enabled = false; },
         600},
        {ChargeReason::no_limits, ChargePhase::waiting, [](auto& in) { in.allowed_A = 0; }, 600},
        {ChargeReason::too_cold, ChargePhase::not_allowed,
         [](auto& in) { in.measured.temperature_min_degC = -5; }, 600},
        {ChargeReason::too_hot, ChargePhase::not_allowed,
         [](auto& in) { in.measured.temperature_max_degC = 50; }, 600},
        {ChargeReason::missing_sample, ChargePhase::waiting,
         [](auto& in) { in.measured.voltage_valid = false; }, 2},
    };
    for (const Row& row : rows) {
        CAPTURE(message(row.reason));
        Bench<TestType> bench;
        bench.run(40);
        row.change(bench.in);
        bench.run(0.5);
        CHECK(bench.out.current_A == 0);  // at once
        bench.run(row.seconds);
        CHECK(bench.out.phase == row.phase);
        CHECK(bench.out.reason == row.reason);
        CHECK_FALSE(bench.out.open_contactor);
        bench.in = usual_input<TestType>();
        bench.run(4);
        CHECK(bench.out.current_A == 0);  // wait whether it stays
        bench.run(30);
        CHECK(static_cast<double>(bench.out.current_A) == Approx(10));
        CHECK(bench.control.state().stage == 0);
        CHECK(bench.log().size() >= 4);
    }
    Bench<TestType> bench;
    bench.run(40);
    bench.in.allowed_A = real<TestType>(0.5);
    bench.run(910);
    CHECK(bench.out.reason == ChargeReason::limits_end);
    CHECK(bench.out.phase == ChargePhase::done);
}

TEMPLATE_TEST_CASE("charge without a rise, too much of it and too much time stop the charge",
                   "[charge_control]", VOLTKEEL_SCALARS) {
    {
        Bench<TestType> bench;
        bench.run(5000);  // 13.9 Ah of 20, and the voltage has not moved
        CHECK(bench.out.reason == ChargeReason::no_voltage_rise);
    }
    {
        auto settings = usual_settings<TestType>();
        settings.rise_voltage_V = 0;
        Bench<TestType> bench(usual_plan<TestType>(), settings);
        bench.in.soc = real<TestType>(0.7);
        bench.run(3000);
        CHECK_FALSE(bench.control.over());
        bench.run(1000);  // 0.3 missing, 0.2 more: 10 Ah, an hour at 10 A
        CHECK(bench.out.reason == ChargeReason::too_much_charge);
        settings.longest_s = 600;
        Bench<TestType> slow(usual_plan<TestType>(), settings);
        slow.in.supply.power_max_W = 0;
        slow.run(601);
        CHECK(slow.out.reason == ChargeReason::timeout);
    }
    auto plan = usual_plan<TestType>();
    plan.stage_count = 1;
    plan.stages[0].longest_s = 100;
    Bench<TestType> bench(plan);
    bench.run(50);
    bench.in.supply.power_max_W = 0;
    bench.run(300);  // pauses do not count for a stage
    CHECK_FALSE(bench.control.over());
    bench.in.supply.power_max_W = 3000;
    bench.run(70);
    CHECK(bench.out.reason == ChargeReason::stage_timeout);
}

TEMPLATE_TEST_CASE("stages follow one another; balancing ends when the groups are close",
                   "[charge_control]", VOLTKEEL_SCALARS) {
    auto plan = usual_plan<TestType>();
    plan.stage_count = 4;
    plan.stages[0].kind = StageKind::constant_power;
    plan.stages[0].power_W = 5;
    plan.stages[0].voltage_V = 4;
    plan.stages[1].kind = StageKind::rest;
    plan.stages[1].longest_s = 60;
    plan.stages[2].kind = StageKind::balancing;
    plan.stages[2].longest_s = 3600;
    plan.stages[2].end_spread_V = real<TestType>(0.01);
    plan.stages[3].kind = StageKind::constant_voltage;
    Bench<TestType> bench(plan);
    bench.run(40);
    CHECK(bench.out.phase == ChargePhase::constant_power);
    CHECK(static_cast<double>(bench.out.current_A) == Approx(5.0 * 56 / 50.4).epsilon(1e-5));
    bench.in.measured.group_voltage_max_V = real<TestType>(3.998);
    bench.run(4);
    CHECK(bench.out.stage == 1);
    CHECK(bench.out.phase == ChargePhase::rest);
    CHECK(bench.out.current_A == 0);
    CHECK_FALSE(bench.out.balance);
    bench.run(60);
    CHECK(bench.out.stage == 2);
    bench.in.measured.group_voltage_min_V = real<TestType>(3.95);
    bench.run(600);
    CHECK(bench.out.phase == ChargePhase::balancing);
    CHECK(bench.out.balance);
    bench.in.measured.group_voltage_min_V = real<TestType>(3.99);
    bench.run(31);
    CHECK(bench.out.stage == 3);
    bench.run(30);
    CHECK(static_cast<double>(bench.out.current_A) == Approx(10));
    CHECK_FALSE(bench.out.balance);
    // Every stage that began is in the log.
    std::vector<int> began;
    const auto& state = bench.control.state();
    REQUIRE(state.event_count <= 16);
    for (std::uint32_t k = 0; k < state.event_count; ++k) {
        if (state.events[k].reason == ChargeReason::next_stage)
            began.push_back(state.events[k].stage);
    }
    CHECK(began == std::vector<int>{1, 2, 3});
}

TEMPLATE_TEST_CASE("one group alone has nothing to be balanced with", "[charge_control]",
                   VOLTKEEL_SCALARS) {
    auto plan = usual_plan<TestType>();
    plan.stage_count = 2;
    plan.stages[0].kind = StageKind::balancing;
    plan.stages[0].longest_s = 3600;
    plan.stages[1].kind = StageKind::constant_voltage;
    for (const int series : {1, 14}) {
        auto settings = usual_settings<TestType>();
        settings.series = series;
        Bench<TestType> bench(plan, settings);
        bench.in.measured.group_voltage_max_V = bench.in.measured.group_voltage_min_V;
        bench.run(static_cast<double>(settings.end_dwell_s) + 1);
        CHECK(bench.out.stage == (series == 1 ? 1 : 0));
    }
}

TEMPLATE_TEST_CASE("another temperature zone is in the log, with its current", "[charge_control]",
                   VOLTKEEL_SCALARS) {
    Bench<TestType> bench;  // 5 A below 10 degC, 10 A above
    const auto zones = [&] {
        const auto reasons = bench.log();
        return std::count(reasons.begin(), reasons.end(), ChargeReason::zone);
    };
    bench.run(60);
    CHECK(zones() == 0);
    bench.in.measured.temperature_min_degC = 5;
    bench.run(10);
    REQUIRE(zones() == 1);
    const auto& state = bench.control.state();
    const auto& last = state.events[(state.event_count - 1) % 16];
    REQUIRE(last.reason == ChargeReason::zone);
    CHECK(last.phase == bench.out.phase);
    CHECK(last.value == Approx(5));
    CHECK(bench.out.current_A == Approx(5));
    bench.in.measured.temperature_min_degC = 20;
    bench.run(10);
    CHECK(zones() == 2);
}

TEMPLATE_TEST_CASE("the remaining time: a forecast counted down, else the taper tells",
                   "[charge_control]", VOLTKEEL_SCALARS) {
    auto settings = usual_settings<TestType>();
    settings.over_current_A = 100;  // the taper below does not ask the control
    Bench<TestType> bench(usual_plan<TestType>(), settings);
    bench.run(40);
    CHECK(bench.out.remaining_s < 0);
    bench.in.forecast_s = 3000;
    bench.run(0.5);
    bench.in.forecast_s = -1;
    bench.run(100);
    CHECK(static_cast<double>(bench.out.remaining_s) == Approx(2900).margin(1));
    // A taper with a time constant of 1000 s, 4 A towards 1 A: 1000 ln 4 seconds and the dwell.
    bench.in.measured.group_voltage_max_V = real<TestType>(4.149);
    double left_s = 0;
    for (int k = 0; k < 360; ++k) {
        const double current_A = 4 * std::exp(-0.5 * k / 1000);
        bench.in.measured.current_A = real<TestType>(current_A);
        bench.run(0.5, false);
        left_s = 1000 * std::log(current_A);
    }
    CHECK(static_cast<double>(bench.out.remaining_s) == Approx(left_s + 30).epsilon(0.03));
}

TEST_CASE("a state that was kept goes on where it was", "[charge_control]") {
    Bench<double> bench;
    bench.run(600);
    const ChargeControlState<double> kept = bench.control.state();
    ChargeControl<double> again;
    CHECK(again.restore(kept) == Status::not_started);
    REQUIRE(again.configure(usual_plan<double>(), usual_settings<double>()) == Status::ok);
    REQUIRE(again.restore(kept) == Status::ok);
    ChargeRequest<double> out;
    REQUIRE(again.step(bench.in, out) == Status::ok);
    CHECK(out.current_A == 0);  // carefully: from the restart on
    CHECK(again.state().charge_As > kept.charge_As);
    ChargeControlState<double> wrong = kept;
    wrong.stage = 7;
    CHECK(again.restore(wrong) == Status::out_of_range);
    wrong = kept;
    wrong.time_s = std::numeric_limits<double>::quiet_NaN();
    CHECK(again.restore(wrong) == Status::not_finite);
}

TEST_CASE("a control that cannot be set up says why and asks for nothing", "[charge_control]") {
    ChargeControl<double> control;
    ChargeRequest<double> out;
    out.current_A = 5;
    CHECK(control.start() == Status::not_started);
    CHECK(control.step(usual_input<double>(), out) == Status::not_started);
    CHECK(out.current_A == 0);
    const auto refused = [&](auto change, Status status, const std::string& field) {
        auto settings = usual_settings<double>();
        change(settings);
        CAPTURE(field);
        CHECK(control.configure(usual_plan<double>(), settings) == status);
        if (!field.empty()) CHECK(validate(settings).field == field);
    };
    const double nan = std::numeric_limits<double>::quiet_NaN();
    refused([](auto& s) { s = {}; }, Status::out_of_range, "series");
    refused([](auto& s) { s.capacity_Ah = 0; }, Status::out_of_range, "capacity_Ah");
    refused([&](auto& s) { s.rise_s = nan; }, Status::not_finite, "rise_s");
    refused([](auto& s) { s.voltage_min_V = 4.3; }, Status::out_of_range, "voltage_max_V");
    refused([](auto& s) { s.temperature_min_degC = 70; }, Status::out_of_range,
            "temperature_max_degC");
    refused([](auto& s) { s.control_share = 1.5; }, Status::out_of_range, "control_share");
    refused([](auto& s) { s.voltage_max_V = 4.12; }, Status::out_of_range, "");  // below the plan
    auto plan = usual_plan<double>();
    plan.zone_count = 0;
    CHECK(control.configure(plan, usual_settings<double>()) == Status::out_of_range);

    Bench<double> bench;
    bench.run(40);
    for (const double dt_s : {-0.1, 10.1, nan}) {
        bench.in.dt_s = dt_s;
        CHECK(bench.control.step(bench.in, bench.out) == Status::time_step_invalid);
        CHECK(bench.out.current_A == 0);
    }
    bench.in.dt_s = 0.5;
    bench.run(40);
    CHECK(bench.out.current_A == Approx(10));
}

TEST_CASE("charge reasons have their numbers and words", "[charge_control]") {
    const int known[] = {0,  1,  2,  3,  4,  5,  6,  7,  10, 11, 12, 13, 14, 15, 16,
                         17, 18, 20, 21, 22, 30, 31, 32, 33, 34, 35, 36, 37, 38, 39};
    CHECK(static_cast<int>(ChargeReason::ramp) == 5);
    CHECK(static_cast<int>(ChargeReason::zone) == 7);
    CHECK(static_cast<int>(ChargeReason::starting_again) == 18);
    CHECK(static_cast<int>(ChargeReason::plan_end) == 22);
    CHECK(static_cast<int>(ChargeReason::over_voltage) == 30);
    CHECK(static_cast<int>(ChargeReason::timeout) == 39);
    std::set<std::string> words;
    for (int number = 0; number < 256; ++number) {
        const std::string text = message(static_cast<ChargeReason>(number));
        const bool is_known =
            std::find(std::begin(known), std::end(known), number) != std::end(known);
        CAPTURE(number);
        CHECK((text != "unknown reason") == is_known);
        if (is_known) CHECK(words.insert(text).second);
    }
}

// ------------------------------------------------------------------------------ random packs

namespace {

enum class Trouble {
    none,
    supply_drops,
    supply_gone,
    samples_missing,
    sensor_lost,
    charger_stuck,
    charger_strong,
    false_current,
    hot,
    cold,
    limits_fall,
    count
};

/// A pack of groups of unequal cells behind a charger that lags, ripples and may fail.
struct Plant {
    static constexpr int nodes = 21;
    std::array<voltkeel::OcvNode<double>, nodes> ocv{};
    std::array<voltkeel::ResistanceNode<double, 1>, nodes * 2> resistance{};
    std::vector<CellParameters<double, 1>> groups;
    std::vector<CellState<double, 1>> states;
    double capacity_Ah{0};
    double degC{25};
    double ambient_degC{25};
    double rise_K{0};  ///< Above the surroundings at `rise_A`, for ever.
    double rise_A{1};
    double charger_A{0};
    double largest_ohm{0};

    Plant() = default;
    Plant(const Plant&) = delete;
    Plant& operator=(const Plant&) = delete;

    void make(std::mt19937_64& random, bool flat) {
        const auto between = [&](double low, double high) {
            return std::uniform_real_distribution<double>(low, high)(random);
        };
        capacity_Ah = std::exp(between(std::log(2.0), std::log(300.0)));
        const double ohm = between(0.03, 0.15) / capacity_Ah;
        for (int k = 0; k < nodes; ++k) {
            const double soc = k / double(nodes - 1);
            // Iron phosphate is flat and ends in a cliff.
            const double volt = flat ? 3.2 + 0.13 * soc - 0.6 * std::exp(-30 * soc) +
                                           0.25 * std::exp(-40 * (1 - soc))
                                     : 3.3 + 0.85 * soc - 0.4 * std::exp(-20 * soc);
            ocv[static_cast<std::size_t>(k)] = {volt, 0, 0};
            for (int t = 0; t < 2; ++t) {
                auto& node = resistance[static_cast<std::size_t>(t * nodes + k)];
                node.r0_ohm = ohm;
                node.branch_ohm[0] = ohm * (1 + 2 * std::exp(-15 * (1 - soc)));
                node.branch_time_s[0] = between(20, 60);
            }
        }
        const int count = std::uniform_int_distribution<int>(2, 5)(random);
        const double soc = between(0.05, 0.9);
        for (int g = 0; g < count; ++g) {
            CellParameters<double, 1> group;
            group.capacity_Ah = capacity_Ah * between(0.85, 1.1);
            group.ocv = {ocv.data(), nodes, 25};
            group.resistance = {resistance.data(), voltkeel::uniform_axis(0.0, 1.0, nodes),
                                voltkeel::uniform_axis(-20.0, 60.0, 2)};
            groups.push_back(group);
            CellState<double, 1> state;
            state.soc = std::min(0.98, std::max(0.02, soc + between(-0.08, 0.08)));
            state.resistance_scale = between(0.7, 1.8);
            largest_ohm = std::max(largest_ohm, state.resistance_scale * ohm);
            states.push_back(state);
        }
    }
    static constexpr double warming_s = 1800;  // time constant
    void advance(double dt_s) {
        const double share = charger_A / rise_A;
        degC += dt_s * (rise_K * share * share - (degC - ambient_degC)) / warming_s;
        for (std::size_t g = 0; g < groups.size(); ++g)
            step(groups[g], voltkeel::CellInput<double>{charger_A, dt_s, degC}, states[g]);
    }
    [[nodiscard]] double group_V(std::size_t g) const {
        return voltage_at(groups[g], states[g], charger_A, degC).voltage_V;
    }
};

}  // namespace

TEMPLATE_TEST_CASE("random packs, faults and supplies: no window is left and every run ends",
                   "[charge_control][campaign]", VOLTKEEL_SCALARS) {
    const std::uint64_t seed = voltkeel_test::seed();
    std::set<ChargeReason> ends;
    double worst_mV = -1e9;
    int full = 0;
    int met_heat = 0;  // runs that came to the end of the warmest zone
    constexpr int runs = VOLTKEEL_CASES(1500, 300);
    for (int run = 0; run < runs; ++run) {
        std::mt19937_64 random(seed + 7919 * static_cast<std::uint64_t>(run));
        const auto between = [&](double low, double high) {
            return std::uniform_real_distribution<double>(low, high)(random);
        };
        const auto trouble = static_cast<Trouble>(
            run % 2 == 0 ? 0
                         : std::uniform_int_distribution<int>(
                               1, static_cast<int>(Trouble::count) - 1)(random));
        const bool flat = run % 3 == 0;
        Plant plant;
        plant.make(random, flat);
        const double q = plant.capacity_Ah;
        const double dt_s = std::exp(between(std::log(0.2), std::log(2.0)));
        const double noise_V = between(0, 0.0015);
        const double ripple = between(0, 0.01);
        const double lag_s = between(0.1, 1.0);
        const double gain = between(0.97, 1.01);
        const double plan_V = flat ? between(3.5, 3.6) : between(4.05, 4.15);

        ChargePlan<TestType> plan;
        plan.zone_count = 2;
        plan.zones[0] = {0, 10, real<TestType>(q * 0.2), real<TestType>(plan_V - 0.05)};
        plan.zones[1] = {10, 45, real<TestType>(q * between(0.3, 1.5)), real<TestType>(plan_V)};
        plan.end_current_A = real<TestType>(q * between(0.03, 0.1));
        plan.zone_hysteresis_K = real<TestType>(between(0, 3));
        if (run % 5 == 0) {
            plan.stage_count = 3;
            plan.stages[0].voltage_V = real<TestType>(plan_V - 0.03);
            plan.stages[0].kind = static_cast<StageKind>(run % 3);
            plan.stages[0].power_W = real<TestType>(q * 2);
            plan.stages[1].kind = run % 2 == 0 ? StageKind::balancing : StageKind::rest;
            plan.stages[1].longest_s = 300;
        }
        ChargeControlSettings<TestType> settings;
        settings.series = static_cast<int>(plant.groups.size());
        settings.parallel = 1;
        settings.capacity_Ah = real<TestType>(q);
        // Known to a factor of 1.6 either way.
        settings.group_resistance_ohm =
            real<TestType>(plant.largest_ohm * std::exp(between(-0.5, 0.5)));
        const double window_V = plan_V + between(0.03, 0.06);
        settings.voltage_max_V = real<TestType>(window_V);
        settings.voltage_min_V = 2;
        settings.longest_s = 8 * 3600;
        ChargeControl<TestType> control;
        REQUIRE(control.configure(plan, settings) == Status::ok);
        REQUIRE(control.start() == Status::ok);

        SupplyLimits<TestType> supply;
        supply.voltage_max_V = real<TestType>(settings.series * 5);
        supply.current_max_A = real<TestType>(q * between(0.2, 2));
        supply.power_max_W = real<TestType>(q * settings.series * between(0.8, 8));
        const double trouble_s = between(20, 4000);
        const double trouble_end_s = trouble_s + between(10, 3000);
        const double ambient_degC = between(5, 35);
        plant.degC = plant.ambient_degC = ambient_degC;
        plant.rise_K = between(0, 40);
        plant.rise_A = static_cast<double>(plan.zones[1].current_A);

        CAPTURE(seed, run, static_cast<int>(trouble), flat, q, dt_s, noise_V, ripple, lag_s, gain);
        ChargeRequest<TestType> out;
        ChargeInput<TestType> in;
        double time_s = 0;
        double highest_V = 0;
        double last_A = 0;
        // A group may be fuller than the plan wants before anything flows.
        double start_V = 0;
        double start_low_V = 10;
        for (std::size_t g = 0; g < plant.groups.size(); ++g) {
            start_V = std::max(start_V, plant.group_V(g));
            start_low_V = std::min(start_low_V, plant.group_V(g));
        }
        const auto started = plant.states;
        double low_V = 10;
        double hottest_degC = plant.degC;
        double cold_A = 0;           // most that was asked for in the cold zone
        bool outside_zones = false;  // asked for a current where no zone allows one
        double jump_V = 0;
        bool least_of_all = true;
        while (!control.over() && time_s < 9 * 3600) {
            const bool troubled = time_s >= trouble_s;
            const bool passing = troubled && time_s < trouble_end_s;
            in.supply = supply;
            in.allowed_A = real<TestType>(q * 3);
            in.measured.voltage_valid = true;
            in.measured.temperature_valid = true;
            bool stuck = false;
            double strength = gain;
            double shown_A = plant.charger_A;
            double shown_degC = plant.degC;
            switch (trouble) {
                case Trouble::supply_drops:
                    if (passing) in.supply.power_max_W = 0;
                    break;
                case Trouble::supply_gone:
                    if (troubled) in.supply.current_max_A = 0;
                    break;
                case Trouble::samples_missing:
                    in.measured.voltage_valid = !(passing && between(0, 1) < 0.02);
                    break;
                case Trouble::sensor_lost:
                    in.measured.temperature_valid = !troubled;
                    break;
                case Trouble::charger_stuck:
                    stuck = troubled;
                    break;
                case Trouble::charger_strong:
                    if (troubled) strength = 1.4;
                    // No control sees this coming: it must not get worse from there.
                    if (troubled && jump_V == 0) {
                        jump_V = 0.4 *
                                 std::max(plant.charger_A, static_cast<double>(out.current_A)) *
                                 plant.largest_ohm;
                    }
                    break;
                case Trouble::false_current:  // shows what was asked for, gives nothing
                    if (troubled) {
                        strength = 0;
                        shown_A = static_cast<double>(out.current_A);
                    }
                    break;
                case Trouble::hot:
                    if (passing) shown_degC += (time_s - trouble_s) * 0.02;
                    break;
                case Trouble::cold:
                    if (passing) shown_degC -= (time_s - trouble_s) * 0.02;
                    break;
                case Trouble::limits_fall:
                    if (troubled) {
                        in.allowed_A =
                            real<TestType>(q * 3 * std::max(0.0, 1 - (time_s - trouble_s) / 1000));
                    }
                    break;
                default:
                    break;
            }
            double lowest_V = 10;
            double top_V = 0;
            double sum_V = 0;
            for (std::size_t g = 0; g < plant.groups.size(); ++g) {
                const double volt = plant.group_V(g);
                highest_V = std::max(highest_V, volt);
                low_V = std::min(low_V, volt);
                sum_V += volt;
                const double shown_V = volt + between(-noise_V, noise_V);
                lowest_V = std::min(lowest_V, shown_V);
                top_V = std::max(top_V, shown_V);
            }
            in.measured.group_voltage_min_V = real<TestType>(lowest_V);
            in.measured.group_voltage_max_V = real<TestType>(top_V);
            in.measured.pack_voltage_V = real<TestType>(sum_V);
            in.measured.current_A = real<TestType>(shown_A * (1 + between(-0.002, 0.002)));
            in.measured.temperature_min_degC = real<TestType>(shown_degC - 1);
            in.measured.temperature_max_degC = real<TestType>(shown_degC + 1);
            in.dt_s = real<TestType>(dt_s);
            const bool taken = control.step(in, out) == Status::ok;

            // Never more than plan, limits and supply allow.
            const auto asked_A = static_cast<double>(out.current_A);
            hottest_degC = std::max(hottest_degC, plant.degC);
            outside_zones =
                outside_zones || (asked_A > 0 && (in.measured.temperature_min_degC < 0 ||
                                                  in.measured.temperature_max_degC > 45));
            cold_A = in.measured.temperature_min_degC < 10 ? std::max(cold_A, asked_A) : cold_A;
            const double slack = 1 + 1e-5;
            least_of_all = least_of_all && taken && asked_A >= 0 &&
                           asked_A <= static_cast<double>(plan.zones[1].current_A) * slack &&
                           asked_A <= static_cast<double>(in.allowed_A) * slack &&
                           asked_A <= static_cast<double>(in.supply.current_max_A) * slack &&
                           asked_A * sum_V <= static_cast<double>(in.supply.power_max_W) * slack &&
                           static_cast<double>(out.voltage_V) <= plan_V * settings.series * slack;

            const double target_A =
                stuck ? last_A : strength * asked_A * (1 + between(-ripple, ripple));
            last_A = stuck ? last_A : target_A;
            plant.charger_A += (target_A - plant.charger_A) * (1 - std::exp(-dt_s / lag_s));
            if (out.open_contactor) plant.charger_A = 0;
            plant.advance(dt_s);
            time_s += dt_s;
        }
        const auto& state = control.state();
        CAPTURE(message(state.reason), time_s, highest_V - window_V, highest_V - plan_V);
        CHECK(control.over());
        CHECK(least_of_all);
        ends.insert(state.reason);
        // Ripple that a measurement shows: its noise, and the current's on the resistance.
        const double ripple_V =
            noise_V + 2 * ripple * static_cast<double>(plan.zones[1].current_A) * plant.largest_ohm;
        // A charger that does not obey goes on until the over-voltage has lasted, and a tick more.
        const auto most_A = static_cast<double>(plan.zones[1].current_A);
        const double slope_V_per_s = (flat ? 10.2 : 0.9) * most_A / (0.85 * q * 3600);
        const bool obeys = trouble != Trouble::charger_stuck && trouble != Trouble::charger_strong;
        const double late_V =
            obeys ? 0 : slope_V_per_s * (static_cast<double>(settings.over_voltage_s) + 2 * dt_s);
        const double bound_V = std::max(window_V, start_V) + ripple_V + jump_V + late_V;
        CHECK(highest_V <= bound_V);
        // Nothing discharges: no group falls below where it began, in voltage or SOC, so not out
        // of a window either; and none is fuller than one that has the highest voltage at rest.
        CHECK(low_V >= start_low_V - 1e-9);
        CHECK(low_V > static_cast<double>(settings.voltage_min_V));
        const double last_slope_V =
            (plant.ocv[Plant::nodes - 1].mean_V - plant.ocv[Plant::nodes - 2].mean_V) *
            (Plant::nodes - 1);
        const double most_soc = 1 + (bound_V - plant.ocv[Plant::nodes - 1].mean_V) / last_slope_V;
        for (std::size_t g = 0; g < plant.states.size(); ++g) {
            CHECK(plant.states[g].soc >= started[g].soc);
            CHECK(plant.states[g].soc <= std::max(started[g].soc, most_soc));
        }
        // No current where no zone allows one, the cold zone's in the cold; so the pack, whose
        // sensors are 1 K about it, gets no warmer than 44 degC but by what it warms in a tick and
        // while the charger lets go.
        CHECK_FALSE(outside_zones);
        CHECK(cold_A <= static_cast<double>(plan.zones[0].current_A) * (1 + 1e-5));
        const bool true_degC = trouble != Trouble::hot && trouble != Trouble::cold;
        if (obeys && true_degC) {
            CHECK(hottest_degC <= std::max(ambient_degC, 44.0) +
                                      plant.rise_K * (dt_s + 5 * lag_s) / Plant::warming_s);
            met_heat += hottest_degC > 43.9;
        }
        // What is over stays over.
        CHECK(control.step(in, out) == Status::ok);
        CHECK(out.current_A == 0);
        CHECK(out.open_contactor == (state.phase == ChargePhase::fault));
        if (trouble == Trouble::none) {
            // The plan's own voltage is passed by no more than a group rises within a tick and
            // while the charger lets go: up its OCV (steepest slope, smallest group), and its slow
            // branch.
            const double over_s = dt_s + lag_s;
            const double tick_V =
                slope_V_per_s * over_s + 3 * plant.largest_ohm * most_A * over_s / 20;
            CHECK(highest_V <= std::max(plan_V, start_V) + ripple_V + std::min(tick_V, 0.004));
            worst_mV =
                std::max(worst_mV, 1000 * (highest_V - std::max(plan_V, start_V) - ripple_V));
            const bool was_over = start_V > window_V - noise_V;
            CHECK((state.reason == ChargeReason::taper_end ||
                   (was_over && state.reason == ChargeReason::over_voltage)));
            full += state.reason == ChargeReason::taper_end;
        }
    }
    std::printf("[charge_control] seed %llu: %d packs, at worst %.2f mV above the plan's voltage\n",
                static_cast<unsigned long long>(seed), runs, worst_mV);
    for (const ChargeReason reason :
         {ChargeReason::taper_end, ChargeReason::limits_end, ChargeReason::lost_measurement,
          ChargeReason::over_current, ChargeReason::timeout}) {
        CAPTURE(message(reason));
        CHECK(ends.count(reason) == 1);
    }
    CHECK(full > runs * 45 / 100);
    CHECK(met_heat > runs / 100);
}
