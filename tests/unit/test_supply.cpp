// The charging supply: every edge of the pilot and proximity tables, the least of all ceilings, and
// a charger's efficiency both ways.

#include <algorithm>
#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <random>
#include <string>

#include "support/error_text.hpp"
#include "support/scalars.hpp"
#include "support/seed.hpp"
#include "voltkeel/charge/supply.hpp"
#include "voltkeel/io/supply_file.hpp"

using voltkeel::AvailableCurrent;
using voltkeel::CableMeaning;
using voltkeel::CableRating;
using voltkeel::PilotMeaning;
using voltkeel::PilotSignal;
using voltkeel::PowerEfficiency;
using voltkeel::ProximityWindows;
using voltkeel::Status;
using voltkeel::Supply;
using voltkeel::SupplyKind;
using voltkeel::SupplyLimits;
using voltkeel::SupplyReason;

namespace {

template <class Real>
Real real(double x) {
    return static_cast<Real>(x);
}

/// An invented single-phase charger of 3.3 kW on a socket of 16 A.
template <class Real>
Supply<Real> wall() {
    Supply<Real> supply;
    supply.ac.outlet_current_A = 16;
    supply.charger.voltage_min_V = 40;
    supply.charger.voltage_max_V = 60;
    supply.charger.current_max_A = 60;
    supply.charger.power_max_W = 3300;
    supply.charger.efficiency.efficiency[0] = real<Real>(0.93);
    return supply;
}

template <class Real>
AvailableCurrent<Real> available(const Supply<Real>& supply, double pack_V,
                                 double allowed_A = 1000) {
    REQUIRE(validate(supply).status == Status::ok);
    SupplyLimits<Real> limits;
    REQUIRE(supply_limits(supply, limits) == Status::ok);
    AvailableCurrent<Real> result;
    REQUIRE(available_current(limits, real<Real>(pack_V), real<Real>(allowed_A), result) ==
            Status::ok);
    return result;
}

}  // namespace

// Duty cycle to current: IEC 61851-1, Annex A, as a published manual of a charging-station test
// adapter restates it (its Table 4).
TEMPLATE_TEST_CASE("control pilot: every edge of the published table", "[supply]",
                   VOLTKEEL_SCALARS) {
    struct Row {
        double percent;
        PilotMeaning meaning;
        double current_A;
    };
    const double below = sizeof(TestType) == 4 ? 1e-5 : 1e-12;
    const PilotMeaning off = PilotMeaning::no_charging;
    const PilotMeaning digital = PilotMeaning::digital_communication;
    const PilotMeaning amps = PilotMeaning::current;
    const Row rows[] = {
        {0, off, 0},
        {1.5, off, 0},
        {3 * (1 - below), off, 0},
        {3, digital, 0},
        {4.5, digital, 0},
        {5, digital, 0},
        {5.5, digital, 0},
        {7, digital, 0},
        {7 * (1 + below), off, 0},
        {7.5, off, 0},
        {8 * (1 - below), off, 0},
        {8, amps, 6},
        {9.9, amps, 6},
        {10 * (1 - below), amps, 6},
        {10, amps, 6},
        {16, amps, 9.6},
        {20, amps, 12},
        {25, amps, 15},
        {30, amps, 18},
        {50, amps, 30},
        {60, amps, 36},
        {80, amps, 48},
        {85, amps, 51},
        {85.1, amps, 52.75},
        {86, amps, 55},
        {87, amps, 57.5},
        {90, amps, 65},
        {95, amps, 77.5},
        {96, amps, 80},
        {96.5, amps, 80},
        {97, amps, 80},
        {97 * (1 + below), off, 0},
        {97.1, off, 0},
        {100, off, 0},
    };
    for (const Row& row : rows) {
        CAPTURE(row.percent);
        PilotSignal<TestType> signal;
        CHECK(pilot_signal(real<TestType>(row.percent), signal) == Status::ok);
        CHECK(signal.meaning == row.meaning);
        CHECK(static_cast<double>(signal.current_A) ==
              Approx(row.current_A).epsilon(1e-5).margin(1e-12));
    }
}

