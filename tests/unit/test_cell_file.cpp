// Cell files: that they keep every number to the bit, can be written by hand, and that each slip of
// a person is named with its place.

#include <catch2/catch.hpp>
#include <cmath>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <fstream>
#include <functional>
#include <iterator>
#include <limits>
#include <nlohmann/json.hpp>
#include <optional>
#include <random>
#include <sstream>
#include <string>
#include <vector>

#include "support/seed.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/cell_file.hpp"
#include "voltkeel/io/schema.hpp"

using nlohmann::json;
using voltkeel::BranchGrid;
using voltkeel::Cell;
using voltkeel::CurrentGrid;
using voltkeel::Error;
using voltkeel::Grid;
using voltkeel::load_cell;
using voltkeel::parse_cell;
using voltkeel::save_cell;
using voltkeel::SourceFile;
using voltkeel::to_json;

namespace {

/// The invented cell of the harbour workboat, as somebody writes it down from a data sheet: only
/// what is required.
const std::string by_hand = R"({
  "format": "voltkeel.cell",
  "format_version": 1,
  "name": "HW-50",
  "capacity_Ah": 5,
  "ocv": {
    "soc":         [0,   0.1, 0.5, 0.9, 1],
    "discharge_V": [2.5, 3.3, 3.6, 4.0, 4.15],
    "charge_V":    [2.6, 3.4, 3.6, 4.0, 4.15]
  },
  "resistance": {
    "temperature_degC": [0, 25],
    "soc": [0, 0.5, 1],
    "r0_ohm": [[0.060, 0.050, 0.050], [0.030, 0.025, 0.025]],
    "branches": [
      {"resistance_ohm": [[0.040, 0.030, 0.030], [0.020, 0.015, 0.015]],
       "time_s": [[40, 40, 40], [30, 30, 30]]}
    ]
  },
  "thermal": {"heat_capacity_J_per_K": 68, "resistance_K_per_W": 9},
  "limits": {
    "voltage_min_V": 2.5, "voltage_max_V": 4.2,
    "charge_temperature_min_degC": 0, "charge_temperature_max_degC": 45,
    "discharge_temperature_min_degC": -20, "discharge_temperature_max_degC": 60
  },
  "charge": {
    "zones": [{"temperature_min_degC": 5, "temperature_max_degC": 45, "current_A": 2.5, "voltage_V": 4.2}],
    "end_current_A": 0.1
  }
})";

/// The message of the Error that `work` throws; empty when it throws none.
std::string refusal(const std::function<void()>& work) {
    try {
        work();
    } catch (const Error& error) {
        return error.what();
    }
    return "";
}

std::string parse_refusal(const std::string& text) {
    return refusal([&] { (void)parse_cell(text, "hw50.json"); });
}

/// What is said about the cell written by hand after `change`.
std::string slip(const std::function<void(json&)>& change) {
    json document = json::parse(by_hand);
    change(document);
    return parse_refusal(document.dump());
}

/// What is said when `value` stands at `pointer`.
std::string slip(const std::string& pointer, const json& value) {
    return slip([&](json& document) { document[json::json_pointer(pointer)] = value; });
}

class Folder {
  public:
    Folder()
        : path(std::filesystem::temp_directory_path() /
               ("voltkeel_test_" + std::to_string(std::random_device{}()))) {
        std::filesystem::create_directory(path);
    }
    Folder(const Folder&) = delete;
    Folder& operator=(const Folder&) = delete;
    ~Folder() {
        std::error_code ignored;
        std::filesystem::remove_all(path, ignored);
    }
    [[nodiscard]] std::size_t file_count() const {
        return static_cast<std::size_t>(
            std::distance(std::filesystem::directory_iterator(path), {}));
    }

    const std::filesystem::path path;
};

std::string text_of(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
}

// ---------------------------------------------------------------- every value of a cell, in order

