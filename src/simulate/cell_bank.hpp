#pragma once
/// \file cell_bank.hpp
/// Cells of one kind that stand together, stepped and looked up in one loop each. The form of the
/// model is fixed inside, so that a pack may mix forms at the price of one virtual call a bank.

#include <cstddef>
#include <memory>
#include <vector>

#include "voltkeel/io/cell.hpp"
#include "voltkeel/simulate/simulate.hpp"

namespace voltkeel::detail {

/// States that a bank keeps of its cells.
enum class Slot {
    start,  ///< Of the sub-step; stays until it is accepted.
    half,   ///< In its middle.
    end,    ///< At its end.
};

/// What a lookup gives, per cell. Voltage at the cell's terminals = emf + ohm * current.
struct CellLook {
    std::vector<double> emf_V;
    std::vector<double> ohm;
    std::vector<double> ocv_V;
    std::vector<double> entropy_V_per_K;

    void resize(std::size_t cells) {
        emf_V.resize(cells);
        ohm.resize(cells);
        ocv_V.resize(cells);
        entropy_V_per_K.resize(cells);
    }
};

/// One cell's own numbers.
struct CellOwn {
    double capacity_Ah{0};
    double self_discharge_per_s{0};  ///< With its leak.
};

/// Pointers into arrays of the whole pack start at the pack's first cell; a bank finds its own.
class CellBank {
  public:
    CellBank(std::size_t first, std::size_t count) : first_(first), count_(count) {}
    CellBank(const CellBank&) = delete;
    CellBank& operator=(const CellBank&) = delete;
    virtual ~CellBank() = default;

    /// Half a step from `start` to `half`. \param core_degC of the middle of the step
    virtual void go_half(const double* current_A, const double* core_degC, double half_s) = 0;
    /// The whole step twice, from `start` with the middle's current and from `half` with
    /// 2 * middle - first, so that both take the same charge; `end` lies midway.
    /// \return how far apart both end, largest overvoltage in V
    virtual double go_whole(const double* middle_A, const double* first_A, double whole_s) = 0;
    /// The first of both alone.
    virtual void go_plain(const double* middle_A, double whole_s) = 0;
    /// The whole step with a current in a straight line: `middle` held, and what its change over
    /// the step adds to the branches, to first order. \param turn_A by how much that change is off
    /// at most \return how far the voltage would be off, largest in V
    virtual double go_ramp(const double* middle_A, const double* change_A, const double* turn_A,
                           double whole_s) = 0;
    virtual void look(Slot slot, const double* core_degC, CellLook& out) = 0;
    /// How far the voltage of `half` would move with the current that led there, without the ohmic
    /// resistance: if it were more all the time, and with what it rises over the half step in a
    /// straight line around its mean. After go_half(), with the same arguments.
    virtual void lag(const double* current_A, const double* core_degC, double half_s,
                     double* held_ohm, double* rise_ohm) = 0;
    /// How strongly a current error that lasts for a step moves the voltage at its end, in parts of
    /// the ohmic resistance; of the first cell.
    [[nodiscard]] virtual double sensitivity(double current_A, double core_degC, double dt_s) = 0;
    /// `end` becomes `start`.
    virtual void accept() = 0;

    virtual void soc(Slot slot, double* out) const = 0;
    virtual void load(const PackState& state, const std::vector<double>& resistance_scale) = 0;
    virtual void store(PackState& state) const = 0;

    [[nodiscard]] std::size_t first() const { return first_; }
    [[nodiscard]] std::size_t count() const { return count_; }

  private:
    std::size_t first_;
    std::size_t count_;
};

/// Tables of a kind of cell in the form that its model has, for any number of banks.
class CellKind {
  public:
    virtual ~CellKind() = default;
    [[nodiscard]] virtual std::unique_ptr<CellBank> bank(std::size_t first,
                                                         std::vector<CellOwn> own) const = 0;
};

/// \throws Error for a cell that cannot be used
[[nodiscard]] std::unique_ptr<CellKind> make_kind(const Cell& cell);

}  // namespace voltkeel::detail
