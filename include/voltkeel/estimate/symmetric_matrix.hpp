#pragma once
/// \file symmetric_matrix.hpp
/// A small symmetric matrix that holds its lower triangle once.

namespace voltkeel {

/// Symmetric `Size` x `Size` matrix; (i, k) and (k, i) are the same number.
template <class Real, int Size>
struct SymmetricMatrix {
    static constexpr int size = Size;
    Real lower[Size * (Size + 1) / 2]{};  ///< Row by row: (0,0), (1,0), (1,1), (2,0) ...

    [[nodiscard]] static constexpr int index(int i, int k) noexcept {
        return i >= k ? i * (i + 1) / 2 + k : k * (k + 1) / 2 + i;
    }
    [[nodiscard]] constexpr Real& operator()(int i, int k) noexcept { return lower[index(i, k)]; }
    [[nodiscard]] constexpr Real operator()(int i, int k) const noexcept {
        return lower[index(i, k)];
    }
};

}  // namespace voltkeel