// Declared before the template that calls them: these types are not of this namespace.
void flatten(std::vector<std::uint64_t>& to, const BranchGrid& b);
void flatten(std::vector<std::uint64_t>& to, const CurrentGrid& t);
void flatten(std::vector<std::uint64_t>& to, const SourceFile& f);
void flatten(std::vector<std::uint64_t>& to, double value) {
    std::uint64_t bits = 0;
    std::memcpy(&bits, &value, sizeof bits);
    to.push_back(bits);
}
void flatten(std::vector<std::uint64_t>& to, const std::optional<double>& value) {
    to.push_back(value ? 1 : 0);
    flatten(to, value.value_or(0));
}
void flatten(std::vector<std::uint64_t>& to, const std::string& text) {
    to.push_back(text.size());
    for (const char c : text)
        to.push_back(static_cast<unsigned char>(c));
}
template <class T>
void flatten(std::vector<std::uint64_t>& to, const std::vector<T>& values) {
    to.push_back(values.size());
    for (const T& value : values)
        flatten(to, value);
}
void flatten(std::vector<std::uint64_t>& to, const BranchGrid& b) {
    for (const Grid* grid : {&b.resistance_ohm, &b.resistance_ohm_std, &b.time_s, &b.time_s_std}) {
        flatten(to, *grid);
    }
}
void flatten(std::vector<std::uint64_t>& to, const CurrentGrid& t) {
    flatten(to, t.duration_s);
    flatten(to, t.temperature_degC);
    flatten(to, t.soc);
    flatten(to, t.charge_A);
    flatten(to, t.discharge_A);
}
void flatten(std::vector<std::uint64_t>& to, const SourceFile& f) {
    for (const std::string* text : {&f.role, &f.name, &f.sha256, &f.read_as})
        flatten(to, *text);
    to.push_back(f.rows);
    to.push_back(f.rows_used ? *f.rows_used + 1 : 0);
    for (const double value :
         {f.temperature_degC, f.current_offset_A, f.initial_soc, f.residual_rms_V}) {
        flatten(to, value);
    }
    flatten(to, f.initial_soc_std);
}
/// Bits of all values, so that -0 and 0 differ.
std::vector<std::uint64_t> flat(const Cell& c) {
    std::vector<std::uint64_t> to;
    const voltkeel::CellWindow<double>& w = c.window;
    flatten(to, c.name);
    for (const double value : {c.capacity_Ah,
                               c.capacity_Ah_std,
                               c.coulombic_efficiency,
                               c.self_discharge_per_s,
                               c.hysteresis_rate,
                               c.charge_rise.soc_start,
                               c.charge_rise.resistance_ohm,
                               c.charge_rise.resistance_ohm_std,
                               static_cast<double>(c.charge_rise.branch),
                               c.ocv.reference_temperature_degC,
                               c.thermal.heat_capacity_J_per_K,
                               c.thermal.heat_capacity_J_per_K_std,
                               c.thermal.resistance_K_per_W,
                               c.thermal.resistance_K_per_W_std,
                               c.thermal.core_resistance_K_per_W,
                               c.thermal.core_resistance_K_per_W_std,
                               c.thermal.core_heat_capacity_J_per_K,
                               c.thermal.core_heat_capacity_J_per_K_std,
                               w.voltage_min_V,
                               w.voltage_max_V,
                               w.soc_min,
                               w.soc_max,
                               w.charge_temperature_min_degC,
                               w.charge_temperature_max_degC,
                               w.discharge_temperature_min_degC,
                               w.discharge_temperature_max_degC,
                               c.charge.end_current_A}) {
        flatten(to, value);
    }
    for (const auto* values :
         {&c.ocv.soc, &c.ocv.discharge_V, &c.ocv.charge_V, &c.ocv.voltage_std_V,
          &c.ocv.entropy_V_per_K, &c.ocv.entropy_V_per_K_std, &c.resistance.temperature_degC,
          &c.resistance.soc}) {
        flatten(to, *values);
    }
    for (const auto& value :
         {c.coulombic_efficiency_std, c.hysteresis_rate_std, c.charge_rise.soc_start_std}) {
        flatten(to, value);
    }
    flatten(to, c.resistance.r0_ohm);
    flatten(to, c.resistance.r0_ohm_std);
    flatten(to, c.resistance.branches);
    flatten(to, c.thermal.source);
    flatten(to, c.current_limits);
    to.push_back(static_cast<std::uint64_t>(c.charge.zone_count));
    for (int k = 0; k != c.charge.zone_count; ++k) {
        const voltkeel::ChargeZone<double>& zone = c.charge.zones[k];
        for (const double value : {zone.temperature_min_degC, zone.temperature_max_degC,
                                   zone.current_A, zone.voltage_V}) {
            flatten(to, value);
        }
    }
    flatten(to, c.provenance.made_by);
    flatten(to, c.provenance.made_at);
    flatten(to, c.provenance.method);
    flatten(to, c.provenance.files);
    flatten(to, c.provenance.notes);
    return to;
}

// ---------------------------------------------------------------- random cells

class RandomCells {
  public:
    explicit RandomCells(std::uint64_t seed) : engine_(seed) {}

    double number(double low, double high) {
        return std::uniform_real_distribution<double>(low, high)(engine_);
    }
    int count(int low, int high) { return std::uniform_int_distribution<int>(low, high)(engine_); }

