#pragma once
/// \file bounds.hpp
/// Fields and the bounds they must keep, checked one after the other.

#include "voltkeel/cell/finite.hpp"
#include "voltkeel/status.hpp"

namespace voltkeel::detail {

/// A field, its value and the bounds it must keep, both included.
template <class Real>
struct BoundedField {
    const char* field;
    Real value;
    Real low;
    Real high;
};

/// The first field that is not finite or outside its bounds; status ok when there is none.
/// \param index where the fields stand in a table, or -1
template <class Real, int Count>
[[nodiscard]] inline Finding<Real> first_outside(const BoundedField<Real> (&rows)[Count],
                                                 int index = -1) noexcept {
    for (const BoundedField<Real>& row : rows) {
        if (!finite(row.value)) return {Status::not_finite, row.field, index, row.value, row.low};
        if (row.value < row.low)
            return {Status::out_of_range, row.field, index, row.value, row.low};
        if (row.value > row.high)
            return {Status::out_of_range, row.field, index, row.value, row.high};
    }
    return {};
}

/// A number of a state that is stored, and the bounds of one that can be, both included.
template <class State, class Real>
struct StoredNumber {
    Real State::*field;
    Real low;
    Real high;
};

/// not_finite or out_of_range for the first stored number that cannot be.
template <class State, class Real, int Count>
[[nodiscard]] inline Status check_stored(const StoredNumber<State, Real> (&rows)[Count],
                                         const State& state) noexcept {
    for (const StoredNumber<State, Real>& row : rows) {
        const Real value = state.*row.field;
        if (!finite(value)) return Status::not_finite;
        if (!within(value, row.low, row.high)) return Status::out_of_range;
    }
    return Status::ok;
}

}  // namespace voltkeel::detail
