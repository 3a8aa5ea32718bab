#pragma once
/// \file
/// Vehicle files: JSON that people can read and write, described by
/// `data/schema/vehicle.schema.json`. One holds a road vehicle or a boat.

#include <filesystem>
#include <string>
#include <string_view>
#include <variant>

#include "voltkeel/simulate/propeller.hpp"
#include "voltkeel/simulate/road_load.hpp"

namespace voltkeel {

/// A road vehicle or a boat.
using Vehicle = std::variant<RoadVehicle, Boat>;

/// Reads a vehicle file. What it leaves out has the default of `RoadVehicle` or `Boat`.
/// \throws Error naming the file and every field that is wrong
[[nodiscard]] Vehicle load_vehicle(const std::filesystem::path& path);

/// Reads a vehicle from JSON text, as `load_vehicle` does.
/// \param source what to call the text in messages
[[nodiscard]] Vehicle parse_vehicle(std::string_view text, const std::string& source);

/// Writes a vehicle file. It appears complete or not at all; one that exists is replaced.
/// \throws Error when a field is out of bounds or the file cannot be written
void save_vehicle(const std::filesystem::path& path, const Vehicle& vehicle);

}  // namespace voltkeel