    Cell next() {
        Cell cell;
        cell.name = text() + "x";
        cell.capacity_Ah = std::exp(number(-5, 5));
        cell.capacity_Ah_std = number(0, 1);
        cell.coulombic_efficiency = number(0.5, 1);
        cell.coulombic_efficiency_std = maybe(0, 0.1);
        cell.self_discharge_per_s = count(0, 1) * std::exp(number(-700, -10));
        cell.hysteresis_rate = number(0, 1e5);
        cell.hysteresis_rate_std = maybe(0, 1e5);
        cell.ocv.reference_temperature_degC = number(-100, 200);
        cell.ocv.soc = soc_axis(count(2, 30));
        for (std::size_t k = 0; k != cell.ocv.soc.size(); ++k) {
            const double before_V = k == 0 ? number(0, 2) : cell.ocv.charge_V.back();
            cell.ocv.discharge_V.push_back(before_V + number(1e-9, 0.1));
            cell.ocv.charge_V.push_back(cell.ocv.discharge_V.back() + count(0, 1) * number(0, 0.1));
            cell.ocv.voltage_std_V.push_back(number(0, 0.01));
        }
        if (count(0, 1) == 1) cell.ocv.entropy_V_per_K = row(cell.ocv.soc.size(), -0.01, 0.01);
        if (count(0, 1) == 1) cell.ocv.entropy_V_per_K_std = row(cell.ocv.soc.size(), 0, 0.01);
        cell.resistance.temperature_degC = axis(count(1, 5), -100, 60);
        cell.resistance.soc = soc_axis(count(2, 12));
        const std::size_t rows = cell.resistance.temperature_degC.size();
        const std::size_t columns = cell.resistance.soc.size();
        cell.resistance.r0_ohm = grid(rows, columns, 1e-9, 1);
        cell.resistance.r0_ohm_std = grid(rows, columns, 0, 1);
        cell.resistance.branches.resize(static_cast<std::size_t>(count(1, 4)));
        for (BranchGrid& branch : cell.resistance.branches) {
            branch.resistance_ohm = grid(rows, columns, 1e-9, 1000);
            branch.resistance_ohm_std = grid(rows, columns, 0, 1);
            branch.time_s = grid(rows, columns, 1e-3, 1e7);
            branch.time_s_std = grid(rows, columns, 0, 1e7);
        }
        cell.charge_rise = {
            number(0, 0.99), number(0, 1000), number(0, 1),
            static_cast<int>(number(-1, static_cast<double>(cell.resistance.branches.size()))),
            maybe(0, 1)};
        cell.thermal = {number(1e-3, 1e7), number(0, 1),   number(1e-5, 1e5), number(0, 1), text(),
                        number(0, 1e5),    number(0, 1e3), number(0, 1e7),    number(0, 1)};
        cell.window = {number(0, 2),    number(2.1, 10), number(0, 0.4),  number(0.5, 1),
                       number(-100, 0), number(1, 200),  number(-100, 0), number(1, 200)};
        double duration_s = 0;
        for (int k = count(0, 3); k != 0; --k) {
            CurrentGrid table;
            table.duration_s = duration_s += number(1e-3, 1e3);
            table.temperature_degC = axis(count(1, 4), -100, 60);
            table.soc = axis(count(1, 4), 0, 0.2);
            table.charge_A = grid(table.temperature_degC.size(), table.soc.size(), 0, 1e5);
            table.discharge_A = grid(table.temperature_degC.size(), table.soc.size(), 0, 1e5);
            cell.current_limits.push_back(table);
        }
        cell.charge.end_current_A = number(1e-6, 1);
        cell.charge.zone_count = count(1, 8);
        double edge_degC = number(-100, 0);
        for (int k = 0; k != cell.charge.zone_count; ++k) {
            const double start_degC = edge_degC + count(0, 1) * number(0, 1);
            edge_degC = start_degC + number(1e-6, 20);
            cell.charge.zones[k] = {start_degC, edge_degC, number(1.001, 1e5), number(1e-3, 10)};
        }
        cell.provenance.made_by = text();
        cell.provenance.made_at = text();
        cell.provenance.method = text();
        for (int k = count(0, 3); k != 0; --k) {
            cell.provenance.files.push_back({text(), text(), text(),
                                             static_cast<std::size_t>(count(0, 1 << 30)),
                                             maybe_rows(), number(-100, 200), number(-1e5, 1e5),
                                             text(), number(-1, 2), maybe(0, 1), number(0, 1)});
        }
        for (int k = count(0, 3); k != 0; --k)
            cell.provenance.notes.push_back(text());
        return cell;
    }

  private:
    std::optional<double> maybe(double low, double high) {
        if (count(0, 1) == 0) return std::nullopt;
        return number(low, high);
    }
    std::optional<std::size_t> maybe_rows() {
        if (count(0, 1) == 0) return std::nullopt;
        return static_cast<std::size_t>(count(0, 1 << 30));
    }

    /// What could confuse a writer of JSON, or one that joins its lines.
    std::string text() {
        static const std::vector<std::string> pieces = {
            "[",  "]",  "{",         "\"",      "\\",       "\\\"", "\n",
            "\t", ", ", "[1,\n  2]", "harbour", "\xC2\xB0", "\x01"};
        std::string all;
        for (int k = count(0, 6); k != 0; --k) {
            all += pieces[static_cast<std::size_t>(count(0, static_cast<int>(pieces.size()) - 1))];
        }
        return all;
    }

    std::vector<double> row(std::size_t size, double low, double high) {
        std::vector<double> values(size);
        for (double& value : values)
            value = number(low, high);
        return values;
    }
    Grid grid(std::size_t rows, std::size_t columns, double low, double high) {
        Grid values(rows);
        for (auto& line : values)
            line = row(columns, low, high);
        return values;
    }
    std::vector<double> axis(int size, double first, double step) {
        std::vector<double> values = {first + number(0, step)};
        while (static_cast<int>(values.size()) < size) {
            values.push_back(values.back() + number(1e-9, step));
        }
        return values;
    }
    /// From exactly 0 to exactly 1.
    std::vector<double> soc_axis(int size) {
        std::vector<double> values = axis(size, 0, 1);
        const double first = values.front();
        const double last = values.back();
        for (double& value : values)
            value = (value - first) / (last - first);
        return values;
    }

    std::mt19937_64 engine_;
};

}  // namespace

// ---------------------------------------------------------------- reading

TEST_CASE("a cell file can be written by hand from a data sheet") {
    const Cell cell = parse_cell(by_hand, "hw50.json");
    CHECK(cell.name == "HW-50");
    CHECK(cell.capacity_Ah == 5.0);
    CHECK(cell.ocv.charge_V == std::vector<double>{2.6, 3.4, 3.6, 4.0, 4.15});
    CHECK(cell.resistance.r0_ohm == Grid{{0.060, 0.050, 0.050}, {0.030, 0.025, 0.025}});
    CHECK(cell.window.discharge_temperature_min_degC == -20.0);
    REQUIRE(cell.charge.zone_count == 1);
    CHECK(cell.charge.zones[0].current_A == 2.5);

    // What was left out.
    CHECK(cell.capacity_Ah_std == 0.0);
    CHECK(cell.coulombic_efficiency == 1.0);
    CHECK(cell.ocv.reference_temperature_degC == 25.0);
    CHECK(cell.ocv.voltage_std_V == std::vector<double>(5, 0.0));
    CHECK(cell.ocv.entropy_V_per_K.empty());
    const Grid zeros(2, std::vector<double>(3, 0.0));
    CHECK(cell.resistance.r0_ohm_std == zeros);
    CHECK(cell.resistance.branches.at(0).resistance_ohm_std == zeros);
    CHECK(cell.resistance.branches.at(0).time_s_std == zeros);
    CHECK(cell.window.soc_max == 1.0);
    CHECK(cell.charge_rise.resistance_ohm == 0.0);
    CHECK(cell.current_limits.empty());
    CHECK(cell.provenance.files.empty());

    // It is good enough for the model.
    const voltkeel::CellTables<float, 1> tables(cell);
    CHECK(tables.parameters().capacity_Ah == 5.0F);
}

