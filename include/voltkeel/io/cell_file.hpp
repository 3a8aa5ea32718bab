#pragma once
/// \file
/// Cell files: JSON that people can read and write, described by `data/schema/cell.schema.json`.

#include <filesystem>
#include <string>

#include "voltkeel/io/cell.hpp"

namespace voltkeel {

/// Reads a cell file. A standard deviation that the file leaves out reads as 0, in tables too.
/// \param path the file
/// \return the cell, checked by schema and by `check(cell)`
/// \throws Error when the file cannot be read or is no JSON ("FILE:LINE:COLUMN: ..."), does not fit
///   the schema (one line for every violation, "FILE: /pointer: ..."), or `check(cell)` refuses it
[[nodiscard]] Cell load_cell(const std::filesystem::path& path);

/// Reads a cell from JSON text, as `load_cell` does.
/// \param json the text of the whole file
/// \param source what to call the text in messages
[[nodiscard]] Cell parse_cell(const std::string& json, const std::string& source);

/// The text of a cell file: two spaces of indent, each row of numbers on one line, fields always in
/// the same order. Numbers read back to the same bits.
/// \throws Error when the cell is one that `parse_cell` would refuse
[[nodiscard]] std::string to_json(const Cell& cell);

/// Writes a cell file. It appears complete or not at all; one that exists is replaced.
/// \throws Error when the cell is one that `load_cell` would refuse, or the file cannot be written
void save_cell(const std::filesystem::path& path, const Cell& cell);

}  // namespace voltkeel
