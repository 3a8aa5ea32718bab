// Cooling files: the three ways to cool, what they leave out has the default, what is wrong is
// named.

#include <catch2/catch.hpp>
#include <cmath>
#include <filesystem>
#include <limits>
#include <random>
#include <string>

#include "support/error_text.hpp"
#include "support/made_pack.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/simulate/cooling_file.hpp"

using namespace voltkeel;
using voltkeel_test::error_text;
using voltkeel_test::made_pack;

namespace {

std::string text_of(const std::string& fields) {
    return R"({"format": "voltkeel.cooling", "format_version": 1, "name": "x")" + fields + "}";
}

CoolingSettings read(const std::string& fields) {
    return parse_cooling(text_of(fields), "x.json");
}

std::string refusal(const std::string& fields) {
    return error_text([&] { (void)read(fields); });
}

struct TemporaryFile {
    std::filesystem::path path =
        std::filesystem::temp_directory_path() /
        ("voltkeel_cooling_" + std::to_string(std::random_device{}()) + ".json");
    ~TemporaryFile() {
        std::error_code ignored;
        std::filesystem::remove(path, ignored);
    }
};

}  // namespace

TEST_CASE("a cooling file keeps defaults") {
    const CoolingSettings air = read(R"(, "air": {})");
    CHECK(air.kind == CoolingKind::air);
    CHECK(air.name == "x");
    const CoolingSettings usual;
    CHECK(air.air.moving_factor == usual.air.moving_factor);
    CHECK(air.air.fan.on_degC == usual.air.fan.on_degC);
    CHECK(air.air_temperature.degC == usual.air_temperature.degC);
    const CoolingSettings loop = read(R"(, "liquid": {"heater": {"power_W": 500}})");
    CHECK(loop.kind == CoolingKind::liquid);
    CHECK(loop.liquid.heater.power_W == 500);
    CHECK(loop.liquid.heater.element.on_degC == 5);
    CHECK(loop.liquid.flow_W_per_K == usual.liquid.flow_W_per_K);
    CHECK(loop.liquid.radiator.conductance_W_per_K == 0);
    CHECK(loop.liquid.start_degC == 25);
    // The coolant has stood in the air.
    CHECK(read(R"(, "air_temperature": {"time_s": [-10, 10], "degC": [0, 8]}, "liquid": {})")
              .liquid.start_degC == 4);
    CHECK(read(R"(, "air_temperature": {"time_s": [0], "degC": [8]},
        "liquid": {"start_degC": 12})")
              .liquid.start_degC == 12);
}

TEST_CASE("a switch can be held") {
    const CoolingSettings still = read(R"(, "air": {"fan": {"held": "off"}})");
    CHECK_FALSE(still.air.fan.next(true, 999));
    const CoolingSettings moving = read(R"(, "air": {"fan": {"held": "on"}})");
    CHECK(moving.air.fan.next(false, -80));
    CHECK(moving.air.fan.next(true, -80));
}

TEST_CASE("a cooling plant that is written and read back is the same") {
    const TemporaryFile file;
    CoolingSettings air;
    air.name = "fan";
    air.supply = CoolingSupply::outside;
    air.air_temperature = {{0, 3600}, {5, 11.5}};
    air.air = {1.5, 0.25, 40, 12, {33, 29}};
    save_cooling(file.path, air);
    const CoolingSettings first = load_cooling(file.path);
    CHECK(first.kind == CoolingKind::air);
    CHECK(first.supply == CoolingSupply::outside);
    CHECK(first.name == "fan");
    CHECK(first.air_temperature.time_s == air.air_temperature.time_s);
    CHECK(first.air_temperature.degC == air.air_temperature.degC);
    CHECK(first.air.still_factor == 1.5);
    CHECK(first.air.moving_factor == 0.25);
    CHECK(first.air.flow_W_per_K == 40);
    CHECK(first.air.fan_power_W == 12);
    CHECK(first.air.fan.on_degC == 33);
    CHECK(first.air.fan.off_degC == 29);

    const double infinite = std::numeric_limits<double>::infinity();
    CoolingSettings loop;
    loop.name = "shared";
    loop.kind = CoolingKind::liquid;
    loop.liquid = {11,
                   7000,
                   350,
                   21,
                   {-infinite, -infinite},
                   0.15,
                   0.6,
                   {70, 180, 14, {31, 27}},
                   {900, 3, {24, 18}},
                   {400, {4, 9}, 38},
                   0.06,
                   0.04};
    save_cooling(file.path, loop);
    const LiquidLoop second = load_cooling(file.path).liquid;
    CHECK(second.start_degC == 11);
    CHECK(second.heat_capacity_J_per_K == 7000);
    CHECK(second.flow_W_per_K == 350);
    CHECK(second.pump_power_W == 21);
    CHECK(second.pump.on_degC == -infinite);
    CHECK(second.pump.off_degC == -infinite);
    CHECK(second.flowing_factor == 0.15);
    CHECK(second.standing_factor == 0.6);
    CHECK(second.radiator.conductance_W_per_K == 70);
    CHECK(second.radiator.air_W_per_K == 180);
    CHECK(second.radiator.fan_power_W == 14);
    CHECK(second.radiator.fan.on_degC == 31);
    CHECK(second.radiator.fan.off_degC == 27);
    CHECK(second.chiller.power_W == 900);
    CHECK(second.chiller.performance == 3);
    CHECK(second.chiller.compressor.on_degC == 24);
    CHECK(second.chiller.compressor.off_degC == 18);
    CHECK(second.heater.power_W == 400);
    CHECK(second.heater.element.on_degC == 4);
    CHECK(second.heater.element.off_degC == 9);
    CHECK(second.heater.coolant_max_degC == 38);
    CHECK(second.drive_loss_share == 0.06);
    CHECK(second.charger_loss_share == 0.04);

    // One that cannot be used leaves the file as it was.
    loop.liquid.flow_W_per_K = -1;
    CHECK_FALSE(error_text([&] { save_cooling(file.path, loop); }).empty());
    CHECK(load_cooling(file.path).name == "shared");
}