TEST_CASE("a default that the schema states is the value that a missing field reads as") {
    std::ifstream file(VOLTKEEL_SOURCE_DIR "/data/schema/cell.schema.json");
    const json schema = json::parse(file);
    json document = json::parse(by_hand);
    document["provenance"] = {{"files", {{{"role", "slow test"}, {"name", "slow.csv"}}}}};
    const json written = json::parse(to_json(parse_cell(document.dump(), "hw50.json")));

    int compared = 0;
    const std::function<void(const json&, const json&, const std::string&)> compare =
        [&](const json& rules, const json& value, const std::string& place) {
            INFO(place);
            if (rules.contains("items") && !value.empty()) {
                compare(rules["items"], value[0], place + "/0");
            }
            if (!rules.contains("properties")) return;
            for (const auto& property : rules["properties"].items()) {
                if (!value.contains(property.key())) continue;
                const json& field = value[property.key()];
                const bool given =
                    document.contains(json::json_pointer(place + "/" + property.key()));
                if (property.value().contains("default") && !given) {
                    INFO(property.key());
                    CHECK(field == property.value()["default"]);
                    ++compared;
                }
                compare(property.value(), field, place + "/" + property.key());
            }
        };
    compare(schema, written, "");
    // That of "files" cannot be seen beside a file.
    CHECK(compared == 35);
}

TEST_CASE(
    "every field of the cell schema says what it means, and refuses fields it does not know") {
    std::ifstream file(VOLTKEEL_SOURCE_DIR "/data/schema/cell.schema.json");
    const json schema = json::parse(file);
    int fields = 0;
    const std::function<void(const json&, const std::string&)> inspect =
        [&](const json& rules, const std::string& place) {
            INFO(place);
            if (rules.contains("items")) inspect(rules["items"], place + "/items");
            if (!rules.contains("properties")) return;
            CHECK(rules.value("additionalProperties", true) == false);
            for (const auto& property : rules["properties"].items()) {
                INFO(property.key());
                const json& field = property.value();
                const bool by_reference =
                    field.contains("$ref") &&
                    schema.contains(json::json_pointer(field["$ref"].get<std::string>().substr(1) +
                                                       "/description"));
                CHECK((field.contains("description") || by_reference));
                ++fields;
                inspect(field, place + "/" + property.key());
            }
        };
    inspect(schema, "");
    CHECK(fields > 60);
}

// ---------------------------------------------------------------- slips

TEST_CASE("a cell file of another kind or version is refused with that alone") {
    CHECK(slip("/format", "voltkeel.pack") ==
          "hw50.json: /format: \"voltkeel.pack\" is not the one allowed value, must be "
          "\"voltkeel.cell\"");
    CHECK(slip("/format_version", 2) ==
          "hw50.json: /format_version: 2 is not the one allowed value, must be 1");
    CHECK(parse_refusal(R"({"format": "voltkeel.cell", "format_version": 7, "new_field": {}})") ==
          "hw50.json: /format_version: 7 is not the one allowed value, must be 1");
    CHECK(slip([](json& d) { d.erase("format"); }) ==
          "hw50.json: (whole document): field \"format\" is missing");
}

TEST_CASE("text that is no cell file at all is refused with its place") {
    CHECK(parse_refusal("") == "hw50.json: the file is empty");
    CHECK(parse_refusal(" \r\n\n") == "hw50.json: the file is empty");
    CHECK(parse_refusal("[1, 2]") ==
          "hw50.json: (whole document): an array of 2 has the wrong type, must be an object");
    CHECK_THAT(parse_refusal("{\n  \"name\": NaN\n}"), Catch::StartsWith("hw50.json:2:1"));
    CHECK_THAT(parse_refusal("{\n\"name\": \"a\",\n\"name\": \"b\"}"),
               Catch::StartsWith("hw50.json:3:1: field \"name\" stands twice"));
}

TEST_CASE("a cell file that was cut is refused, wherever the cut is") {
    for (std::size_t size = 0; size != by_hand.size(); ++size) {
        INFO(size);
        CHECK_THAT(parse_refusal(by_hand.substr(0, size)), Catch::StartsWith("hw50.json:"));
    }
    CHECK(parse_refusal(by_hand).empty());
}

TEST_CASE("a missing field is named with the object it is missing from") {
    CHECK(slip([](json& d) { d.erase("capacity_Ah"); }) ==
          "hw50.json: (whole document): field \"capacity_Ah\" is missing");
    CHECK(slip([](json& d) { d["ocv"].erase("charge_V"); }) ==
          "hw50.json: /ocv: field \"charge_V\" is missing");
    CHECK(slip([](json& d) { d["resistance"]["branches"][0].erase("time_s"); }) ==
          "hw50.json: /resistance/branches/0: field \"time_s\" is missing");
    // No silent default decides at which temperature a cell is charged.
    for (const char* name : {"charge_temperature_min_degC", "charge_temperature_max_degC",
                             "discharge_temperature_min_degC", "discharge_temperature_max_degC"}) {
        CHECK(slip([&](json& d) { d["limits"].erase(name); }) ==
              "hw50.json: /limits: field \"" + std::string(name) + "\" is missing");
    }
}

