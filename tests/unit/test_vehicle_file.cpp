// Vehicle files: what they leave out has the default, what is wrong is named.

#include <catch2/catch.hpp>
#include <filesystem>
#include <random>
#include <string>
#include <variant>

#include "voltkeel/error.hpp"
#include "voltkeel/simulate/vehicle_file.hpp"

using voltkeel::Boat;
using voltkeel::Error;
using voltkeel::parse_vehicle;
using voltkeel::RoadVehicle;

namespace {

std::string text_of(const std::string& fields) {
    return R"({"format": "voltkeel.vehicle", "format_version": 1, "name": "x")" + fields + "}";
}

std::string refusal(const std::string& fields) {
    try {
        (void)parse_vehicle(text_of(fields), "x.json");
    } catch (const Error& error) {
        return error.what();
    }
    return "";
}

struct TemporaryFile {
    std::filesystem::path path =
        std::filesystem::temp_directory_path() /
        ("voltkeel_vehicle_" + std::to_string(std::random_device{}()) + ".json");
    ~TemporaryFile() {
        std::error_code ignored;
        std::filesystem::remove(path, ignored);
    }
};

}  // namespace

TEST_CASE("a vehicle file keeps defaults") {
    const auto vehicle =
        std::get<RoadVehicle>(parse_vehicle(text_of(R"(, "road": {"mass_kg": 900})"), "x.json"));
    CHECK(vehicle.mass_kg == 900);
    CHECK(vehicle.name == "x");
    const RoadVehicle usual;
    CHECK(vehicle.drive_efficiency == usual.drive_efficiency);
    CHECK(vehicle.regeneration_power_max_W == usual.regeneration_power_max_W);
    CHECK_FALSE(vehicle.coast_down.has_value());
    const auto boat = std::get<Boat>(parse_vehicle(
        text_of(R"(, "boat": {"reference_speed_m_per_s": 2, "reference_shaft_power_W": 5000})"),
        "x.json"));
    CHECK(boat.reference_speed_m_per_s == 2);
    CHECK(boat.exponent == 3);
}

