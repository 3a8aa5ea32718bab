// The layout of a pack and the file that holds it.

#include <catch2/catch.hpp>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <limits>
#include <nlohmann/json.hpp>
#include <random>
#include <string>
#include <type_traits>

#include "support/error_text.hpp"
#include "support/scalars.hpp"
#include "support/small_cell.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/cell_file.hpp"
#include "voltkeel/io/pack_file.hpp"

using nlohmann::json;
using voltkeel::Cell;
using voltkeel::Error;
using voltkeel::Finding;
using voltkeel::load_pack;
using voltkeel::Pack;
using voltkeel::PackLayout;
using voltkeel::save_pack;
using voltkeel::Status;
using voltkeel_test::error_text;
using voltkeel_test::small_cell;

namespace {

const std::string workboat = R"({"format": "voltkeel.pack", "format_version": 1,
    "name": "harbour workboat", "cell": "cells/hw50.json", "series": 14, "parallel": 20})";

/// A folder with a pack file and the cell it names, removed after the test.
class Boat {
  public:
    Boat()
        : folder(std::filesystem::temp_directory_path() /
                 ("voltkeel_test_" + std::to_string(std::random_device{}()))),
          path(folder / "pack.json") {
        std::filesystem::create_directories(folder / "cells");
        voltkeel::save_cell(folder / "cells" / "hw50.json", small_cell());
    }
    Boat(const Boat&) = delete;
    Boat& operator=(const Boat&) = delete;
    ~Boat() {
        std::error_code ignored;
        std::filesystem::remove_all(folder, ignored);
    }

    void write(const std::string& text) const { std::ofstream(path, std::ios::binary) << text; }

    /// What is said about `text` as the pack file, without the path in front.
    [[nodiscard]] std::string complaint(const std::string& text) const {
        write(text);
        std::string message = error_text([&] { (void)load_pack(path); });
        if (message.compare(0, path.string().size(), path.string()) != 0) return message;
        return message.erase(0, path.string().size());
    }
    [[nodiscard]] std::string slip(const char* field, const json& value) const {
        json document = json::parse(workboat);
        document[field] = value;
        return complaint(document.dump());
    }

    const std::filesystem::path folder;
    const std::filesystem::path path;
};

std::string text_of(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
}

}  // namespace

TEMPLATE_TEST_CASE("a layout turns cell values into pack values and back", "", VOLTKEEL_SCALARS) {
    using Real = TestType;
    const PackLayout<Real> layout{14, 20};
    CHECK(cell_count(layout) == 280);
    // Kirchhoff's laws, with numbers worked out by hand: 14 groups of 3.6 V are 50.4 V; 100 A over
    // 20 cells are 5 A each, and 50.4 V times 100 A are 280 cells of 18 W.
    CHECK(pack_voltage_V(layout, Real(3.6)) == Approx(50.4));
    CHECK(cell_current_A(layout, Real(-100)) == Real(-5));
    CHECK(pack_current_A(layout, Real(5)) == Real(100));
    CHECK(pack_capacity_Ah(layout, Real(5)) == Real(100));
    CHECK(pack_power_W(layout, Real(18)) == Real(5040));
    CHECK(cell_power_W(layout, Real(-5040)) == Real(-18));
    CHECK(pack_voltage_V(layout, Real(3.6)) * pack_current_A(layout, Real(5)) ==
          Approx(pack_power_W(layout, Real(3.6) * Real(5))));

    const PackLayout<Real> single{};
    CHECK(cell_count(single) == 1);
    CHECK(pack_voltage_V(single, Real(3.3)) == Real(3.3));
    CHECK(cell_current_A(single, Real(7)) == Real(7));
    static_assert(std::is_same_v<decltype(cell_current_A(layout, Real(1))), Real>);
}

TEMPLATE_TEST_CASE("a layout out of bounds is found", "", VOLTKEEL_SCALARS) {
    using Real = TestType;
    constexpr int largest = PackLayout<Real>::largest_count;
    static_assert(largest <= std::numeric_limits<int>::max() / largest);
    CHECK(validate(PackLayout<Real>{}).status == Status::ok);
    CHECK(validate(PackLayout<Real>{largest, largest}).status == Status::ok);
    const auto check = [](const PackLayout<Real>& layout, const char* field, Real value,
                          Real bound) {
        const Finding<Real> finding = validate(layout);
        CHECK(finding.status == Status::out_of_range);
        CHECK(std::string(finding.field) == field);
        CHECK(finding.index == -1);
        CHECK(finding.value == value);
        CHECK(finding.bound == bound);
    };
    check({0, 1}, "series", 0, 1);
    check({-4, 0}, "series", -4, 1);
    check({largest + 1, 1}, "series", Real(largest + 1), Real(largest));
    check({1, 0}, "parallel", 0, 1);
    check({1, largest + 1}, "parallel", Real(largest + 1), Real(largest));
}