TEST_CASE("a wrong unit suffix is caught and the right name offered") {
    const auto renamed = [](const std::string& pointer, const char* wrong, const char* right) {
        return slip([&](json& d) {
            json& object = d[json::json_pointer(pointer)];
            object[wrong] = object[right];
            object.erase(right);
        });
    };
    CHECK(renamed("", "capacity_As", "capacity_Ah") ==
          "hw50.json: (whole document): field \"capacity_Ah\" is missing\n"
          "hw50.json: /capacity_As: unknown field; did you mean \"capacity_Ah\"?");
    CHECK_THAT(renamed("/ocv", "charge_mV", "charge_V"),
               Catch::EndsWith("/ocv/charge_mV: unknown field; did you mean \"charge_V\"?"));
    CHECK_THAT(renamed("/resistance/branches/0", "time_ms", "time_s"),
               Catch::EndsWith("time_ms: unknown field; did you mean \"time_s\"?"));
    CHECK_THAT(renamed("/limits", "voltage_max", "voltage_max_V"),
               Catch::EndsWith("voltage_max: unknown field; did you mean \"voltage_max_V\"?"));
}

TEST_CASE("a value out of bounds is named with the bound") {
    const auto place = [](const std::string& pointer) { return "hw50.json: " + pointer + ": "; };
    CHECK(slip("/capacity_Ah", -5) ==
          place("/capacity_Ah") + "-5 is below the smallest allowed value, must be >= 0.0001");
    CHECK(slip("/resistance/r0_ohm/1/2", -0.025) ==
          place("/resistance/r0_ohm/1/2") +
              "-0.025 is below the smallest allowed value, must be > 0");
    CHECK(slip("/resistance/branches/0/time_s/0/0", 0) ==
          place("/resistance/branches/0/time_s/0/0") +
              "0 is below the smallest allowed value, must be >= 0.001");
    CHECK(slip("/coulombic_efficiency", 99.8) ==
          place("/coulombic_efficiency") + "99.8 is above the largest allowed value, must be <= 1");
    CHECK(slip("/ocv/discharge_V/0", 2500) ==
          place("/ocv/discharge_V/0") + "2500 is above the largest allowed value, must be <= 10");
    CHECK(slip("/limits/soc_max", 100) ==
          place("/limits/soc_max") + "100 is above the largest allowed value, must be <= 1");
    CHECK(slip("/capacity_Ah", "NaN") ==
          place("/capacity_Ah") + "\"NaN\" has the wrong type, must be a number");
    CHECK(slip("/ocv/soc/1", nullptr) ==
          place("/ocv/soc/1") + "null has the wrong type, must be a number");
    CHECK(slip("/thermal/core_resistance_K_per_W", -1) ==
          place("/thermal/core_resistance_K_per_W") +
              "-1 is below the smallest allowed value, must be >= 0");
    CHECK(slip("/thermal/core_time_s", 80).find("core_heat_capacity_J_per_K") != std::string::npos);
    CHECK(slip("/name", "") == place("/name") + "\"\" has 0 characters, must have at least 1");
    CHECK(slip("/charge/zones", json::array()) ==
          place("/charge/zones") + "has 0 elements, must have at least 1");
}

TEST_CASE("all slips against the schema are told at once, one to a line") {
    CHECK(slip([](json& d) {
              d["capacity_Ah"] = 0;
              d["ocv"]["soc"][4] = 100;
              d["thermal"].erase("resistance_K_per_W");
          }) ==
          "hw50.json: /capacity_Ah: 0 is below the smallest allowed value, must be >= 0.0001\n"
          "hw50.json: /ocv/soc/4: 100 is above the largest allowed value, must be <= 1\n"
          "hw50.json: /thermal: field \"resistance_K_per_W\" is missing");
}

