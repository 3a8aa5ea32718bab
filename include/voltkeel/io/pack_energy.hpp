#pragma once
/// \file pack_energy.hpp
/// Usable energy of a `Pack` or a `Cell` from the states of its groups: the controller floor
/// charge/usable_energy.hpp, called with what files and vectors hold.

#include <vector>

#include "voltkeel/charge/consumption.hpp"
#include "voltkeel/charge/usable_energy.hpp"
#include "voltkeel/io/pack.hpp"
#include "voltkeel/io/pack_limits.hpp"

namespace voltkeel {

/// What a pack still gives at a draw, with its band; see charge/usable_energy.hpp.
/// \param groups one for every group, string by string from the negative end; or one for all
/// \param sigmas half width of the band in standard deviations
/// \throws Error naming field, value and bound for what cannot be used, and when cells of one pack
/// have models of different form
[[nodiscard]] UsableEnergyBand<double> usable_energy(
    const Pack& pack, const std::vector<GroupState>& groups, const Draw<double>& draw,
    const UsableEnergySettings<double>& settings = {}, double sigmas = 1.96);

/// The same of one cell.
[[nodiscard]] UsableEnergyBand<double> usable_energy(
    const Cell& cell, const GroupState& state, const Draw<double>& draw,
    const UsableEnergySettings<double>& settings = {}, double sigmas = 1.96);

}  // namespace voltkeel