TEST_CASE("what is wrong in a cooling file is named") {
    CHECK(refusal("") == R"(x.json: needs either "air" or "liquid", has neither)");
    CHECK(refusal(R"(, "air": {}, "liquid": {})") ==
          R"(x.json: needs either "air" or "liquid", has both)");
    CHECK(refusal(R"(, "air": {"fan": {"on_degC": 30}})") ==
          "x.json: /air/fan: needs either both of on_degC and off_degC, or held");
    CHECK(refusal(R"(, "liquid": {"radiator": {"conductance_W_per_K": 5,
        "fan": {"on_degC": 30, "off_degC": 20, "held": "on"}}})") ==
          "x.json: /liquid/radiator/fan: needs either both of on_degC and off_degC, or held");
    CHECK(refusal(R"(, "air": {"fan": {"on_degC": 20, "off_degC": 30}})") ==
          "x.json: air.fan.on_degC: 20 must not be below off_degC, 30");
    CHECK(refusal(R"(, "liquid": {"heater": {"power_W": 9,
        "element": {"on_degC": 9, "off_degC": 3}}})") ==
          "x.json: liquid.heater.element.on_degC: 9 must not be above off_degC, 3");
    CHECK_THAT(
        refusal(R"(, "liquid": {"pump_powr_W": 9})"),
        Catch::StartsWith("x.json: /liquid/pump_powr_W: ") && Catch::Contains("pump_power_W"));
    CHECK_THAT(refusal(R"(, "liquid": {"flow_W_per_K": 0})"),
               Catch::StartsWith("x.json: /liquid/flow_W_per_K: 0 "));
    CHECK_THAT(refusal(R"(, "air_temperature": {"time_s": [0, 5, 5], "degC": [1, 2, 3]},
        "air": {})"),
               Catch::StartsWith("x.json: air_temperature.time_s[2]: 5 must be above 5"));
    CHECK_THAT(refusal(R"(, "air_temperature": {"time_s": [0, 5], "degC": [1]}, "liquid": {})"),
               Catch::StartsWith("x.json: air_temperature: has 2 times and 1 temperatures"));
    CHECK_THAT(error_text([] { (void)load_cooling("nowhere.json"); }),
               Catch::Contains("nowhere.json"));
}

TEST_CASE("parts tell how long they were on and how often they started") {
    const Pack pack = made_pack(1, 4, 1);
    CoolingSettings cooling;
    cooling.kind = CoolingKind::liquid;
    cooling.air_temperature.degC = {-5};
    cooling.liquid.start_degC = -5;
    cooling.liquid.heat_capacity_J_per_K = 2000;
    cooling.liquid.heater.power_W = 400;
    cooling.liquid.heater.element = {0, 6};
    SimulationSettings settings;
    settings.soc = 0.5;
    settings.temperature_degC = -5;
    settings.output_interval_s = 7;
    CoolingPlant plant(pack, cooling);
    settings.cooling = std::ref(plant);
    const SimulationResult result = simulate(pack, {current_load(0, 14400)}, settings);
    const CoolingTrace& trace = plant.trace();
    CHECK(trace.heater_use.starts >= 1);
    CHECK(trace.heater_use.on_s * 400 == Approx(trace.from_heater_J).epsilon(1e-12));
    CHECK(trace.chiller_use.on_s == 0);
    CHECK(trace.chiller_use.starts == 0);
    // The columns at the rows of the run: as they stood, and straight lines.
    const auto columns = cooling_columns(trace, result.time_s);
    REQUIRE(columns.size() == 6);
    CHECK(columns[1].first == "coolant_degC");
    CHECK(columns[5].first == "heater");
    double on_s = 0;
    for (std::size_t k = 0; k + 1 < result.size(); ++k) {
        CHECK((columns[5].second[k] == 0 || columns[5].second[k] == 1));
        on_s += columns[5].second[k] * (result.time_s[k + 1] - result.time_s[k]);
    }
    CHECK(on_s == Approx(trace.heater_use.on_s).margin(7.0 * (1 + trace.heater_use.starts)));
    CHECK(columns[1].second[10] == Approx(trace.coolant_degC[70]));  // both at 70 s
    CHECK(error_text([] { (void)cooling_columns({}, {0}); }) ==
          "cooling: the trace has no entries");
}

TEST_CASE("the window of a pack is the narrowest of its cells") {
    Pack pack = made_pack(1, 2, 1);
    PackModule other = pack.modules[0];
    other.name = "other";
    pack.modules[0].cell.window.charge_temperature_min_degC = 2;
    other.cell.window.charge_temperature_min_degC = 5;
    other.cell.window.charge_temperature_max_degC = 50;
    pack.modules.push_back(other);
    CHECK(allowed_temperature(pack, true).low_degC == 2);  // no string has the other
    pack.strings[0].modules.emplace_back("other");
    CHECK(allowed_temperature(pack, true).low_degC == 5);
    CHECK(allowed_temperature(pack, true).high_degC == 45);
    CHECK(allowed_temperature(pack, false).low_degC == -20);
    pack.modules[1].cell.window.charge_temperature_min_degC = 60;
    CHECK(error_text([&] { (void)allowed_temperature(pack, true); }) ==
          "strings: their cells share no temperature at which they may be charged");
}
