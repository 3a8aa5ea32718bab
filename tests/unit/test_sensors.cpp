// Channels of a pack: what they show of a run, sound and failing.

#include <catch2/catch.hpp>
#include <cmath>
#include <functional>
#include <string>

#include "support/made_pack.hpp"
#include "support/seed.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/simulate/sensors.hpp"

using namespace voltkeel;
using voltkeel_test::made_pack;

namespace {

Channel channel(const std::string& name, ChannelQuantity quantity, const std::string& string = "",
                int first = 0, int count = 1, double interval_s = 1, double offset_s = 0) {
    Channel one;
    one.name = name;
    one.quantity = quantity;
    one.string = string;
    one.first_group = first;
    one.group_count = count;
    one.interval_s = interval_s;
    one.offset_s = offset_s;
    return one;
}

/// Two strings of unequal temperature, the groups of one measured.
Pack measured_pack() {
    Pack pack = made_pack(2, 4, 2);
    pack.channels = {channel("shunt", ChannelQuantity::pack_current, "", 0, 1, 0.1),
                     channel("terminals", ChannelQuantity::pack_voltage, "", 0, 1, 0.5, 0.25),
                     channel("port groups", ChannelQuantity::group_voltage, "port", 1, 3, 0.5),
                     channel("aft current", ChannelQuantity::string_current, "starboard"),
                     channel("aft voltage", ChannelQuantity::string_voltage, "starboard"),
                     channel("aft probe", ChannelQuantity::case_temperature, "starboard", 2, 1, 5),
                     channel("hold", ChannelQuantity::ambient_temperature, "", 0, 1, 10)};
    pack.channels[5].cell = 1;
    return pack;
}

SimulationResult measured_run(const Pack& pack) {
    SimulationSettings settings;
    settings.soc = 0.7;
    settings.string_temperature_degC = {10, 25};
    settings.output_interval_s = 0.1;
    settings.record_cells = true;
    return simulate(pack, {current_load(-60, 20), current_load(30, 20), current_load(0, 20)},
                    settings);
}

const SensorReadings& called(const std::vector<SensorReadings>& all, const std::string& name) {
    for (const SensorReadings& one : all) {
        if (one.channel == name) return one;
    }
    throw Error("no channel " + name);
}

}  // namespace

TEST_CASE("a channel without faults shows the truth at its own times") {
    const Pack pack = measured_pack();
    const SimulationResult run = measured_run(pack);
    const auto all = read_sensors(pack, run);
    REQUIRE(all.size() == 7);
    const SensorReadings& shunt = called(all, "shunt");
    REQUIRE(shunt.time_s.size() == 601);
    CHECK(shunt.value[100] == -60);
    CHECK(shunt.value[300] == 30);
    CHECK(shunt.value[600] == 0);
    const SensorReadings& terminals = called(all, "terminals");
    CHECK(terminals.time_s[0] == 0.25);
    CHECK(terminals.time_s[3] == 1.75);
    CHECK(terminals.value[3] ==
          Approx(0.5 * (run.voltage_V[17] + run.voltage_V[18])).margin(1e-12));
    const SensorReadings& groups = called(all, "port groups");
    CHECK(groups.width == 3);
    CHECK(groups.value[2 * 3 + 1] == Approx(run.group_voltage_V[10 * 8 + 2]).margin(1e-12));
    CHECK(called(all, "aft current").value[20] ==
          Approx(run.string_current_A[200 * 2 + 1]).margin(1e-12));
    // Group 2 of the second string is group 6; two cells a group, the second of them.
    CHECK(called(all, "aft probe").value[4] ==
          Approx(run.cell_case_degC[200 * 16 + 13]).margin(1e-12));
    CHECK(called(all, "hold").value[0] == Approx(17.5));
    for (const SensorReadings& one : all)
        CHECK(one.value == one.truth);
}

TEST_CASE("steps, gain, offset, range and delay are as told") {
    const Pack pack = measured_pack();
    const SimulationResult run = measured_run(pack);
    SensorSettings shunt;
    shunt.channel = "shunt";
    shunt.gain = 1.02;
    shunt.offset = 0.4;
    shunt.step = 0.25;
    shunt.high = 20;
    shunt.delay_s = 0.5;
    SensorSettings groups;
    groups.channel = "port groups";
    groups.value_shift_s = 0.1;
    const auto all = read_sensors(pack, run, {shunt, groups});
    const SensorReadings& read = called(all, "shunt");
    CHECK(read.value[100] == -60.75);  // -60 * 1.02 + 0.4 = -60.8, to quarters
    CHECK(read.value[203] == -60.75);  // 20.3 s still shows 19.8 s
    CHECK(read.value[206] == 20);      // 31 A, cut
    CHECK(read.truth[203] == 30);
    // The third value of a sample is taken 0.2 s after the first.
    CHECK(called(all, "port groups").value[10 * 3 + 2] ==
          Approx(run.group_voltage_V[52 * 8 + 3]).margin(1e-12));
}