// Proximity resistor to rating: windows of a published controller manual, and those of IEC 61851-1
// from memory.
TEMPLATE_TEST_CASE("proximity: every edge of both sets of windows", "[supply]", VOLTKEEL_SCALARS) {
    struct Row {
        double ohm;
        ProximityWindows windows;
        CableMeaning meaning;
        double current_A;
    };
    const auto joined = ProximityWindows::joined;
    const auto separate = ProximityWindows::separate;
    const CableMeaning rated = CableMeaning::rated;
    const CableMeaning fault = CableMeaning::fault;
    const CableMeaning none = CableMeaning::none;
    const Row rows[] = {
        {0, joined, fault, 0},       {74.9, joined, fault, 0},    {75, joined, rated, 63},
        {100, joined, rated, 63},    {149, joined, rated, 63},    {150, joined, rated, 32},
        {220, joined, rated, 32},    {329, joined, rated, 32},    {330, joined, rated, 20},
        {680, joined, rated, 20},    {999, joined, rated, 20},    {1000, joined, rated, 13},
        {1500, joined, rated, 13},   {2200, joined, rated, 13},   {2201, joined, none, 0},
        {59, separate, fault, 0},    {79, separate, fault, 0},    {80, separate, rated, 63},
        {100, separate, rated, 63},  {140, separate, rated, 63},  {141, separate, fault, 0},
        {163, separate, fault, 0},   {164, separate, rated, 32},  {220, separate, rated, 32},
        {308, separate, rated, 32},  {309, separate, fault, 0},   {399, separate, fault, 0},
        {400, separate, rated, 20},  {680, separate, rated, 20},  {936, separate, rated, 20},
        {937, separate, fault, 0},   {1099, separate, fault, 0},  {1100, separate, rated, 13},
        {1500, separate, rated, 13}, {2460, separate, rated, 13}, {2461, separate, fault, 0},
        {4500, separate, fault, 0},  {4501, separate, none, 0},
    };
    for (const Row& row : rows) {
        CAPTURE(row.ohm, static_cast<int>(row.windows));
        for (int phases = 1; phases <= 3; ++phases) {
            CableRating<TestType> rating;
            CHECK(cable_rating(real<TestType>(row.ohm), phases, row.windows, rating) == Status::ok);
            CHECK(rating.meaning == row.meaning);
            const double expected = phases == 1 && row.current_A == 63 ? 70 : row.current_A;
            CHECK(static_cast<double>(rating.current_A) == expected);
        }
    }
    CableRating<TestType> open;
    CHECK(cable_rating(std::numeric_limits<TestType>::infinity(), 1, joined, open) == Status::ok);
    CHECK(open.meaning == CableMeaning::none);
}

TEMPLATE_TEST_CASE("what no pilot or cable can be is refused and allows nothing", "[supply]",
                   VOLTKEEL_SCALARS) {
    const TestType nan = std::numeric_limits<TestType>::quiet_NaN();
    for (const TestType wrong : {nan, TestType(-0.1), TestType(100.1)}) {
        PilotSignal<TestType> signal{PilotMeaning::current, 10};
        CHECK(pilot_signal(wrong, signal) == Status::sample_not_finite);
        CHECK(signal.meaning == PilotMeaning::no_charging);
        CHECK(signal.current_A == 0);
    }
    CableRating<TestType> rating{CableMeaning::rated, 32};
    CHECK(cable_rating(nan, 1, ProximityWindows::joined, rating) == Status::sample_not_finite);
    CHECK(rating.current_A == 0);
    CHECK(cable_rating(TestType(-1), 1, ProximityWindows::joined, rating) ==
          Status::sample_not_finite);
    CHECK(cable_rating(TestType(220), 4, ProximityWindows::joined, rating) == Status::out_of_range);
    CHECK(rating.current_A == 0);

    Supply<TestType> supply = wall<TestType>();
    supply.ac.has_pilot = true;
    supply.ac.duty_cycle_percent = nan;
    SupplyLimits<TestType> limits;
    CHECK(supply_limits(supply, limits) == Status::sample_not_finite);
    CHECK(limits.power_max_W == 0);
    CHECK(limits.power_reason == SupplyReason::pilot_off);

    AvailableCurrent<TestType> out{5, SupplyReason::pilot};
    CHECK(available_current(limits, nan, TestType(1), out) == Status::sample_not_finite);
    CHECK(out.current_A == 0);
    CHECK(available_current(limits, TestType(0), TestType(1), out) == Status::sample_not_finite);
    CHECK(available_current(limits, TestType(50), TestType(-1), out) == Status::sample_not_finite);
}