TEST_CASE("a vehicle that is written and read back is the same") {
    const TemporaryFile file;
    RoadVehicle vehicle;
    vehicle.name = "van";
    double next = 0.0625;  // every field another number, within every bound
    for (double* field : {&vehicle.rolling_resistance, &vehicle.drag_area_m2,
                          &vehicle.drive_efficiency, &vehicle.regeneration_efficiency,
                          &vehicle.regeneration_share, &vehicle.regeneration_start_m_per_s,
                          &vehicle.regeneration_full_m_per_s, &vehicle.regeneration_power_max_W,
                          &vehicle.drive_power_max_W, &vehicle.auxiliary_power_W}) {
        *field = next;
        next += 0.0625;
    }
    vehicle.mass_kg = 1234.5;
    vehicle.rotating_mass_factor = 1.125;
    vehicle.air_density_kg_per_m3 = 1.0625;
    vehicle.coast_down = voltkeel::CoastDown{120, -0.5, 0.4};
    vehicle.drive_efficiency_curve = voltkeel::EfficiencyCurve{{0, 0.5}, {0.75, 0.875}};
    vehicle.regeneration_efficiency_curve = voltkeel::EfficiencyCurve{{0.25}, {0.625}};
    voltkeel::save_vehicle(file.path, vehicle);
    const auto read = std::get<RoadVehicle>(voltkeel::load_vehicle(file.path));
    CHECK(read.name == vehicle.name);
    CHECK(read.mass_kg == vehicle.mass_kg);
    CHECK(read.rotating_mass_factor == vehicle.rotating_mass_factor);
    CHECK(read.rolling_resistance == vehicle.rolling_resistance);
    CHECK(read.drag_area_m2 == vehicle.drag_area_m2);
    CHECK(read.air_density_kg_per_m3 == vehicle.air_density_kg_per_m3);
    REQUIRE(read.coast_down.has_value());
    CHECK(read.coast_down->a_N == 120);
    CHECK(read.coast_down->b_N_s_per_m == -0.5);
    CHECK(read.coast_down->c_N_s2_per_m2 == 0.4);
    CHECK(read.drive_efficiency == vehicle.drive_efficiency);
    CHECK(read.regeneration_efficiency == vehicle.regeneration_efficiency);
    CHECK(read.regeneration_share == vehicle.regeneration_share);
    CHECK(read.regeneration_start_m_per_s == vehicle.regeneration_start_m_per_s);
    CHECK(read.regeneration_full_m_per_s == vehicle.regeneration_full_m_per_s);
    CHECK(read.regeneration_power_max_W == vehicle.regeneration_power_max_W);
    CHECK(read.drive_power_max_W == vehicle.drive_power_max_W);
    CHECK(read.auxiliary_power_W == vehicle.auxiliary_power_W);

    REQUIRE(read.drive_efficiency_curve.has_value());
    CHECK(read.drive_efficiency_curve->power_fraction == std::vector<double>{0, 0.5});
    CHECK(read.drive_efficiency_curve->efficiency == std::vector<double>{0.75, 0.875});
    REQUIRE(read.regeneration_efficiency_curve.has_value());
    CHECK(read.regeneration_efficiency_curve->efficiency == std::vector<double>{0.625});

    const Boat boat{"tender", 2.5, 7e3, 3.4,
                    0.7,      9e3, 55,  voltkeel::EfficiencyCurve{{0.5, 1}, {0.75, 0.875}}};
    voltkeel::save_vehicle(file.path, boat);
    const auto afloat = std::get<Boat>(voltkeel::load_vehicle(file.path));
    CHECK(afloat.name == boat.name);
    CHECK(afloat.reference_speed_m_per_s == boat.reference_speed_m_per_s);
    CHECK(afloat.reference_shaft_power_W == boat.reference_shaft_power_W);
    CHECK(afloat.exponent == boat.exponent);
    CHECK(afloat.drive_efficiency == boat.drive_efficiency);
    CHECK(afloat.shaft_power_max_W == boat.shaft_power_max_W);
    CHECK(afloat.auxiliary_power_W == boat.auxiliary_power_W);
    REQUIRE(afloat.drive_efficiency_curve.has_value());
    CHECK(afloat.drive_efficiency_curve->power_fraction == std::vector<double>{0.5, 1});

    // A vehicle that cannot be used leaves the file as it was.
    vehicle.mass_kg = -1;
    CHECK_THROWS_AS(voltkeel::save_vehicle(file.path, vehicle), Error);
    CHECK(std::get<Boat>(voltkeel::load_vehicle(file.path)).name == "tender");
}

TEST_CASE("what is wrong in a vehicle file is named") {
    CHECK(refusal("") == R"(x.json: needs either "road" or "boat", has neither)");
    CHECK(refusal(R"(, "road": {"mass_kg": 900},
        "boat": {"reference_speed_m_per_s": 2, "reference_shaft_power_W": 5000})") ==
          R"(x.json: needs either "road" or "boat", has both)");
    CHECK_THAT(refusal(R"(, "road": {})"),
               Catch::Contains("/road: ") && Catch::Contains("mass_kg"));
    CHECK_THAT(refusal(R"(, "road": {"mass_kg": -3})"), Catch::Contains("/road/mass_kg: -3"));
    CHECK_THAT(refusal(R"(, "road": {"mass_kg": 900, "drive_eficiency": 0.8})"),
               Catch::Contains("did you mean \"drive_efficiency\"?"));
    CHECK_THAT(refusal(R"(, "road": {"mass_kg": 900, "regeneration_start_m_per_s": 9})"),
               Catch::Contains("x.json: vehicle 'x': regeneration_full_m_per_s: 4"));
    CHECK_THROWS_WITH(voltkeel::load_vehicle("no/such.json"), Catch::Contains("no/such.json"));
}
