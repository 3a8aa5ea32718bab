// Packs of modules and strings: the file, and layouts that cannot be.

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <functional>
#include <nlohmann/json.hpp>
#include <random>
#include <string>

#include "support/error_text.hpp"
#include "support/scalars.hpp"
#include "support/seed.hpp"
#include "support/small_cell.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/cell_file.hpp"
#include "voltkeel/io/pack_file.hpp"

using nlohmann::json;
using namespace voltkeel;
using voltkeel_test::error_text;
using voltkeel_test::small_cell;

namespace {

/// A second-life mix: one string of old and new modules, one of new ones.
Pack mixed_pack() {
    Pack pack;
    pack.name = "harbour workboat";
    PackModule fresh;
    fresh.name = "new";
    fresh.cell_file = "hw50.json";
    fresh.cell = small_cell();
    fresh.layout = {7, 4};
    fresh.cell_link_ohm = 1e-3;
    fresh.interconnect_ohm = 1e-4;
    PackModule old = fresh;
    old.name = "old";
    old.cell_file = "hw45.json";
    old.layout = {7, 5};
    old.group_link_W_per_K = 0.5;
    pack.modules = {fresh, old};
    PackString port;
    port.name = "port";
    port.modules = {"new", "old"};
    port.busbar_ohm = 5e-4;
    port.contactor.current_A = 200;
    port.contactor.voltage_V = 100;
    port.fuse.current_A = 150;
    port.fuse.i2t_A2s = 9000;
    PackString starboard = port;
    starboard.name = "starboard";
    starboard.modules = {"new", "new"};
    starboard.contactor.closed = false;
    pack.strings = {port, starboard};
    pack.busbar_ohm = 2e-4;
    pack.bleed = BleedResistors{33, 0.8, 0.45};
    pack.precharge = Precharge<double>{47, 1e-3, 0.95};
    Channel current;
    current.name = "shunt";
    current.quantity = ChannelQuantity::pack_current;
    current.interval_s = 0.1;
    Channel groups;
    groups.name = "port groups";
    groups.quantity = ChannelQuantity::group_voltage;
    groups.string = "port";
    groups.group_count = 14;
    groups.interval_s = 0.5;
    Channel probe;
    probe.name = "probe";
    probe.quantity = ChannelQuantity::case_temperature;
    probe.string = "port";
    probe.first_group = 9;
    probe.cell = 4;
    pack.channels = {current, groups, probe};
    pack.notes = {"invented"};
    return pack;
}

/// What is said about the mixed pack after a change.
std::string complaint(const std::function<void(Pack&)>& change) {
    Pack pack = mixed_pack();
    change(pack);
    return error_text([&] { check(pack); });
}

class Folder {
  public:
    Folder()
        : path(std::filesystem::temp_directory_path() /
               ("voltkeel_test_" + std::to_string(std::random_device{}()))) {
        std::filesystem::create_directories(path);
        save_cell(path / "hw50.json", small_cell());
        save_cell(path / "hw45.json", small_cell());
    }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;
    ~Folder() {
        std::error_code ignored;
        std::filesystem::remove_all(path, ignored);
    }
    const std::filesystem::path path;
};

}  // namespace