TEMPLATE_TEST_CASE("every ceiling of a supply can be the one that decides", "[supply]",
                   VOLTKEEL_SCALARS) {
    const auto decides = [](const Supply<TestType>& supply, SupplyReason reason, double current_A,
                            double pack_V = 50, double allowed_A = 1000) {
        const AvailableCurrent<TestType> got = available(supply, pack_V, allowed_A);
        CAPTURE(message(reason), message(got.reason));
        CHECK(got.reason == reason);
        CHECK(static_cast<double>(got.current_A) == Approx(current_A).epsilon(1e-5).margin(1e-9));
    };
    // 16 A at 230 V is 3680 W, times 0.93 is 3422 W: the charger's 3300 W is less.
    decides(wall<TestType>(), SupplyReason::charger_power, 3300.0 / 58, 58);
    {
        Supply<TestType> supply = wall<TestType>();
        supply.charger.current_max_A = 30;
        decides(supply, SupplyReason::charger_current, 30);
        decides(supply, SupplyReason::battery, 12, 50, 12);
        decides(supply, SupplyReason::charger_voltage, 0, 39.9);
        decides(supply, SupplyReason::charger_voltage, 0, 60.1);
    }
    {
        Supply<TestType> supply = wall<TestType>();
        supply.ac.outlet_current_A = 10;
        decides(supply, SupplyReason::outlet, 2300 * 0.93 / 50);
        supply.charger.input_current_max_A = 8;
        decides(supply, SupplyReason::charger_input, 8 * 230 * 0.93 / 50);
        supply.ac.has_pilot = true;
        supply.ac.duty_cycle_percent = 10;
        decides(supply, SupplyReason::pilot, 6 * 230 * 0.93 / 50);
        supply.ac.duty_cycle_percent = 5;
        decides(supply, SupplyReason::pilot_digital, 0);
        supply.ac.duty_cycle_percent = 100;
        decides(supply, SupplyReason::pilot_off, 0);
    }
    {
        Supply<TestType> supply = wall<TestType>();
        supply.charger.power_max_W = 0;
        supply.ac.outlet_current_A = 20;
        supply.ac.power_factor = real<TestType>(0.9);
        supply.ac.has_cable = true;
        supply.ac.proximity_ohm = 1500;
        decides(supply, SupplyReason::cable, 13 * 230 * 0.9 * 0.93 / 50);
        supply.ac.proximity_ohm = 1e6;
        decides(supply, SupplyReason::no_plug, 0);
        supply.ac.proximity_ohm = 20;
        decides(supply, SupplyReason::cable_fault, 0);
    }
    {
        // Three lines are there, the charger draws from two.
        Supply<TestType> supply = wall<TestType>();
        supply.charger.power_max_W = 0;
        supply.charger.current_max_A = 500;
        supply.ac.phases = 3;
        supply.charger.phases = 2;
        decides(supply, SupplyReason::outlet, 2 * 16 * 230 * 0.93 / 50);
    }
    {
        Supply<TestType> supply;
        supply.kind = SupplyKind::dc_station;
        supply.station = {200, 500, 125, 50000};
        decides(supply, SupplyReason::station_current, 125, 350);
        decides(supply, SupplyReason::station_power, 50000.0 / 450, 450);
        decides(supply, SupplyReason::station_voltage, 0, 199);
        decides(supply, SupplyReason::station_voltage, 0, 501);
        decides(supply, SupplyReason::battery, 80, 350, 80);
        supply.station.current_max_A = 0;
        decides(supply, SupplyReason::station_current, 0, 350);
    }
}