TEST_CASE("the pack schema and the layout have the same bounds") {
    std::ifstream file(VOLTKEEL_SOURCE_DIR "/data/schema/pack.schema.json");
    const json schema = json::parse(file);
    for (const char* field : {"series", "parallel"}) {
        CHECK(schema["properties"][field]["minimum"] == 1);
        CHECK(schema["properties"][field]["maximum"] == PackLayout<double>::largest_count);
    }
    for (const auto& property : schema["properties"].items()) {
        INFO(property.key());
        CHECK(property.value().contains("description"));
    }
}

TEST_CASE("a pack file brings its cell, found from the folder of the pack file") {
    const Boat boat;
    boat.write(workboat);
    const Pack pack = load_pack(boat.path);
    CHECK(pack.name == "harbour workboat");
    REQUIRE(pack.modules.size() == 1);
    CHECK(pack.modules[0].cell_file == "cells/hw50.json");
    CHECK(equal_layout(pack).series == 14);
    CHECK(equal_layout(pack).parallel == 20);
    CHECK(pack.notes.empty());
    CHECK(pack.modules[0].cell.name == "HW-50");
    CHECK(pack.modules[0].cell.capacity_Ah == 5.0);
}

TEST_CASE("a saved pack reads as it was written and loads again") {
    const Boat boat;
    Pack pack =
        voltkeel::single_string_pack("harbour workboat", "cells/hw50.json", Cell{}, {14, 20});
    pack.notes = {"invented", "[two] groups were \"moved\""};
    save_pack(boat.path, pack);
    CHECK(text_of(boat.path) == R"({
  "format": "voltkeel.pack",
  "format_version": 1,
  "name": "harbour workboat",
  "cell": "cells/hw50.json",
  "series": 14,
  "parallel": 20,
  "notes": [
    "invented",
    "[two] groups were \"moved\""
  ]
}
)");
    const Pack again = load_pack(boat.path);
    CHECK(again.name == pack.name);
    CHECK(again.modules[0].cell_file == pack.modules[0].cell_file);
    CHECK(equal_layout(again).series == 14);
    CHECK(equal_layout(again).parallel == 20);
    CHECK(again.notes == pack.notes);

    const std::string before = text_of(boat.path);
    pack.modules[0].layout.parallel = 0;
    CHECK(error_text([&] { save_pack(boat.path, pack); }) ==
          boat.path.string() + ": /parallel: 0 is below the smallest allowed value, must be >= 1");
    pack.modules[0].layout.parallel = 20;
    pack.name = "\xFF";
    CHECK(error_text([&] { save_pack(boat.path, pack); }) ==
          boat.path.string() + ": /name: is not UTF-8 text");
    CHECK(text_of(boat.path) == before);
    CHECK(std::distance(std::filesystem::directory_iterator(boat.folder), {}) == 2);
}

TEST_CASE("a slip in a pack file is named with its place") {
    const Boat boat;
    CHECK(boat.slip("series", 14.5) == ": /series: 14.5 has the wrong type, must be an integer");
    CHECK(boat.slip("series", 14.0).empty());
    CHECK(boat.slip("series", 0) ==
          ": /series: 0 is below the smallest allowed value, must be >= 1");
    CHECK(boat.slip("parallel", 20000) ==
          ": /parallel: 20000 is above the largest allowed value, must be <= 10000");
    CHECK(boat.slip("paralel", 20) == ": /paralel: unknown field; did you mean \"parallel\"?");
    CHECK(boat.slip("format", "voltkeel.cell") ==
          ": /format: \"voltkeel.cell\" is not the one allowed value, must be \"voltkeel.pack\"");
    CHECK(boat.slip("format_version", 3) ==
          ": /format_version: 3 is not known, must be 1 (equal cells in one string) or 2 (modules "
          "and strings)");
    CHECK_THAT(boat.slip("format_version", 2), Catch::Contains("field \"strings\" is missing"));
    CHECK(boat.slip("notes", "one") == ": /notes: \"one\" has the wrong type, must be an array");
    CHECK(boat.complaint(R"({"format": "voltkeel.pack", "format_version": 1, "name": "boat"})") ==
          ": (whole document): field \"cell\" is missing\n" + boat.path.string() +
              ": (whole document): field \"series\" is missing\n" + boat.path.string() +
              ": (whole document): field \"parallel\" is missing");
    CHECK(boat.complaint("") == ": the file is empty");
    CHECK_THAT(boat.complaint(workboat.substr(0, 60)), Catch::StartsWith(":2:"));
    CHECK_THAT(boat.complaint(R"({"series": 1, "series": 2})"),
               Catch::Contains("\"series\" stands twice"));
}

TEST_CASE("a cell that a pack file names is refused with the name of the file at fault") {
    const Boat boat;
    CHECK(boat.slip("cell", "hw51.json") ==
          ": /cell: there is no file " + (boat.folder / "hw51.json").string());
    CHECK(boat.slip("cell", "cells") ==
          (boat.folder / "cells").string() + ": is a folder, not a file");
    std::ofstream(boat.folder / "empty.json") << "";
    CHECK(boat.slip("cell", "empty.json") ==
          (boat.folder / "empty.json").string() + ": the file is empty");
}