TEST_CASE("what the schema cannot see is refused with file, field and values") {
    CHECK(slip("/ocv/soc/2", 0.1) ==
          "hw50.json: ocv.soc[2]: 0.1 is not above the value before it, 0.1");
    CHECK(slip("/ocv/soc/0", 0.05) == "hw50.json: ocv.soc[0]: 0.05 must be 0");
    CHECK(slip("/ocv/soc", {0, 0.1, 0.5, 1}) ==
          "hw50.json: ocv.discharge_V: has 5 values, needs 4");
    CHECK(slip("/ocv/charge_V/1", 3.2) ==
          "hw50.json: ocv.charge_V[1]: 3.2 lies below the discharge branch, 3.3");
    CHECK(slip("/ocv/charge_V/0", 4.3) ==
          "hw50.json: ocv.charge_V[1]: 3.4 is so low that the mean of both branches does not rise");
    CHECK(slip("/ocv/voltage_std_V", {0.1, 0.1}) ==
          "hw50.json: ocv.voltage_std_V: has 2 values, needs 5");
    CHECK(slip("/resistance/r0_ohm", {{0.1, 0.1, 0.1}}) ==
          "hw50.json: resistance.r0_ohm: has 1 rows (temperatures), needs 2");
    CHECK(slip("/resistance/r0_ohm/1", {0.1, 0.1}) ==
          "hw50.json: resistance.r0_ohm[1]: has 2 values, needs 3");
    CHECK(slip("/resistance/r0_ohm_std", {{0.1, 0.1, 0.1}}) ==
          "hw50.json: resistance.r0_ohm_std: has 1 rows (temperatures), needs 2");
    CHECK(slip("/resistance/branches/0/resistance_ohm_std", {{0.1, 0.1}, {0.1, 0.1}}) ==
          "hw50.json: resistance.branches[0].resistance_ohm_std[0]: has 2 values, needs 3");
    CHECK(slip("/resistance/branches/0/time_s_std", {{1, 1, 1}, {1, 1, 1}, {1, 1, 1}}) ==
          "hw50.json: resistance.branches[0].time_s_std: has 3 rows (temperatures), needs 2");
    CHECK(slip("/resistance/temperature_degC", {25, 0}) ==
          "hw50.json: resistance.temperature_degC[1]: 0 is not above the value before it, 25");
    CHECK(slip("/limits/voltage_min_V", 4.2) ==
          "hw50.json: limits.voltage_min_V: 4.2 must be below its upper end, 4.2");
    CHECK(slip("/limits/charge_temperature_min_degC", 50) ==
          "hw50.json: limits.charge_temperature_min_degC: 50 must be below its upper end, 45");
    CHECK_THAT(slip("/charge/end_current_A", 3),
               Catch::StartsWith("hw50.json: charge.zones.current_A[0]: 2.5 against 3: "));
    const json table = {{"duration_s", 30},
                        {"temperature_degC", {25}},
                        {"soc", {0, 1}},
                        {"charge_A", {{5, 5}}},
                        {"discharge_A", {{10, 10}}}};
    CHECK(slip("/limits/current_tables", json::array({table})).empty());
    CHECK(slip("/limits/current_tables", json::array({table, table})) ==
          "hw50.json: limits.current_tables[1].duration_s: 30 must be above 30, the duration of "
          "the table before it");
}

// ---------------------------------------------------------------- writing

