#pragma once
/// \file
/// Files of the parts beside the cells: JSON that people can read and write, described by
/// `data/schema/pack_parts.schema.json`.

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "voltkeel/io/pack_limits.hpp"

namespace voltkeel {

/// Checks parts by themselves; the strings they name are looked for by `pack_limits`.
/// \throws Error naming part, field, value and bound
void check_pack_parts(const std::vector<PackPart>& parts);

/// Reads a file of parts. What it leaves out has the default of the struct.
/// \throws Error naming the file and every field that is wrong
[[nodiscard]] std::vector<PackPart> load_pack_parts(const std::filesystem::path& path);

/// Reads parts from JSON text, as `load_pack_parts` does.
/// \param source what to call the text in messages
[[nodiscard]] std::vector<PackPart> parse_pack_parts(std::string_view text,
                                                     const std::string& source);

/// Writes a file of parts. It appears complete or not at all; one that exists is replaced.
/// \param origin where the numbers come from, for the file's `source`
/// \throws Error when a field is out of bounds or the file cannot be written
void save_pack_parts(const std::filesystem::path& path, const std::vector<PackPart>& parts,
                     const std::string& origin);

}  // namespace voltkeel
