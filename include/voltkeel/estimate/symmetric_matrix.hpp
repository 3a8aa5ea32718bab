#pragma once
/// \file symmetric_matrix.hpp
/// A small symmetric matrix of which the lower triangle counts.

#include "voltkeel/cell/lanes.hpp"

namespace voltkeel {

/// Symmetric `Size` x `Size` matrix; (i, k) and (k, i) are the same number. Row i holds its entries
/// 0 .. i, and is filled up to whole packets with numbers that nobody reads.
template <class Real, int Size>
struct SymmetricMatrix {
    static constexpr int size = Size;
    static constexpr int width = detail::Packet<Real>::width;
    /// Where row i begins.
    [[nodiscard]] static constexpr int row(int i) noexcept {
        int at = 0;
        for (int k = 0; k < i; ++k)
            at += (k + width) / width * width;
        return at;
    }
    alignas(sizeof(Real) * width) Real lower[row(Size)]{};

    [[nodiscard]] static constexpr int index(int i, int k) noexcept {
        return i >= k ? row(i) + k : row(k) + i;
    }
    [[nodiscard]] constexpr Real& operator()(int i, int k) noexcept { return lower[index(i, k)]; }
    [[nodiscard]] constexpr Real operator()(int i, int k) const noexcept {
        return lower[index(i, k)];
    }
    /// Row i, as far as the diagonal.
    template <int I>
    [[nodiscard]] detail::Lanes<Real, I + 1> load_row() const noexcept {
        return detail::Lanes<Real, I + 1>::load_padded(lower + row(I));
    }
    template <int I>
    void store_row(const detail::Lanes<Real, I + 1>& entries) noexcept {
        entries.store_padded(lower + row(I));
    }
};

}  // namespace voltkeel
