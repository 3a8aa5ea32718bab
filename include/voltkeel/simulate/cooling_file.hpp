#pragma once
/// \file
/// Cooling files: JSON that people can read and write, described by
/// `data/schema/cooling.schema.json`. One holds a way to cool a pack: air, or a liquid loop.

#include <filesystem>
#include <string>
#include <string_view>

#include "voltkeel/simulate/cooling.hpp"

namespace voltkeel {

/// Reads a cooling file. What it leaves out has the default of the structs, but the coolant starts
/// at the temperature of the air.
/// \throws Error naming the file and every field that is wrong
[[nodiscard]] CoolingSettings load_cooling(const std::filesystem::path& path);

/// Reads a way to cool from JSON text, as `load_cooling` does.
/// \param source what to call the text in messages
[[nodiscard]] CoolingSettings parse_cooling(std::string_view text, const std::string& source);

/// Writes a cooling file. It appears complete or not at all; one that exists is replaced. Of air
/// and liquid only the one that `kind` says is written.
/// \throws Error when a field is out of bounds or the file cannot be written
void save_cooling(const std::filesystem::path& path, const CoolingSettings& cooling);

}  // namespace voltkeel
