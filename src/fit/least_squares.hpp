#pragma once
// Nonlinear least squares with Eigen's Levenberg-Marquardt, and the inverse of normal equations.
// Compiled once, in least_squares.cpp: these templates are the slowest of the library to compile.

#include <Eigen/Core>
#include <functional>
#include <utility>

namespace voltkeel::detail {

/// What Levenberg-Marquardt asks for.
class LeastSquares {
  public:
    virtual ~LeastSquares() = default;
    [[nodiscard]] virtual int inputs() const = 0;
    [[nodiscard]] virtual int values() const = 0;
    /// Fills the residuals, of which there are `values`; negative where there are none at `x`.
    virtual int operator()(const Eigen::VectorXd& x, Eigen::VectorXd& residuals) const = 0;
    /// Fills the Jacobian; negative where there is none at `x`.
    virtual int df(const Eigen::VectorXd& x, Eigen::MatrixXd& jacobian) const = 0;

  protected:
    LeastSquares() = default;
    LeastSquares(const LeastSquares&) = default;
    LeastSquares(LeastSquares&&) = default;
    LeastSquares& operator=(const LeastSquares&) = default;
    LeastSquares& operator=(LeastSquares&&) = default;
};

/// When to stop: relative change of the cost, of the unknowns, evaluations of the residuals.
struct Stop {
    double ftol{1.5e-8};
    double xtol{1.5e-8};
    int max_evaluations{400};  ///< As Eigen has it; so are the others.
};

struct Minimum {
    bool started{false};  ///< False: there were no residuals at the start.
    int iterations{0};    ///< Accepted steps and the start, as Eigen counts them.
    int jacobians{0};
};

/// Moves `x` to the least squares from where it stands.
/// \param go_on called before every Jacobian with how many there were; false ends the search there,
/// and it may throw
Minimum minimize(const LeastSquares& problem, Eigen::VectorXd& x, const Stop& stop,
                 const std::function<bool(int jacobians)>& go_on = {});

/// Inverse of a symmetric positive matrix, both triangles given.
[[nodiscard]] Eigen::MatrixXd inverse_of_normal(const Eigen::MatrixXd& normal);
/// Inverse of J^T J.
[[nodiscard]] Eigen::MatrixXd covariance_of(const Eigen::MatrixXd& jacobian);
/// Inverse of any square matrix.
[[nodiscard]] Eigen::MatrixXd inverse_of(const Eigen::MatrixXd& matrix);
/// What solves normal equations.
[[nodiscard]] Eigen::VectorXd solve_normal(const Eigen::MatrixXd& normal,
                                           const Eigen::VectorXd& right);

/// Residuals from a function; the Jacobian by central differences.
class DifferencedLeastSquares : public LeastSquares {
  public:
    /// residuals(x, values, moved): with `moved` >= 0, `values` holds those of a point that differs
    /// in that unknown only, so that what it does not touch need not be worked out again.
    using Residuals = std::function<void(const Eigen::VectorXd&, Eigen::VectorXd&, int)>;

    /// \param steps of the differences, one an unknown
    /// \param watch called before every difference; throws to cancel
    DifferencedLeastSquares(Eigen::VectorXd steps, Eigen::Index values, Residuals residuals,
                            std::function<void()> watch)
        : steps_(std::move(steps)),
          values_(values),
          residuals_(std::move(residuals)),
          watch_(std::move(watch)) {}

    [[nodiscard]] int inputs() const override { return static_cast<int>(steps_.size()); }
    [[nodiscard]] int values() const override { return static_cast<int>(values_); }
    int operator()(const Eigen::VectorXd& x, Eigen::VectorXd& residuals) const override;
    int df(const Eigen::VectorXd& x, Eigen::MatrixXd& jacobian) const override;

  private:
    Eigen::VectorXd steps_;
    Eigen::Index values_;
    Residuals residuals_;
    std::function<void()> watch_;
};

}  // namespace voltkeel::detail
