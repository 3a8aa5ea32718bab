#pragma once
// Least squares whose rows pass by once: sums of the normal equations, and the same problem in as
// many rows as there are parameters, for a solver that wants residuals and a Jacobian.

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <cmath>
#include <utility>

#include "fit/least_squares.hpp"

namespace voltkeel::detail {

/// J^T J, J^T r and r^T r over rows handed in one after the other.
class NormalEquations {
  public:
    explicit NormalEquations(int parameters)
        : square_(Eigen::MatrixXd::Zero(parameters, parameters)),
          gradient_(Eigen::VectorXd::Zero(parameters)),
          rows_(block, parameters),
          residuals_(block) {
        rows_.setZero();
    }

    /// Starts anew.
    void clear() {
        square_.setZero();
        gradient_.setZero();
        cost_ = 0;
        filled_ = 0;
    }
    /// The next row of the Jacobian, zero everywhere, to be filled; good until the next call.
    double* add(double residual) {
        if (filled_ == block) flush();
        residuals_[filled_] = residual;
        double* row = rows_.row(filled_++).data();
        std::fill(row, row + rows_.cols(), 0.0);
        return row;
    }
    /// Takes the rows that still wait into the sums. To be called before they are read.
    void flush() {
        if (filled_ == 0) return;
        const auto rows = rows_.topRows(filled_);
        square_.selfadjointView<Eigen::Lower>().rankUpdate(rows.transpose());
        gradient_.noalias() += rows.transpose() * residuals_.head(filled_);
        cost_ += residuals_.head(filled_).squaredNorm();
        filled_ = 0;
    }

    [[nodiscard]] const Eigen::MatrixXd& square() const { return square_; }  ///< Lower triangle.
    [[nodiscard]] const Eigen::VectorXd& gradient() const { return gradient_; }
    [[nodiscard]] double cost() const { return cost_; }  ///< Sum of squared residuals.

  private:
    static constexpr int block = 64;
    Eigen::MatrixXd square_;
    Eigen::VectorXd gradient_;
    double cost_{0};
    Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor> rows_;
    Eigen::VectorXd residuals_;
    int filled_{0};
};

/// What Eigen's Levenberg-Marquardt asks for, from a function that gives normal equations. With the
/// Cholesky factor L of J^T J the rows [L^T] with the residuals [L^-1 J^T r] have the same normal
/// equations, and a last row without derivatives brings the cost to that of all rows.
template <class Sums>
class PackedLeastSquares : public LeastSquares {
  public:
    /// \param sums sums(x, square, gradient) fills J^T J (lower triangle) and J^T r and returns r^T
    /// r
    PackedLeastSquares(int parameters, Sums sums)
        : parameters_(parameters), sums_(std::move(sums)) {}

    [[nodiscard]] int inputs() const override { return parameters_; }
    [[nodiscard]] int values() const override { return parameters_ + 1; }

    int operator()(const Eigen::VectorXd& x, Eigen::VectorXd& residuals) const override {
        if (!evaluate(x)) return -1;
        residuals = packed_;
        return 0;
    }
    int df(const Eigen::VectorXd& x, Eigen::MatrixXd& jacobian) const override {
        if (!evaluate(x)) return -1;
        jacobian.setZero(values(), inputs());
        jacobian.topRows(parameters_) = factor_.matrixU();
        return 0;
    }

  private:
    bool evaluate(const Eigen::VectorXd& x) const {
        if (x_.size() == x.size() && x_ == x) return true;
        square_.resize(parameters_, parameters_);
        gradient_.resize(parameters_);
        const double cost = sums_(x, square_, gradient_);
        if (!std::isfinite(cost)) return false;
        factor_.compute(square_);
        if (factor_.info() != Eigen::Success) return false;
        packed_.resize(values());
        packed_.head(parameters_) = factor_.matrixL().solve(gradient_);
        const double rest = cost - packed_.head(parameters_).squaredNorm();
        packed_[parameters_] = std::sqrt(std::max(0.0, rest));
        x_ = x;
        return true;
    }

    int parameters_;
    Sums sums_;
    mutable Eigen::VectorXd x_;
    mutable Eigen::MatrixXd square_;
    mutable Eigen::VectorXd gradient_;
    mutable Eigen::VectorXd packed_;
    mutable Eigen::LLT<Eigen::MatrixXd, Eigen::Lower> factor_;
};

}  // namespace voltkeel::detail