TEMPLATE_TEST_CASE("output power and socket power are each other's inverse on random chargers",
                   "[supply]", VOLTKEEL_SCALARS) {
    const std::uint64_t seed = voltkeel_test::seed();
    std::mt19937_64 random(seed);
    const auto between = [&](double low, double high) {
        return std::uniform_real_distribution<double>(low, high)(random);
    };
    const double close = sizeof(TestType) == 4 ? 1e-4 : 1e-10;
    for (int turn = 0; turn < 2000; ++turn) {
        Supply<TestType> supply = wall<TestType>();
        PowerEfficiency<TestType>& table = supply.charger.efficiency;
        table.count = std::uniform_int_distribution<int>(1, 16)(random);
        double power_W = between(0, 1) < 0.3 ? 0 : between(10, 300);
        for (int k = 0; k < table.count; ++k) {
            table.power_W[k] = real<TestType>(power_W);
            // Input must rise with output, so the efficiency may rise only so fast.
            const double before = k == 0 ? 0 : static_cast<double>(table.efficiency[k - 1]);
            const double top = k == 0 || table.power_W[k - 1] == 0
                                   ? 1
                                   : std::min(1.0, 0.99 * before * power_W /
                                                       static_cast<double>(table.power_W[k - 1]));
            table.efficiency[k] = real<TestType>(std::max(0.02, top * between(0.7, 1)));
            power_W += between(50, 600);
        }
        CAPTURE(seed, turn, table.count);
        REQUIRE(validate(supply).status == Status::ok);
        double last_W = 0;
        for (int k = 1; k <= 30; ++k) {
            const double input_W = 250.0 * k;
            const auto out_W = static_cast<double>(output_power_W(table, real<TestType>(input_W)));
            CAPTURE(input_W, out_W);
            CHECK(out_W > last_W);
            CHECK(out_W <= input_W);
            CHECK(static_cast<double>(socket_power_W(supply, real<TestType>(out_W))) ==
                  Approx(input_W).epsilon(close));
            last_W = out_W;
        }
    }
    PowerEfficiency<TestType> one;
    CHECK(output_power_W(one, TestType(0)) == 0);
    CHECK(output_power_W(one, TestType(-5)) == 0);
    CHECK(socket_power_W(wall<TestType>(), TestType(0)) == 0);
}

TEMPLATE_TEST_CASE("no supply gives more than any of its parts allows", "[supply]",
                   VOLTKEEL_SCALARS) {
    const std::uint64_t seed = voltkeel_test::seed();
    std::mt19937_64 random(seed);
    const auto between = [&](double low, double high) {
        return std::uniform_real_distribution<double>(low, high)(random);
    };
    const double slack = sizeof(TestType) == 4 ? 1 + 1e-5 : 1 + 1e-12;
    int zero = 0;
    for (int turn = 0; turn < 20000; ++turn) {
        Supply<TestType> supply;
        const double pack_V = between(30, 70);
        const double allowed_A = between(0, 100);
        if (turn % 4 == 0) {
            supply.kind = SupplyKind::dc_station;
            supply.station = {real<TestType>(between(0, 40)), real<TestType>(between(45, 80)),
                              real<TestType>(between(0, 100)), real<TestType>(between(0, 5000))};
        } else {
            supply = wall<TestType>();
            supply.ac.phases = 1 + turn % 3;
            supply.charger.phases = 1 + turn % 2;
            supply.ac.has_pilot = between(0, 1) < 0.7;
            supply.ac.duty_cycle_percent = real<TestType>(between(0, 100));
            supply.ac.has_cable = between(0, 1) < 0.7;
            supply.ac.proximity_ohm = real<TestType>(std::exp(between(3, 9)));
            supply.ac.outlet_current_A = real<TestType>(between(0, 32));
            supply.charger.current_max_A = real<TestType>(between(1, 100));
            supply.charger.power_max_W = real<TestType>(between(100, 7000));
        }
        const AvailableCurrent<TestType> got = available(supply, pack_V, allowed_A);
        const auto current_A = static_cast<double>(got.current_A);
        CAPTURE(seed, turn, current_A, message(got.reason));
        CHECK(current_A >= 0);
        CHECK(current_A <= allowed_A * slack);
        zero += current_A == 0;
        const double power_W = current_A * pack_V;
        if (supply.kind == SupplyKind::dc_station) {
            CHECK(power_W <= static_cast<double>(supply.station.power_max_W) * slack);
            CHECK(current_A <= static_cast<double>(supply.station.current_max_A) * slack);
            continue;
        }
        CHECK(power_W <= static_cast<double>(supply.charger.power_max_W) * slack);
        CHECK(current_A <= static_cast<double>(supply.charger.current_max_A) * slack);
        const int phases = std::min(supply.ac.phases, supply.charger.phases);
        const double line_A =
            static_cast<double>(socket_power_W(supply, real<TestType>(power_W))) / 230 / phases;
        if (supply.ac.has_pilot) {
            PilotSignal<TestType> pilot;
            REQUIRE(pilot_signal(supply.ac.duty_cycle_percent, pilot) == Status::ok);
            CHECK(line_A <= static_cast<double>(pilot.current_A) * slack);
        }
        if (supply.ac.has_cable) {
            CableRating<TestType> cable;
            REQUIRE(cable_rating(supply.ac.proximity_ohm, phases, supply.ac.windows, cable) ==
                    Status::ok);
            CHECK(line_A <= static_cast<double>(cable.current_A) * slack);
        }
    }
    CHECK(zero > 1000);
    CHECK(zero < 15000);
}