TEST_CASE("every field of a cell stands in its file under its name") {
    Cell cell;
    cell.name = "HW-50";
    cell.capacity_Ah = 4.95;
    cell.capacity_Ah_std = 0.01;
    cell.coulombic_efficiency = 0.999;
    cell.coulombic_efficiency_std = 0.0005;
    cell.self_discharge_per_s = 1e-9;
    cell.hysteresis_rate = 30;
    cell.hysteresis_rate_std = 9;
    cell.ocv = {
        24, {0, 1}, {2.5, 4.1}, {2.6, 4.15}, {0.001, 0.002}, {-0.0001, 0.0002}, {0.00005, 0.00006}};
    cell.resistance = {{-5, 25},
                       {0, 1},
                       {{0.06, 0.05}, {0.03, 0.02}},
                       {{0.006, 0.005}, {0.003, 0.002}},
                       {{{{0.07, 0.08}, {0.09, 0.1}},
                         {{0.007, 0.008}, {0.009, 0.01}},
                         {{31, 32}, {33, 34}},
                         {{3.1, 3.2}, {3.3, 3.4}}}},
                       voltkeel::ChargeTransferGrid{{{0.11, 0.12}, {0.13, 0.14}},
                                                    {{0.011, 0.012}, {0.013, 0.014}},
                                                    {{1.1, 1.2}, {1.3, 1.4}},
                                                    {{0.15, 0.16}, {0.17, 0.18}},
                                                    {{0.51, 0.52}, {0.53, 0.54}},
                                                    {{0.055, 0.056}, {0.057, 0.058}}}};
    cell.noise = {0.0031, 0.131, 0.31, 57, 0.041, 0.23, 7.5, 0.031};
    cell.charge_rise = {0.85, 0.011, 0.004, 0, 0.02};
    cell.thermal = {68, 7, 9, 0.8, "fitted", 1.9, 0.4, 61, 6.5};
    cell.window = {2.51, 4.21, 0.02, 0.98, 1, 44, -19, 59};
    cell.current_limits = {{30, {10}, {0, 0.5}, {{4, 3}}, {{15, 14}}}};
    cell.charge.zone_count = 2;
    cell.charge.zones[0] = {1, 10, 2.4, 4.1};
    cell.charge.zones[1] = {10, 44, 4.8, 4.2};
    cell.charge.end_current_A = 0.25;
    cell.provenance = {"somebody",
                       "2026-03-01T08:00:00Z",
                       {{"slow test", "slow.csv", "ab12", 2500, 2400, 24.5, 0.006,
                         "discharge positive", 0.99, 0.003, 0.0015}},
                       {"first note", "second [note]"},
                       "fitted to tests"};
    const std::string expected = R"({
  "format": "voltkeel.cell",
  "format_version": 1,
  "name": "HW-50",
  "capacity_Ah": 4.95,
  "capacity_Ah_std": 0.01,
  "coulombic_efficiency": 0.999,
  "coulombic_efficiency_std": 0.0005,
  "self_discharge_per_s": 1e-09,
  "hysteresis_rate": 30.0,
  "hysteresis_rate_std": 9.0,
  "ocv": {
    "reference_temperature_degC": 24.0,
    "soc": [0.0, 1.0],
    "discharge_V": [2.5, 4.1],
    "charge_V": [2.6, 4.15],
    "voltage_std_V": [0.001, 0.002],
    "entropy_V_per_K": [-0.0001, 0.0002],
    "entropy_V_per_K_std": [5e-05, 6e-05]
  },
  "resistance": {
    "temperature_degC": [-5.0, 25.0],
    "soc": [0.0, 1.0],
    "r0_ohm": [
      [0.06, 0.05],
      [0.03, 0.02]
    ],
    "r0_ohm_std": [
      [0.006, 0.005],
      [0.003, 0.002]
    ],
    "branches": [
      {
        "resistance_ohm": [
          [0.07, 0.08],
          [0.09, 0.1]
        ],
        "resistance_ohm_std": [
          [0.007, 0.008],
          [0.009, 0.01]
        ],
        "time_s": [
          [31.0, 32.0],
          [33.0, 34.0]
        ],
        "time_s_std": [
          [3.1, 3.2],
          [3.3, 3.4]
        ]
      }
    ],
    "charge_transfer": {
      "scale_V": [
        [0.11, 0.12],
        [0.13, 0.14]
      ],
      "scale_V_std": [
        [0.011, 0.012],
        [0.013, 0.014]
      ],
      "exchange_current_A": [
        [1.1, 1.2],
        [1.3, 1.4]
      ],
      "exchange_current_A_std": [
        [0.15, 0.16],
        [0.17, 0.18]
      ],
      "time_s": [
        [0.51, 0.52],
        [0.53, 0.54]
      ],
      "time_s_std": [
        [0.055, 0.056],
        [0.057, 0.058]
      ]
    }
  },
  "charge_rise": {
    "soc_start": 0.85,
    "resistance_ohm": 0.011,
    "resistance_ohm_std": 0.004,
    "branch": 0,
    "soc_start_std": 0.02
  },
  "thermal": {
    "heat_capacity_J_per_K": 68.0,
    "heat_capacity_J_per_K_std": 7.0,
    "resistance_K_per_W": 9.0,
    "resistance_K_per_W_std": 0.8,
    "core_resistance_K_per_W": 1.9,
    "core_resistance_K_per_W_std": 0.4,
    "core_heat_capacity_J_per_K": 61.0,
    "core_heat_capacity_J_per_K_std": 6.5,
    "source": "fitted"
  },
  "noise": {
    "voltage_std_V": 0.0031,
    "overvoltage_share_std": 0.131,
    "lasting_share": 0.31,
    "correlation_time_s": 57.0,
    "resistance_log_std": 0.041,
    "resistance_log_std_per_sqrt_h": 0.23,
    "tested_current_A": 7.5,
    "untested_share_std": 0.031
  },
  "limits": {
    "voltage_min_V": 2.51,
    "voltage_max_V": 4.21,
    "soc_min": 0.02,
    "soc_max": 0.98,
    "charge_temperature_min_degC": 1.0,
    "charge_temperature_max_degC": 44.0,
    "discharge_temperature_min_degC": -19.0,
    "discharge_temperature_max_degC": 59.0,
    "current_tables": [
      {
        "duration_s": 30.0,
        "temperature_degC": [10.0],
        "soc": [0.0, 0.5],
        "charge_A": [
          [4.0, 3.0]
        ],
        "discharge_A": [
          [15.0, 14.0]
        ]
      }
    ]
  },
  "charge": {
    "zones": [
      {
        "temperature_min_degC": 1.0,
        "temperature_max_degC": 10.0,
        "current_A": 2.4,
        "voltage_V": 4.1
      },
      {
        "temperature_min_degC": 10.0,
        "temperature_max_degC": 44.0,
        "current_A": 4.8,
        "voltage_V": 4.2
      }
    ],
    "end_current_A": 0.25
  },
  "provenance": {
    "made_by": "somebody",
    "made_at": "2026-03-01T08:00:00Z",
    "method": "fitted to tests",
    "files": [
      {
        "role": "slow test",
        "name": "slow.csv",
        "sha256": "ab12",
        "rows": 2500,
        "rows_used": 2400,
        "temperature_degC": 24.5,
        "current_offset_A": 0.006,
        "read_as": "discharge positive",
        "initial_soc": 0.99,
        "initial_soc_std": 0.003,
        "residual_rms_V": 0.0015
      }
    ],
    "notes": [
      "first note",
      "second [note]"
    ]
  }
}
)";
    CHECK(to_json(cell) == expected);
    CHECK(flat(parse_cell(expected, "hw50.json")) == flat(cell));
}

TEST_CASE("numbers keep their bits") {
    Cell cell = parse_cell(by_hand, "hw50.json");
    for (const double value : {0.1 + 0.2, 1.0 / 3, 1e300, std::numeric_limits<double>::denorm_min(),
                               std::numeric_limits<double>::min(), 5e-324 * 12345, -0.0}) {
        cell.capacity_Ah_std = value;
        CHECK(flat(parse_cell(to_json(cell), "again")) == flat(cell));
    }
    cell.capacity_Ah = std::nextafter(5.0, 6.0);
    CHECK(parse_cell(to_json(cell), "again").capacity_Ah == std::nextafter(5.0, 6.0));
}

TEST_CASE("any valid cell reads back as it was written") {
    RandomCells cells(voltkeel_test::seed());
    for (int k = 0; k != 300; ++k) {
        const Cell cell = cells.next();
        INFO("cell " << k);
        const std::string text = to_json(cell);
        INFO(text);
        const Cell again = parse_cell(text, "again");
        REQUIRE(flat(again) == flat(cell));
        REQUIRE(to_json(again) == text);
    }
}

