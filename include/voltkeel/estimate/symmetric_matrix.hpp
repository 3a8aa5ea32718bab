#pragma once
/// \file symmetric_matrix.hpp
/// A small symmetric matrix of which the lower triangle counts.

#include <type_traits>
#include <utility>

#include "voltkeel/cell/lanes.hpp"

namespace voltkeel {

namespace detail {
/// Calls `body` with std::integral_constant 0 .. Count - 1.
template <class Body, int... Places>
void for_each_place(Body& body, std::integer_sequence<int, Places...>) noexcept {
    (body(std::integral_constant<int, Places>{}), ...);
}
template <int Count, class Body>
void for_each_place(Body body) noexcept {
    for_each_place(body, std::make_integer_sequence<int, Count>{});
}
}  // namespace detail

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

    /// This matrix times a column. (In float the sums run along the row on every machine, so that a
    /// controller and a desktop get the same bits.)
    [[nodiscard]] detail::Lanes<Real, Size> times(
        const detail::Lanes<Real, Size>& column) const noexcept {
        using Column = detail::Lanes<Real, Size>;
        Column product = Column::all(Real(0));
        if constexpr (width == 2) {
            // In blocks of two by two: the one below the diagonal also stands above it.
            detail::for_each_place<Column::count>([&](auto block) {
                constexpr int at = decltype(block)::value;
                constexpr int i = 2 * at;
                constexpr int next = i + 1 < Size ? i + 1 : i;
                using Packet = typename Column::Type;
                const auto first = load_row<i>();
                const auto second = load_row<next>();
                const Packet by_first = detail::Packet<Real>::all(column.get(i));
                const Packet by_second = detail::Packet<Real>::all(column.get(next));
                Packet own = Packet{first.get(i), next > i ? second.get(i) : Real(0)} * by_first;
                if constexpr (next > i) own += second.packet[at] * by_second;
                if constexpr (at > 0) {
                    Packet by_row = first.packet[0] * column.packet[0];
                    Packet by_next = second.packet[0] * column.packet[0];
                    product.packet[0] += first.packet[0] * by_first;
                    if constexpr (next > i) product.packet[0] += second.packet[0] * by_second;
#pragma GCC unroll 8
                    for (int k = 1; k < at; ++k) {
                        by_row += first.packet[k] * column.packet[k];
                        by_next += second.packet[k] * column.packet[k];
                        product.packet[k] += first.packet[k] * by_first;
                        if constexpr (next > i) product.packet[k] += second.packet[k] * by_second;
                    }
                    own += Packet{by_row[0], by_next[0]} + Packet{by_row[1], by_next[1]};
                }
                product.packet[at] = own;
            });
        } else {
#pragma GCC unroll 8
            for (int i = 0; i < Size; ++i) {
                Real sum = (*this)(i, 0) * column.get(0);
#pragma GCC unroll 8
                for (int k = 1; k < Size; ++k)
                    sum += (*this)(i, k) * column.get(k);
                product.set(i, sum);
            }
        }
        return product;
    }
};

}  // namespace voltkeel