TEST_CASE("a supply that cannot be is named with field, value and bound", "[supply]") {
    const auto wrong = [](auto change, Status status, const std::string& field) {
        Supply<double> supply = wall<double>();
        change(supply);
        const auto finding = validate(supply);
        CAPTURE(field, finding.field, finding.value);
        CHECK(finding.status == status);
        CHECK(finding.field == field);
        CHECK(voltkeel_test::error_text([&] { voltkeel::check_supply(supply); }).find(field) !=
              std::string::npos);
    };
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const Status range = Status::out_of_range;
    wrong([](auto& s) { s.ac.mains_voltage_V = 20; }, range, "ac.mains_voltage_V");
    wrong([&](auto& s) { s.ac.mains_voltage_V = nan; }, Status::not_finite, "ac.mains_voltage_V");
    wrong([](auto& s) { s.ac.phases = 4; }, range, "ac.phases");
    wrong([](auto& s) { s.ac.outlet_current_A = -1; }, range, "ac.outlet_current_A");
    wrong([](auto& s) { s.ac.power_factor = 1.01; }, range, "ac.power_factor");
    wrong([](auto& s) { s.charger.phases = 0; }, range, "charger.phases");
    wrong([](auto& s) { s.charger.input_current_max_A = -1; }, range,
          "charger.input_current_max_A");
    wrong([](auto& s) { s.charger.voltage_max_V = 30; }, range, "charger.voltage_max_V");
    wrong([](auto& s) { s.charger.current_max_A = 0; }, range, "charger.current_max_A");
    wrong([](auto& s) { s.charger.power_max_W = -1; }, range, "charger.power_max_W");
    wrong([](auto& s) { s.charger.efficiency.count = 17; }, range, "charger.efficiency.count");
    wrong([](auto& s) { s.charger.efficiency.efficiency[0] = 93; }, range,
          "charger.efficiency.efficiency");
    wrong(
        [](auto& s) {
            s.charger.efficiency.count = 2;
            s.charger.efficiency.efficiency[1] = 0.9;
        },
        Status::not_increasing, "charger.efficiency.power_W");
    wrong(
        [](auto& s) {  // takes 1000 W for 100, and 900 W for 450
            s.charger.efficiency.count = 2;
            s.charger.efficiency.power_W[0] = 100;
            s.charger.efficiency.power_W[1] = 450;
            s.charger.efficiency.efficiency[0] = 0.1;
            s.charger.efficiency.efficiency[1] = 0.5;
        },
        Status::not_increasing, "charger.efficiency.efficiency");
    wrong(
        [](auto& s) {
            s.ac.outlet_current_A = 0;
            s.charger.power_max_W = 0;
        },
        range, "ac.outlet_current_A");
    wrong(
        [](auto& s) {
            s.kind = SupplyKind::dc_station;
            s.station = {100, 50, 10, 1000};
        },
        range, "station.voltage_max_V");
    Supply<double> supply = wall<double>();
    supply.ac.has_pilot = true;
    supply.ac.duty_cycle_percent = 160;
    CHECK(voltkeel_test::error_text([&] { voltkeel::check_supply(supply); }).find("160") !=
          std::string::npos);
}

TEST_CASE("supply reasons have their numbers and words", "[supply]") {
    CHECK(static_cast<int>(SupplyReason::battery) == 0);
    CHECK(static_cast<int>(SupplyReason::cable_fault) == 14);
    for (int a = 0; a <= 14; ++a) {
        CHECK(std::string(message(static_cast<SupplyReason>(a))) != "unknown reason");
        for (int b = 0; b < a; ++b) {
            CHECK(std::string(message(static_cast<SupplyReason>(a))) !=
                  message(static_cast<SupplyReason>(b)));
        }
    }
    CHECK(std::string(message(static_cast<SupplyReason>(15))) == "unknown reason");
}

