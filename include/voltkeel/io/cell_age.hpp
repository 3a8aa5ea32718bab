#pragma once
/// \file cell_age.hpp
/// How a cell has aged against the cell that was tested, and its small file
/// (data/schema/cell_age.schema.json): what replays, limits and charges of an older cell start
/// from.

#include <filesystem>
#include <string>
#include <string_view>
#include <vector>

#include "voltkeel/io/cell.hpp"

namespace voltkeel {

/// Age of a cell. The defaults are those of the cell as it was tested.
struct CellAge {
    double capacity_scale{1};          ///< Capacity over that of the cell file, 0.1 .. 2.
    double capacity_log_std{0};        ///< Of its logarithm, 0 .. 2; 0: not told.
    double resistance_scale{1};        ///< All resistances over those of the cell file, 0.1 .. 10.
    double resistance_log_std{0};      ///< Of its logarithm, 0 .. 2; 0: not told.
    std::vector<std::string> notes{};  ///< Where the numbers come from.
};

/// Checks an age. \throws Error naming field, value and bound
void check(const CellAge& age);

/// The cell with the capacity that it has now, and where it is told the spread of that. Its
/// resistances are those of the test: the scale goes with the state (`ModelState`, `GroupState`).
/// \throws Error as `check(age)` does
[[nodiscard]] Cell aged_cell(const Cell& cell, const CellAge& age);

/// Reads an age file. \throws Error naming the file and every field that is wrong
[[nodiscard]] CellAge load_cell_age(const std::filesystem::path& path);

/// Reads an age from JSON text. \param source what to call the text in messages
[[nodiscard]] CellAge parse_cell_age(std::string_view text, const std::string& source);

/// Writes an age file. It appears complete or not at all.
/// \throws Error when a number does not fit the schema or the file cannot be written
void save_cell_age(const std::filesystem::path& path, const CellAge& age);

}  // namespace voltkeel