TEST_CASE("a pack of modules and strings is written and read back with every field") {
    const Folder folder;
    const Pack pack = mixed_pack();
    save_pack(folder.path / "pack.json", pack);
    const Pack again = load_pack(folder.path / "pack.json");
    CHECK(again.name == pack.name);
    REQUIRE(again.modules.size() == 2);
    CHECK(again.modules[1].name == "old");
    CHECK(again.modules[1].layout.parallel == 5);
    CHECK(again.modules[1].cell.capacity_Ah == 5);
    CHECK(again.modules[0].cell_link_ohm == 1e-3);
    CHECK(again.modules[0].interconnect_ohm == 1e-4);
    CHECK(again.modules[1].group_link_W_per_K == 0.5);
    REQUIRE(again.strings.size() == 2);
    CHECK(again.strings[0].modules == pack.strings[0].modules);
    CHECK(again.strings[1].modules == pack.strings[1].modules);
    CHECK(again.strings[0].busbar_ohm == 5e-4);
    CHECK(again.strings[0].contactor.current_A == 200);
    CHECK(again.strings[0].contactor.making_current_A == std::numeric_limits<double>::infinity());
    CHECK(again.strings[0].contactor.closed);
    CHECK_FALSE(again.strings[1].contactor.closed);
    CHECK(again.strings[0].fuse.current_A == 150);
    CHECK(again.strings[0].fuse.i2t_A2s == 9000);
    CHECK(again.busbar_ohm == 2e-4);
    REQUIRE(again.bleed);
    CHECK(again.bleed->duty == 0.8);
    CHECK(again.bleed->heat_to_cells == 0.45);
    REQUIRE(again.precharge);
    CHECK(again.precharge->resistance_ohm == 47);
    REQUIRE(again.channels.size() == 3);
    CHECK(again.channels[1].quantity == ChannelQuantity::group_voltage);
    CHECK(again.channels[1].group_count == 14);
    CHECK(again.channels[2].cell == 4);
    CHECK(again.channels[2].first_group == 9);
    CHECK(again.notes == pack.notes);
    // 7 x 4 + 7 x 5 cells in one string, 14 x 4 in the other.
    CHECK(cell_count(again) == 119);
    CHECK(group_count(again) == 28);
    CHECK_THAT(error_text([&] { (void)equal_layout(again); }), Catch::Contains("not all alike"));
    // Saved once more it is the same file.
    save_pack(folder.path / "again.json", again);
    const auto text = [&](const char* name) {
        std::ifstream file(folder.path / name);
        return std::string(std::istreambuf_iterator<char>(file), {});
    };
    CHECK(text("pack.json") == text("again.json"));
}

TEST_CASE("any size from one cell to the largest is a pack") {
    CHECK(error_text([] { check(single_string_pack("one", "c", small_cell(), {1, 1})); }).empty());
    CHECK(error_text([] {
              check(single_string_pack("most", "c", small_cell(), {10000, 100}));
          }).empty());
    CHECK(error_text([] {
              check(single_string_pack("over", "c", small_cell(), {10000, 101}));
          }) == "strings[0].modules: 1010000 cells so far, a pack has at most 1000000");
}