TEST_CASE("noise has its standard deviation and depends on the seed alone") {
    const Pack pack = measured_pack();
    const SimulationResult run = measured_run(pack);
    SensorSettings shunt;
    shunt.channel = "shunt";
    shunt.noise_std = 0.5;
    const std::uint64_t seed = voltkeel_test::seed();
    const auto one = read_sensors(pack, run, {shunt}, {}, seed);
    CHECK(one[0].value == read_sensors(pack, run, {shunt}, {}, seed)[0].value);
    CHECK(one[0].value != read_sensors(pack, run, {shunt}, {}, seed + 1)[0].value);
    double square = 0;
    for (std::size_t k = 0; k < one[0].value.size(); ++k)
        square += std::pow(one[0].value[k] - one[0].truth[k], 2);
    // 601 draws know it to 3 %; four times that.
    CHECK(std::sqrt(square / 601) == Approx(0.5).epsilon(0.12));
}

SCENARIO("a channel fails on a schedule and comes back") {
    const Pack pack = measured_pack();
    const SimulationResult run = measured_run(pack);
    SensorSettings noisy;
    noisy.channel = "port groups";
    noisy.noise_std = 1e-3;
    const auto sound = called(read_sensors(pack, run, {noisy}), "port groups");
    GIVEN("a stuck group voltage") {
        const SensorFault fault{"port groups", SensorFaultKind::stuck, 1, 10, 30, 0};
        WHEN("the load changes meanwhile") {
            const auto read = called(read_sensors(pack, run, {noisy}, {fault}), "port groups");
            THEN("it stands at its last value, and the others are untouched to the last bit") {
                for (std::size_t k = 0; k < read.time_s.size(); ++k) {
                    const bool failing = read.time_s[k] >= 10 && read.time_s[k] < 30;
                    CHECK(read.value[3 * k] == sound.value[3 * k]);
                    CHECK(read.value[3 * k + 1] ==
                          (failing ? sound.value[3 * 19 + 1] : sound.value[3 * k + 1]));
                    CHECK(read.value[3 * k + 2] == sound.value[3 * k + 2]);
                }
            }
        }
    }
    GIVEN("a dropout of the whole channel") {
        const SensorFault fault{"port groups", SensorFaultKind::dropout, -1, 10, 11, 0};
        const auto read = called(read_sensors(pack, run, {noisy}, {fault}), "port groups");
        THEN("nothing comes for two samples") {
            int lost = 0;
            for (const double value : read.value)
                lost += std::isnan(value) ? 1 : 0;
            CHECK(lost == 6);
        }
    }
    GIVEN("an offset, a gain and more noise") {
        const auto read =
            called(read_sensors(pack, run, {noisy},
                                {{"port groups", SensorFaultKind::offset, 0, 0, 5, 0.1},
                                 {"port groups", SensorFaultKind::gain, 1, 0, 5, 1.01},
                                 {"port groups", SensorFaultKind::noise, 2, 0, 5, 0.05}}),
                   "port groups");
        THEN("each is on its value and only as long") {
            CHECK(read.value[3 * 4] == Approx(sound.value[3 * 4] + 0.1).margin(1e-12));
            CHECK(read.value[3 * 4 + 1] - sound.value[3 * 4 + 1] ==
                  Approx(0.01 * sound.truth[3 * 4 + 1]).margin(1e-9));
            CHECK(read.value[3 * 4 + 2] != sound.value[3 * 4 + 2]);
            CHECK(read.value[3 * 10] == sound.value[3 * 10]);
            CHECK(read.value[3 * 10 + 2] == sound.value[3 * 10 + 2]);
        }
    }
}

TEST_CASE("channels and faults that cannot be are named") {
    const Pack pack = measured_pack();
    const SimulationResult run = measured_run(pack);
    const auto told = [&](const SimulationResult& from, const std::vector<SensorSettings>& how,
                          const std::vector<SensorFault>& faults) {
        try {
            (void)read_sensors(pack, from, how, faults);
        } catch (const Error& error) {
            return std::string(error.what());
        }
        return std::string();
    };
    SensorSettings odd;
    odd.channel = "bow";
    CHECK(told(run, {odd}, {}) == "channel: there is none called \"bow\"");
    odd.channel = "shunt";
    odd.step = -1;
    CHECK(told(run, {odd}, {}) == "settings[0].step: -1 is outside 0 .. 1e+06");
    CHECK(told(run, {}, {{"port groups", SensorFaultKind::stuck, 3, 0, 1, 0}}) ==
          "faults[0].value: 3 is outside -1 .. 2");
    CHECK(told(run, {}, {{"shunt", SensorFaultKind::stuck, -1, 2, 1, 0}}) ==
          "faults[0].start_s: 2 must be below end_s, 1");
    SimulationResult bare = run;
    bare.cell_case_degC.clear();
    CHECK(told(bare, {}, {}) == "result: has no cells; run with record_cells");
}
