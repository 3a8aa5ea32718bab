#include "voltkeel/fit/coulombic_efficiency.hpp"

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <algorithm>
#include <cmath>

#include "io/number_text.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/units.hpp"

namespace voltkeel {

namespace {

/// The balances of one log as columns.
struct Chain {
    Eigen::VectorXd charged_Ah;
    Eigen::VectorXd active_h;
    Eigen::VectorXd missing_Ah;
    Eigen::MatrixXd covariance;
    std::size_t rows{0};  ///< From the first full cell of each balance to its last.
};

Chain chain_of(std::vector<FullBalance> balances) {
    balances.erase(std::remove_if(balances.begin(), balances.end(),
                                  [](const FullBalance& b) { return !(b.charged_Ah > 0); }),
                   balances.end());
    const auto count = static_cast<Eigen::Index>(balances.size());
    Chain chain{Eigen::VectorXd(count), Eigen::VectorXd(count), Eigen::VectorXd(count),
                Eigen::MatrixXd::Zero(count, count), 0};
    for (Eigen::Index k = 0; k < count; ++k) {
        const FullBalance& b = balances[static_cast<std::size_t>(k)];
        chain.charged_Ah[k] = b.charged_Ah;
        chain.active_h[k] = b.active_s / seconds_per_hour<double>;
        chain.missing_Ah[k] = b.charged_Ah - b.discharged_Ah - b.gained_Ah;
        const double std_Ah = std::max(b.std_Ah, 1e-9);
        chain.covariance(k, k) = std_Ah * std_Ah;
        chain.rows += b.last_row - b.first_row;
        const bool goes_on =
            k > 0 && balances[static_cast<std::size_t>(k - 1)].last_row == b.first_row;
        if (!goes_on) {
            chain.rows += 1;  // the first one of both ends
            continue;
        }
        // What is not full at the end of one cycle is not full at the start of the next: half of
        // the variance of each is that of the state they share, with opposite signs.
        const FullBalance& last = balances[static_cast<std::size_t>(k - 1)];
        const double shared = -0.5 * std_Ah * std::max(last.std_Ah, 1e-9);
        chain.covariance(k, k - 1) = shared;
        chain.covariance(k - 1, k) = shared;
    }
    return chain;
}

}  // namespace

CoulombicEfficiencyFit fit_coulombic_efficiency(const std::vector<Log>& logs,
                                                const CoulombicEfficiencySettings& settings) {
    if (logs.empty()) throw Error("a coulombic efficiency needs at least one log");
    const bool offset_given = settings.offset_std_A.has_value();
    if (offset_given && !(*settings.offset_std_A >= 0 && std::isfinite(*settings.offset_std_A))) {
        throw Error("offset_std_A: " + number_text(*settings.offset_std_A) + " must be 0 or more");
    }
    if (!(settings.largest_std > 0) || !std::isfinite(settings.largest_std))
        throw Error("largest_std: " + number_text(settings.largest_std) + " must be above 0");
    if (!(settings.assumed_std > 0) || !std::isfinite(settings.assumed_std))
        throw Error("assumed_std: " + number_text(settings.assumed_std) + " must be above 0");
    const bool offset_known = offset_given && *settings.offset_std_A == 0;

    CoulombicEfficiencyFit fit;
    fit.efficiency_std = settings.assumed_std;
    const std::string kept =
        "Assumed: coulombic efficiency 1 (std " + number_text(settings.assumed_std) + "). ";
    double loss = 0;
    double offset_A = 0;
    double loss_var = 0;
    double offset_var = 0;
    bool apart = false;
    // The slope that turns rested voltages into charge is counted with the offset: again with it.
    constexpr int rounds = 5;
    for (int round = 0; round < rounds; ++round) {
        double aa = 0, ab = 0, bb = 0, ay = 0, by = 0, yy = 0;
        fit.balances = 0;
        fit.charged_Ah = 0;
        fit.rows.clear();
        for (const Log& log : logs) {
            const Chain chain = chain_of(full_balances(log, settings.balance, offset_A));
            fit.rows.push_back(chain.rows);
            if (chain.charged_Ah.size() == 0) continue;
            const Eigen::LDLT<Eigen::MatrixXd> ldlt(chain.covariance);
            const Eigen::VectorXd charged = ldlt.solve(chain.charged_Ah);
            const Eigen::VectorXd hours = ldlt.solve(chain.active_h);
            aa += charged.dot(chain.charged_Ah);
            ab -= charged.dot(chain.active_h);
            bb += hours.dot(chain.active_h);
            ay += charged.dot(chain.missing_Ah);
            by -= hours.dot(chain.missing_Ah);
            yy += chain.missing_Ah.dot(ldlt.solve(chain.missing_Ah));
            fit.balances += static_cast<std::size_t>(chain.charged_Ah.size());
            fit.charged_Ah += chain.charged_Ah.sum();
        }
        if (fit.balances == 0) {
            fit.note =
                kept +
                "No log comes back to full, at the end of a charge at constant voltage or in "
                "a settled rest: cycles from full to full would tell.";
            return fit;
        }
        double unknowns = 2;
        if (offset_known) {
            ab = 0;
            by = 0;
            bb = 1;
            unknowns = 1;
        } else if (offset_given) {
            bb += 1 / (*settings.offset_std_A * *settings.offset_std_A);
        }
        const double determinant = aa * bb - ab * ab;
        // Cycles of one rate give a determinant of 0 but for rounding.
        apart = determinant > 1e-9 * aa * bb;
        if (!apart) break;
        loss = (bb * ay - ab * by) / determinant;
        offset_A = (aa * by - ab * ay) / determinant;
        const double left = std::max(0.0, yy - loss * ay - offset_A * by);
        const double free = static_cast<double>(fit.balances) - unknowns;
        const double grown = free > 0 ? std::max(1.0, left / free) : 1.0;
        loss_var = grown * bb / determinant;
        offset_var = offset_known ? 0 : grown * aa / determinant;
    }
    const std::string from = std::to_string(fit.balances) +
                             (fit.balances == 1 ? " balance" : " balances") +
                             " from full to full, " + number_text(fit.charged_Ah) + " Ah put in";
    const double std = std::sqrt(loss_var);
    if (!apart || !(std < settings.largest_std)) {
        const bool offset_open = !offset_given;
        fit.note = kept + "The cycles (" + from + ") do not tell" +
                   (apart ? ": they leave it open to " + number_text(std, "%.2g") : "") + ". " +
                   (offset_open ? "An offset of the current does the same to a cycle as a loss of "
                                  "charge: give the offset, or cycles of different duration."
                                : "More cycles, or an offset known better, would.");
        if (apart) {
            fit.current_offset_A = offset_A;
            fit.current_offset_A_std = std::sqrt(offset_var);
        }
        return fit;
    }
    constexpr double least_efficiency = 0.9;  // no lithium cell in order loses more
    if (loss < -2 * std || 1 - loss < least_efficiency) {
        fit.note = kept + "The cycles (" + from + ") say " + number_text(1 - loss, "%.4f") +
                   " (std " + number_text(std, "%.2g") +
                   "), which no cell does: look at the current reading.";
        return fit;
    }
    fit.told = true;
    fit.efficiency = std::min(1.0, 1 - loss);
    fit.efficiency_std = std;
    fit.current_offset_A = offset_A;
    fit.current_offset_A_std = std::sqrt(offset_var);
    fit.note = "Coulombic efficiency " + number_text(fit.efficiency, "%.4f") + " (std " +
               number_text(std, "%.2g") + ") from " + from;
    if (offset_known) {
        fit.note += ", the offset of the current taken as known.";
    } else {
        fit.note += "; told apart from a current offset of " +
                    number_text(1e3 * fit.current_offset_A, "%+.2g") + " mA (std " +
                    number_text(1e3 * fit.current_offset_A_std, "%.2g") + ").";
    }
    return fit;
}

}  // namespace voltkeel
