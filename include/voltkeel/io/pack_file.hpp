#pragma once
/// \file
/// Pack files: JSON that people can read and write. Version 2
/// (`data/schema/pack_strings.schema.json`) has modules and strings; version 1
/// (`data/schema/pack.schema.json`) is the short form for equal cells in one string, which stays.

#include <filesystem>

#include "voltkeel/io/pack.hpp"

namespace voltkeel {

/// Reads a pack file and the cell files it names.
/// \param path the pack file
/// \return the pack, checked
/// \throws Error when the file cannot be read, is no JSON or does not fit the schema (one line for
///   every violation, "FILE: /pointer: ..."); when a cell cannot be loaded, see `load_cell`; or
///   when the layout is impossible, see `check(Pack)`
[[nodiscard]] Pack load_pack(const std::filesystem::path& path);

/// Writes a pack file, not the cell files. It appears complete or not at all; one that exists is
/// replaced. A pack that the short form can hold is written in the short form.
/// \throws Error when a field of the pack is out of bounds, or the file cannot be written
void save_pack(const std::filesystem::path& path, const Pack& pack);

}  // namespace voltkeel
