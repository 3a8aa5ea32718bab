#pragma once
/// \file parallel_strings.hpp
/// Filters of several strings in parallel, each with a current sensor or all with one.
///
/// With one sensor the current is divided by the model: each string is the source behind a
/// resistance that its own filter has it for. What that leaves wrong the filters take for an error
/// of the current, and correct by the voltages.

#include "voltkeel/estimate/pack_filter.hpp"
#include "voltkeel/pack/string_split.hpp"

namespace voltkeel {

/// One row of measurements of strings in parallel.
template <class Real>
struct StringsSample {
    Real current_A{0};  ///< Of the pack, positive charges; with `string_current_A` read only where
                        ///< one of them gives nothing.
    /// One for each string, NaN where a sensor gives nothing; null: one sensor for all.
    const Real* string_current_A{nullptr};
    const bool* closed{nullptr};  ///< Contactor of each string; null: all closed.
    Real temperature_degC{25};
    Real dt_s{0};
    const Real* const* voltage_V{nullptr};  ///< For each string the voltages of its groups.
    /// For each string how long before the end of the step each voltage was taken, 0 .. dt_s; null,
    /// for all strings or for one: at the end.
    const Real* const* lag_s{nullptr};
};

/// Filters of up to `Strings` strings of up to `Capacity` groups.
template <class Real, int Branches, bool Transfer, int Capacity, int Strings>
class ParallelStrings {
    static_assert(Strings >= 1, "a pack has at least one string");

  public:
    using Filter = PackFilter<Real, Branches, Transfer, Capacity>;
    using Parameters = typename Filter::Parameters;
    using Settings = typename Filter::Settings;

    /// Sets one cell for all strings. The cell is a group: its capacity and resistances are those
    /// of all cells of the group together. On failure nothing changes. \param strings 1 .. Strings
    /// \param groups of each string, 1 .. Capacity \param joint_ohm of cables, fuse and contactor
    /// of one string, >= 0
    [[nodiscard]] Status configure(const Parameters& cell, int strings, int groups, Real joint_ohm,
                                   const Settings& settings = {}) noexcept {
        if (strings < 1 || strings > Strings) return Status::out_of_range;
        if (!detail::within(joint_ohm, Real(0), Real(1e3))) return Status::out_of_range;
        for (int s = 0; s < strings; ++s) {
            const Status status = filters_[s].configure(cell, groups, settings);
            if (status != Status::ok) return status;  // the first one says it for all
        }
        joint_ohm_ = joint_ohm;
        count_ = strings;
        return Status::ok;
    }

    /// The filter of a string, to be started. \param s 0 .. count() - 1
    [[nodiscard]] Filter& string(int s) noexcept { return filters_[s]; }
    [[nodiscard]] const Filter& string(int s) const noexcept { return filters_[s]; }
    [[nodiscard]] int count() const noexcept { return count_; }
    /// Current that the last step took a string to carry.
    [[nodiscard]] Real string_current_A(int s) const noexcept { return current_A_[s]; }

    /// Takes one sample.
    /// \return ok, degraded statuses never; not_allowed when current is said to flow and no string
    /// is closed, sample_not_finite when it is not a number: all strings are then taken to carry
    /// what they carried before, and step all the same
    [[nodiscard]] Status step(const StringsSample<Real>& sample) noexcept {
        Status status = Status::ok;
        const auto is_closed = [&](int s) { return sample.closed == nullptr || sample.closed[s]; };
        const auto measured = [&](int s) {
            return sample.string_current_A != nullptr && detail::finite(sample.string_current_A[s]);
        };
        // Strings without a sensor share what those with one leave.
        Real left_A = sample.current_A;
        StringSource<Real> sources[Strings];
        bool unknown = false;
        for (int s = 0; s < count_; ++s) {
            sources[s].closed = is_closed(s) && !measured(s);
            if (is_closed(s) && measured(s)) left_A -= sample.string_current_A[s];
            if (!sources[s].closed) continue;
            unknown = true;
            filters_[s].source(sources[s].open_V, sources[s].resistance_ohm);
            sources[s].resistance_ohm += joint_ohm_;
        }
        Real shares_A[Strings];
        Real voltage_V = 0;
        if (unknown || sample.string_current_A == nullptr)
            status = split_current(sources, count_, left_A, shares_A, voltage_V);
        const bool shared = unknown && status == Status::ok;
        for (int s = 0; s < count_; ++s) {
            if (!is_closed(s)) {
                current_A_[s] = Real(0);
            } else if (measured(s)) {
                current_A_[s] = sample.string_current_A[s];
            } else if (shared) {
                current_A_[s] = shares_A[s];
            }
            PackSample<Real> own;
            own.current_A = current_A_[s];
            own.temperature_degC = sample.temperature_degC;
            own.dt_s = sample.dt_s;
            own.voltage_V = sample.voltage_V == nullptr ? nullptr : sample.voltage_V[s];
            own.lag_s = sample.lag_s == nullptr ? nullptr : sample.lag_s[s];
            (void)filters_[s].step(own);
        }
        return status;
    }

  private:
    Filter filters_[Strings]{};
    Real current_A_[Strings]{};
    Real joint_ohm_{0};
    int count_{0};
};

}  // namespace voltkeel