TEST_CASE("a row of numbers stands on one line") {
    RandomCells cells(voltkeel_test::seed() + 1);
    for (int k = 0; k != 20; ++k) {
        Cell cell = cells.next();
        cell.name = "plain";
        cell.thermal.source.clear();
        cell.provenance = {};
        std::size_t lines = 0;
        std::string line;
        for (std::istringstream text(to_json(cell)); std::getline(text, line); ++lines) {
            const std::size_t first = line.find_first_not_of(' ');
            INFO(line);
            REQUIRE(std::string("{}[]\"").find(line[first]) != std::string::npos);
        }
        std::size_t grids_rows = 4 * cell.resistance.branches.size() + 2;
        grids_rows *= cell.resistance.temperature_degC.size();
        CHECK(lines > grids_rows);
    }
}

TEST_CASE("a cell that could not be read back is not written") {
    const auto written = [](const std::function<void(Cell&)>& change) {
        Cell cell = parse_cell(by_hand, "hw50.json");
        change(cell);
        return refusal([&] { (void)to_json(cell); });
    };
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const double infinity = std::numeric_limits<double>::infinity();
    CHECK(written([](Cell&) {}).empty());
    CHECK(written([&](Cell& c) { c.coulombic_efficiency_std = nan; }) ==
          "cell: coulombic_efficiency_std: nan must be a finite number, not negative");
    CHECK(written([&](Cell& c) { c.hysteresis_rate_std = -1; }) ==
          "cell: hysteresis_rate_std: -1 must be a finite number, not negative");
    CHECK(written([&](Cell& c) {
              c.ocv.entropy_V_per_K_std = {0, 0, infinity, 0, 0};
          }) == "cell: ocv.entropy_V_per_K_std[2]: inf must be a finite number, not negative");
    CHECK(written([&](Cell& c) { c.thermal.heat_capacity_J_per_K_std = nan; }) ==
          "cell: /thermal/heat_capacity_J_per_K_std: is not a finite number");
    CHECK(written([&](Cell& c) {
              c.ocv.entropy_V_per_K = {0, 0, infinity, 0, 0};
          }) == "cell: /ocv/entropy_V_per_K/2: is not a finite number");
    CHECK(written([&](Cell& c) { c.ocv.charge_V[4] = infinity; }) ==
          "cell: /ocv/charge_V/4: is not a finite number");
    CHECK_THAT(written([&](Cell& c) { c.ocv.voltage_std_V[1] = nan; }),
               Catch::StartsWith("cell: ocv.voltage_std_V[1]: "));
    CHECK_THAT(written([&](Cell& c) { c.resistance.r0_ohm_std[1][1] = infinity; }),
               Catch::StartsWith("cell: resistance.r0_ohm_std[1][1]: "));
    CHECK_THAT(written([&](Cell& c) { c.capacity_Ah = nan; }),
               Catch::StartsWith("cell: capacity_Ah: "));
    CHECK(written([](Cell& c) { c.name = "HW\xFF"; }) == "cell: /name: is not UTF-8 text");
    CHECK(written([](Cell& c) {
              c.provenance.notes = {"", "\xC3"};
          }) == "cell: /provenance/notes/1: is not UTF-8 text");
    CHECK(written([](Cell& c) { c.coulombic_efficiency = 1.1; }) ==
          "cell: /coulombic_efficiency: 1.1 is above the largest allowed value, must be <= 1");
    CHECK_THAT(written([](Cell& c) { c.charge.zone_count = 9; }),
               Catch::StartsWith("cell: charge.zone_count"));
    CHECK_THAT(written([](Cell& c) { c.window.soc_min = 1; }),
               Catch::StartsWith("cell: limits.soc_min: "));
    // Grids without standard deviations are left out and read as zeros.
    Cell bare = parse_cell(by_hand, "hw50.json");
    const std::vector<std::uint64_t> with_zeros = flat(bare);
    bare.resistance.r0_ohm_std.clear();
    bare.resistance.branches[0].time_s_std.clear();
    CHECK(flat(parse_cell(to_json(bare), "bare")) == with_zeros);
}

TEST_CASE("a saved cell loads, and a refused one leaves the old file alone") {
    const Folder folder;
    const std::filesystem::path path = folder.path / "hw50.json";
    Cell cell = parse_cell(by_hand, "hw50.json");
    save_cell(path, cell);
    CHECK(flat(load_cell(path)) == flat(cell));
    CHECK(text_of(path) == to_json(cell));
    cell.capacity_Ah = 4.5;
    save_cell(path, cell);
    CHECK(load_cell(path).capacity_Ah == 4.5);

    const std::string before = text_of(path);
    cell.capacity_Ah = -1;
    CHECK_THAT(refusal([&] { save_cell(path, cell); }),
               Catch::StartsWith(path.string() + ": capacity_Ah: "));
    CHECK(text_of(path) == before);
    CHECK(folder.file_count() == 1);
}

TEST_CASE("a cell file that cannot be opened or written is named") {
    const Folder folder;
    const std::string missing = (folder.path / "missing" / "hw50.json").string();
    CHECK_THAT(refusal([&] { (void)load_cell(missing); }),
               Catch::StartsWith(missing + ": cannot be opened: "));
    CHECK(refusal([&] { (void)load_cell(folder.path); }) ==
          folder.path.string() + ": is a folder, not a file");
    CHECK_THAT(refusal([&] { save_cell(missing, parse_cell(by_hand, "")); }),
               Catch::StartsWith(missing + ": cannot be written: "));
    std::ofstream(folder.path / "bad.json") << "{\n  \"format\": \"voltkeel.cell\",\n";
    CHECK_THAT(refusal([&] { (void)load_cell(folder.path / "bad.json"); }),
               Catch::StartsWith((folder.path / "bad.json").string() + ":3:1: "));
}