TEST_CASE("an impossible layout is named with field, value and bound") {
    REQUIRE(complaint([](Pack&) {}).empty());
    CHECK(complaint([](Pack& p) { p.strings[1].modules[0] = "newer"; }) ==
          "strings[1].modules[0]: there is no module \"newer\"");
    CHECK(complaint([](Pack& p) { p.strings[1].modules.clear(); }) ==
          "strings[1].modules: has none, needs at least 1");
    CHECK(complaint([](Pack& p) { p.strings.clear(); }) == "strings: has none, needs at least 1");
    CHECK(complaint([](Pack& p) { p.modules[1].name = "new"; }) ==
          "modules[1].name: \"new\" stands twice");
    CHECK(complaint([](Pack& p) { p.modules[1].layout.parallel = 0; }) ==
          "modules[1].parallel: 0 is outside 1 .. 10000");
    CHECK(complaint([](Pack& p) { p.modules[1].interconnect_ohm = -1e-6; }) ==
          "modules[1].interconnect_ohm: -1e-06 is outside 0 .. 1000");
    CHECK(complaint([](Pack& p) { p.strings[0].busbar_ohm = NAN; }) ==
          "strings[0].busbar_ohm: nan is outside 0 .. 1000");
    CHECK(complaint([](Pack& p) { p.strings[0].contactor.voltage_V = 55; }) ==
          "strings[0].contactor.voltage_V: 55 is below the string's voltage when full, 56");
    CHECK(complaint([](Pack& p) { p.strings[0].fuse.i2t_A2s = -1; }) ==
          "strings[0].fuse.i2t_A2s: -1 is outside 0 .. 1e+12");
    CHECK(complaint([](Pack& p) {
              p.strings[0].fuse.current_A = std::numeric_limits<double>::infinity();
              p.strings[0].fuse.i2t_A2s = 400;
          }) == "strings[0].fuse.i2t_A2s: 400 needs current_A beside it");
    CHECK(complaint([](Pack& p) { p.strings[0].fuse.current_A = 0; }) ==
          "strings[0].fuse.current_A: 0 must be > 0");
    // 14 groups of 3 .. 4 V beside 21 groups: 42 .. 56 V and 63 .. 84 V never meet.
    CHECK(complaint([](Pack& p) { p.strings[1].modules.emplace_back("new"); }) ==
          "strings[1].modules: \"starboard\" has 63 .. 84 V from empty to full, \"port\" beside it "
          "42 .. 56 V: no voltage suits both");
    CHECK(complaint([](Pack& p) { p.modules[0].cell.capacity_Ah = 0; }) ==
          "modules[0].cell: capacity_Ah: 0 must be a finite number above 0");
    CHECK(complaint([](Pack& p) { p.bleed->heat_to_cells = -0.1; }) ==
          "bleed.heat_to_cells: -0.1 is outside 0 .. 1");
    CHECK(complaint([](Pack& p) { p.bleed->duty = 1.5; }) ==
          "bleed.duty: 1.5 is outside 1e-06 .. 1");
    CHECK_THAT(complaint([](Pack& p) { p.precharge->capacitance_F = 0; }),
               Catch::StartsWith("precharge.capacitance_F: 0 against the bound 1e-09"));
    CHECK(complaint([](Pack& p) { p.channels[1].string = "aft"; }) ==
          "channels[1].string: there is no string \"aft\"");
    CHECK(complaint([](Pack& p) { p.channels[0].string = "port"; }) ==
          "channels[0].string: \"port\" is given, but pack_current is one of the pack");
    CHECK(complaint([](Pack& p) { p.channels[1].group_count = 15; }) ==
          "channels[1].group_count: 15 is outside 1 .. 14");
    CHECK(complaint([](Pack& p) { p.channels[2].first_group = 14; }) ==
          "channels[2].first_group: 14 is outside 0 .. 13");
    // Group 9 lies in the old module, which has five cells; the new one has four.
    CHECK(complaint([](Pack& p) { p.channels[2].first_group = 6; }) ==
          "channels[2].cell: 4 is outside 0 .. 3");
    CHECK(complaint([](Pack& p) { p.channels[0].interval_s = 0; }) ==
          "channels[0].interval_s: 0 must be > 0");
}

TEST_CASE("a slip in a file of strings is named with its place") {
    const Folder folder;
    const auto path = folder.path / "pack.json";
    save_pack(path, mixed_pack());
    std::ifstream file(path);
    const json good = json::parse(file);
    const auto slip = [&](const std::function<void(json&)>& change) {
        json document = good;
        change(document);
        std::ofstream(path) << document.dump();
        std::string text = error_text([&] { (void)load_pack(path); });
        return text.substr(std::min(text.size(), path.string().size()));
    };
    REQUIRE(slip([](json&) {}).empty());
    CHECK(slip([](json& d) { d["strings"][0]["modules"][0]["count"] = 0; }) ==
          ": /strings/0/modules/0/count: 0 is below the smallest allowed value, must be >= 1");
    CHECK(slip([](json& d) { d["modules"][0]["seres"] = 7; }) ==
          ": /modules/0/seres: unknown field; did you mean \"series\"?");
    CHECK(slip([](json& d) { d["modules"][1]["cell"] = "hw44.json"; }) ==
          ": /modules/1/cell: there is no file " + (folder.path / "hw44.json").string());
    CHECK(slip([](json& d) { d["strings"][0]["modules"][0]["module"] = "nw"; }) ==
          ": strings[0].modules[0]: there is no module \"nw\"");
    CHECK_THAT(slip([](json& d) { d["channels"][0]["quantity"] = "current"; }),
               Catch::StartsWith(": /channels/0/quantity: "));
    CHECK_THAT(slip([](json& d) { d["format_version"] = 1; }),
               Catch::Contains("/modules: unknown field"));
}

