#pragma once
// Private to the library: what to say first when logs cannot be fitted.

#include <optional>
#include <string>
#include <vector>

#include "voltkeel/error.hpp"
#include "voltkeel/io/csv.hpp"

namespace voltkeel::detail {

/// What of units and sign looks wrong in logs, naming the file; empty when nothing does.
/// \param slow null, or a slow test: its capacity tells whether the currents of the others fit it
/// \param capacity_Ah of the cell, where it is known without a slow test
[[nodiscard]] std::string unit_doubts(const Log* slow,
                                      const std::vector<const std::vector<Log>*>& others,
                                      std::optional<double> capacity_Ah);

/// Runs a fit. Where it fails and units or sign look wrong, the error says so first: a wrong unit
/// fails far from where it came in, under a name that tells nobody of it.
template <class Fit>
auto with_unit_doubts(const Log* slow, const std::vector<const std::vector<Log>*>& others,
                      std::optional<double> capacity_Ah, const Fit& fit) {
    try {
        return fit();
    } catch (const Error& error) {
        const std::string what = error.what();
        const std::string doubts =
            what == "cancelled" ? std::string{} : unit_doubts(slow, others, capacity_Ah);
        if (doubts.empty()) throw;
        throw Error(doubts + " (it failed with: " + what + ")");
    }
}

}  // namespace voltkeel::detail
