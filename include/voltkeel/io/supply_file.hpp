#pragma once
/// \file
/// Supply files: JSON that people can read and write, described by
/// `data/schema/supply.schema.json`. One holds mains and a charger, or a DC station.

#include <filesystem>
#include <string>
#include <string_view>

#include "voltkeel/charge/supply.hpp"

namespace voltkeel {

/// A supply with its name.
struct SupplyDescription {
    std::string name;
    Supply<double> supply{};
};

/// Checks a supply, pilot and cable included.
/// \throws Error naming field, value and bound
void check_supply(const Supply<double>& supply);

/// Reads a supply file. What it leaves out has the default of the struct.
/// \throws Error naming the file and every field that is wrong
[[nodiscard]] SupplyDescription load_supply(const std::filesystem::path& path);

/// Reads a supply from JSON text, as `load_supply` does.
/// \param source what to call the text in messages
[[nodiscard]] SupplyDescription parse_supply(std::string_view text, const std::string& source);

/// Writes a supply file. It appears complete or not at all; one that exists is replaced.
/// \throws Error when a field is out of bounds or the file cannot be written
void save_supply(const std::filesystem::path& path, const SupplyDescription& description);

}  // namespace voltkeel
