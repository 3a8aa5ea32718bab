#pragma once
/// \file
/// Pack files: JSON that people can read and write, described by `data/schema/pack.schema.json`.

#include <filesystem>
#include <string>
#include <vector>

#include "voltkeel/io/cell.hpp"
#include "voltkeel/pack/layout.hpp"

namespace voltkeel {

/// One pack: everything its file holds, and the cell that the file points to.
struct Pack {
    std::string name;
    std::string cell_file;  ///< Path from the folder of the pack file, as the file writes it.
    Cell cell;              ///< Content of `cell_file`.
    PackLayout<double> layout;
    std::vector<std::string> notes;
};

/// Reads a pack file and the cell file it names.
/// \param path the pack file
/// \return the pack, checked
/// \throws Error when the file cannot be read, is no JSON or does not fit the schema (one line for
///   every violation, "FILE: /pointer: ..."); or when its cell cannot be loaded, see `load_cell`
[[nodiscard]] Pack load_pack(const std::filesystem::path& path);

/// Writes a pack file, not the cell file. It appears complete or not at all; one that exists is
/// replaced.
/// \throws Error when a field of the pack is out of bounds, or the file cannot be written
void save_pack(const std::filesystem::path& path, const Pack& pack);

}  // namespace voltkeel
