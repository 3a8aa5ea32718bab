#include "fit/least_squares.hpp"

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <unsupported/Eigen/NonLinearOptimization>

namespace voltkeel::detail {

namespace {

/// The names that Eigen looks for.
struct Functor {
    using Scalar = double;
    enum { InputsAtCompileTime = Eigen::Dynamic, ValuesAtCompileTime = Eigen::Dynamic };
    using InputType = Eigen::VectorXd;
    using ValueType = Eigen::VectorXd;
    using JacobianType = Eigen::MatrixXd;

    const LeastSquares& problem;

    [[nodiscard]] int inputs() const { return problem.inputs(); }
    [[nodiscard]] int values() const { return problem.values(); }
    int operator()(const Eigen::VectorXd& x, Eigen::VectorXd& residuals) const {
        return problem(x, residuals);
    }
    int df(const Eigen::VectorXd& x, Eigen::MatrixXd& jacobian) const {
        return problem.df(x, jacobian);
    }
};

}  // namespace

Minimum minimize(const LeastSquares& problem, Eigen::VectorXd& x, const Stop& stop,
                 const std::function<bool(int)>& go_on) {
    Functor functor{problem};
    Eigen::LevenbergMarquardt<Functor> solver(functor);
    solver.parameters.ftol = stop.ftol;
    solver.parameters.xtol = stop.xtol;
    solver.parameters.maxfev = stop.max_evaluations;
    auto status = solver.minimizeInit(x);
    Minimum minimum;
    minimum.started = status != Eigen::LevenbergMarquardtSpace::ImproperInputParameters &&
                      status != Eigen::LevenbergMarquardtSpace::UserAsked;
    if (!minimum.started) return minimum;
    do {
        if (go_on && !go_on(minimum.jacobians)) break;
        status = solver.minimizeOneStep(x);
        ++minimum.jacobians;
    } while (status == Eigen::LevenbergMarquardtSpace::Running);
    minimum.iterations = static_cast<int>(solver.iter);
    return minimum;
}

Eigen::MatrixXd inverse_of_normal(const Eigen::MatrixXd& normal) {
    return normal.ldlt().solve(Eigen::MatrixXd::Identity(normal.rows(), normal.cols()));
}

Eigen::MatrixXd covariance_of(const Eigen::MatrixXd& jacobian) {
    return inverse_of_normal(jacobian.transpose() * jacobian);
}

Eigen::MatrixXd inverse_of(const Eigen::MatrixXd& matrix) {
    return matrix.inverse();
}

Eigen::VectorXd solve_normal(const Eigen::MatrixXd& normal, const Eigen::VectorXd& right) {
    return normal.ldlt().solve(right);
}

int DifferencedLeastSquares::operator()(const Eigen::VectorXd& x,
                                        Eigen::VectorXd& residuals) const {
    residuals_(x, residuals, -1);
    return residuals.allFinite() ? 0 : -1;
}

int DifferencedLeastSquares::df(const Eigen::VectorXd& x, Eigen::MatrixXd& jacobian) const {
    Eigen::VectorXd here(values_);
    residuals_(x, here, -1);
    Eigen::VectorXd up;
    Eigen::VectorXd down;
    for (int k = 0; k < inputs(); ++k) {
        if (watch_) watch_();
        Eigen::VectorXd moved = x;
        up = here;
        down = here;
        moved[k] = x[k] + steps_[k];
        residuals_(moved, up, k);
        moved[k] = x[k] - steps_[k];
        residuals_(moved, down, k);
        jacobian.col(k) = (up - down) / (2 * steps_[k]);
    }
    return jacobian.allFinite() ? 0 : -1;
}

}  // namespace voltkeel::detail