namespace {

std::string text_of(const std::string& fields) {
    return R"({"format": "voltkeel.supply", "format_version": 1, "name": "quay")" + fields + "}";
}

const char* const charger_text =
    R"("charger": {"voltage_min_V": 40, "voltage_max_V": 60, "current_max_A": 60)";

}  // namespace

TEST_CASE("a supply file that is written and read back is the same", "[supply]") {
    const auto path = std::filesystem::temp_directory_path() /
                      ("voltkeel_supply_" + std::to_string(std::random_device{}()) + ".json");
    voltkeel::SupplyDescription description{"quay", wall<double>()};
    for (int turn = 0; turn < 3; ++turn) {
        Supply<double>& supply = description.supply;
        if (turn == 1) {
            supply.ac.has_pilot = true;
            supply.ac.duty_cycle_percent = 16;
            supply.ac.has_cable = true;
            supply.ac.proximity_ohm = 680;
            supply.ac.windows = ProximityWindows::separate;
            supply.charger.efficiency = {{0, 500, 3000}, {0.6, 0.9, 0.94}, 3};
        }
        if (turn == 2) {
            supply.kind = SupplyKind::dc_station;
            supply.station = {200, 500, 125, 50000};
        }
        voltkeel::save_supply(path, description);
        const auto again = voltkeel::load_supply(path);
        CHECK(again.name == "quay");
        CHECK(again.supply.kind == supply.kind);
        SupplyLimits<double> wanted;
        SupplyLimits<double> got;
        REQUIRE(supply_limits(supply, wanted) == Status::ok);
        REQUIRE(supply_limits(again.supply, got) == Status::ok);
        CHECK(got.power_max_W == wanted.power_max_W);
        CHECK(got.current_max_A == wanted.current_max_A);
        CHECK(got.voltage_min_V == wanted.voltage_min_V);
        CHECK(got.voltage_max_V == wanted.voltage_max_V);
        CHECK(got.power_reason == wanted.power_reason);
        if (turn == 2) continue;
        CHECK(again.supply.ac.windows == supply.ac.windows);
        CHECK(again.supply.ac.proximity_ohm == supply.ac.proximity_ohm);
        CHECK(again.supply.charger.efficiency.count == supply.charger.efficiency.count);
    }
    std::filesystem::remove(path);
}

TEST_CASE("a wrong supply file is named with its place", "[supply]") {
    const auto refusal = [](const std::string& fields) {
        return voltkeel_test::error_text(
            [&] { (void)voltkeel::parse_supply(text_of(fields), "quay.json"); });
    };
    const auto says = [&](const std::string& fields, const std::string& part) {
        const std::string text = refusal(fields);
        CAPTURE(text);
        CHECK(text.find("quay.json") != std::string::npos);
        CHECK(text.find(part) != std::string::npos);
    };
    const std::string charger = std::string(", ") + charger_text;
    CHECK(refusal(charger + R"(, "power_max_W": 3300})").empty());
    says("", "neither");
    says(R"(, "ac": {}, "dc": {"voltage_max_V": 50, "current_max_A": 1, "power_max_W": 1})",
         "both");
    says(R"(, "ac": {"phases": 3})", "charger");
    says(charger + "}", "ac.outlet_current_A");
    says(charger + R"(}, "ac": {"phases": 1.5})", "phases");
    says(charger + R"(}, "ac": {"pilot_duty_cycle_percent": 116})", "pilot_duty_cycle_percent");
    says(charger + R"(}, "ac": {"outlet_curent_A": 16})", "outlet_current_A");
    says(charger + R"(, "power_max_W": 3300, "efficiency": 0.9,
         "efficiency_table": {"power_W": [1], "efficiency": [0.9]}})",
         "both efficiency and efficiency_table");
    says(charger + R"(, "power_max_W": 3300,
         "efficiency_table": {"power_W": [1, 2], "efficiency": [0.9]}})",
         "power_W has 2 values");
    says(charger + R"(, "power_max_W": 3300,
         "efficiency_table": {"power_W": [2, 1], "efficiency": [0.9, 0.9]}})",
         "charger.efficiency.power_W[1]");
    says(
        R"(, "dc": {"voltage_min_V": 60, "voltage_max_V": 50, "current_max_A": 1, "power_max_W": 1})",
        "station.voltage_max_V");
}