TEST_CASE("every field of the strings schema says what it is") {
    std::ifstream file(VOLTKEEL_SOURCE_DIR "/data/schema/pack_strings.schema.json");
    const json schema = json::parse(file);
    const std::function<void(const json&)> look = [&](const json& part) {
        for (const auto& property : part.at("properties").items()) {
            INFO(property.key());
            CHECK(property.value().contains("description"));
            if (property.value().contains("properties")) look(property.value());
        }
    };
    look(schema);
    for (const char* name : {"module", "string", "channel"})
        look(schema["$defs"][name]);
}

// ---------------------------------------------------------------- precharge

TEMPLATE_TEST_CASE("precharge gives the published worked numbers", "", VOLTKEEL_SCALARS) {
    using Real = TestType;
    // A resistor maker's calculator page: 800 V, 47 ohm, 1 mF give a time constant of 47 ms, 141 ms
    // to 95 % (3 time constants; exactly 140.8), 216.4 ms to 99 %, 17.0 A, 13 617 W at the start
    // and 320 J in all. Inputs inferred from its outputs.
    PrechargeResult<Real> result;
    REQUIRE(precharge(Precharge<Real>{47, Real(1e-3), Real(0.95)}, Real(800), result) ==
            Status::ok);
    CHECK(double(result.time_s) == Approx(0.141).epsilon(2e-3));
    CHECK(double(result.peak_current_A) == Approx(17.0).epsilon(2e-3));
    CHECK(double(result.peak_power_W) == Approx(13617).epsilon(1e-4));
    CHECK(double(result.whole_energy_J) == Approx(320).epsilon(1e-6));
    CHECK(double(result.remaining_V) == Approx(40).epsilon(1e-5));
    REQUIRE(precharge(Precharge<Real>{47, Real(1e-3), Real(0.99)}, Real(-800), result) ==
            Status::ok);
    CHECK(double(result.time_s) == Approx(0.2164).epsilon(2e-4));
    // TIDUF73: 95.02 % after 3 time constants, 99.33 % after 5.
    REQUIRE(precharge(Precharge<Real>{1, 1, Real(0.9502)}, Real(10), result) == Status::ok);
    CHECK(double(result.time_s) == Approx(3).epsilon(1e-3));
    REQUIRE(precharge(Precharge<Real>{1, 1, Real(0.9933)}, Real(10), result) == Status::ok);
    CHECK(double(result.time_s) == Approx(5).epsilon(2e-3));

    const PrechargeResult<Real> before = result;
    CHECK(precharge(Precharge<Real>{0, 1, Real(0.9)}, Real(1), result) == Status::out_of_range);
    CHECK(precharge(Precharge<Real>{1, 1, Real(0.9)}, std::numeric_limits<Real>::quiet_NaN(),
                    result) == Status::sample_not_finite);
    CHECK(result.time_s == before.time_s);
}

TEST_CASE("the resistor's energy is the integral of its power") {
    std::mt19937_64 random(voltkeel_test::seed());
    for (int round = 0; round < 50; ++round) {
        const auto uniform = [&](double low, double high) {
            return low + (high - low) * static_cast<double>(random() >> 11U) * 0x1p-53;
        };
        const Precharge<double> circuit{uniform(1, 100), uniform(1e-4, 1e-2), uniform(0.5, 0.999)};
        const double difference_V = uniform(-800, 800);
        CAPTURE(circuit.resistance_ohm, circuit.capacitance_F, circuit.complete_share,
                difference_V);
        PrechargeResult<double> result;
        REQUIRE(precharge(circuit, difference_V, result) == Status::ok);
        const int steps = 4000;
        double energy_J = 0;
        for (int k = 0; k < steps; ++k) {
            const double t = (k + 0.5) * result.time_s / steps;
            const double u =
                difference_V * std::exp(-t / (circuit.resistance_ohm * circuit.capacitance_F));
            energy_J += u * u / circuit.resistance_ohm * result.time_s / steps;
        }
        CHECK(result.resistor_energy_J == Approx(energy_J).epsilon(1e-5));
    }
}
