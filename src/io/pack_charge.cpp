#include "voltkeel/io/pack_charge.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>
#include <string>

#include "io/charge_case.hpp"
#include "io/number_text.hpp"
#include "io/pack_views.hpp"
#include "voltkeel/charge/balancing_plan.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

namespace {

/// How far another group's voltage may be above that of the deciding one.
constexpr double crossing_V = 1e-3;
/// Likewise how much less another group's limits may let in, as a share.
constexpr double crossing_share = 1e-3;

/// Longest step of a pause in which groups are bled.
constexpr double balancing_step_s = 20;

/// The first balancing stage of a plan; the number of its stages when there is none.
int first_balancing(const ChargePlan<double>& plan) {
    int k = 0;
    while (k < stage_count(plan) && stage_at(plan, k).kind != StageKind::balancing)
        ++k;
    return k;
}

/// The plan from one of its stages on.
ChargePlan<double> rest_of(const ChargePlan<double>& plan, int stage) {
    ChargePlan<double> rest = plan;
    if (stage <= 0 || plan.stage_count < 1) return rest;
    rest.stage_count = plan.stage_count - stage;
    for (int k = 0; k < rest.stage_count; ++k)
        rest.stages[k] = plan.stages[k + stage];
    return rest;
}

template <int Branches, bool Transfer>
class PackCharge {
  public:
    PackCharge(const Pack& pack, const std::vector<GroupState>& groups,
               const ChargePlan<double>& plan, const ChargeCase& what)
        : views_(pack, what.parts),
          bleed_(pack.bleed),
          plan_(plan),
          what_(what),
          layout_(equal_layout(pack)) {
        views_.take(groups);
        const auto& view = views_.view();
        for (int s = 0; s < view.string_count; ++s) {
            if (!view.strings[s].closed) {
                throw Error("strings[" + std::to_string(s) +
                            "].contactor.closed: an open string is not charged; leave it out");
            }
            string_ohm_ += 1 / std::max(view.strings[s].resistance_ohm, 1e-12);
        }
        string_ohm_ = 1 / string_ohm_ + view.resistance_ohm;
        strings_ = view.string_count;
        if (what.supply.has_value()) {
            supply_ = *what.supply;
            supply_.series = layout_.series;
            supply_.parallel = layout_.parallel;
        }
        if (what.within_limits) {
            for (int k = 0; k < view.component_count; ++k) {
                const LimitComponent<double>& part = view.components[k];
                const double of_cell_A =
                    component_current_A(part, true, continuous_horizon_s<double>) /
                    (part.string < 0 ? layout_.parallel : cells_per_group());
                if (of_cell_A < component_A_) {
                    component_A_ = of_cell_A;
                    component_ = part.kind;
                }
            }
        }
        int module = 0;
        for (const PackString& string : pack.strings) {
            for (const std::string& name : string.modules) {
                const auto count = static_cast<std::size_t>(module_named(pack, name).layout.series);
                modules_.insert(modules_.end(), count, module++);
            }
        }
        const auto& states = views_.states();
        for (int g = 0; g < view.group_count; ++g) {
            cells_.push_back(view.cells[view.kind[g]]);
            cells_.back().capacity_Ah *= states.capacity_scale[g];
            CellState<double, Branches, Transfer> state;
            state.soc = states.soc[g];
            state.hysteresis = states.hysteresis[g];
            state.resistance_scale = states.resistance_scale[g];
            state = detail::lasting_scale(state, what.settings);
            for (int i = 0; i < state.lags; ++i)
                state.branch_V[i] = states.branch_V[g * state.lags + i];
            const double core_degC = states.temperature_degC[g];
            const double case_degC =
                core_degC - (cells_.back().thermal.has_core() ? states.core_over_case_K[g] : 0.0);
            now_.push_back(detail::begin_hold(cells_.back(), state, {core_degC, case_degC}, 0.0));
            now_A_.push_back(0);
        }
    }

    PackChargeOutlook run() {
        PackChargeOutlook result;
        std::size_t leader = highest();
        const int most_legs = 20 + 4 * static_cast<int>(cells_.size());
        bool for_limits = false;  // the leader leads because its limits let in least
        for (int leg = 0;; ++leg) {
            ChargeForecast<double> forecast;
            const auto points = forecast_of(leader, forecast);
            const int balancing = first_balancing(rest_of(plan_, stage_));
            bool balances = false;  // the stages before it are over
            const auto before = now_;
            const auto before_A = now_A_;
            const std::size_t start_of_curve = result.curve.size();
            stored_J_ = 0;
            std::size_t other = leader;
            std::size_t at = 0;
            bool held = false;      // the leader has been at its voltage
            bool stricter = false;  // the other one lets in less
            for (; at < points.size(); ++at) {
                follow(points, at, leader);
                add_point(points[at], leader, result);
                balances = points[at].stage >= balancing && !there(leader);
                if (balances) break;
                const bool holds = points[at].phase == ChargePhase::constant_voltage ||
                                   (points[at].phase == ChargePhase::done && held);
                if (holds && leg < most_legs) {
                    other = highest_at(points[at].current_A, leader);
                    if (other != leader) break;
                }
                held = held || holds;
                if (!what_.within_limits || leg >= most_legs || at + 1 == points.size()) continue;
                other = strictest_at(points[at], leader);
                stricter = other != leader;
                if (!stricter) other = first_past_voltage(points[at], leader);
                if (other != leader) break;
            }
            if (other != leader && at == 0) {
                // Nothing has flowed yet; the point is the other's.
                result.curve.resize(start_of_curve);
                now_ = before;
                now_A_ = before_A;
                leader = other;
                for_limits = stricter;
                continue;
            }
            if (other != leader && !held && !stricter && !for_limits) {
                // It should have decided all along.
                now_ = before;
                now_A_ = before_A;
                result.curve.resize(start_of_curve);
                leader = other;
                continue;
            }
            const bool over = other == leader && !balances;
            const std::size_t last = over ? points.size() - 1 : at;
            account(points, last, result);
            time_s_ += points[last].time_s;
            stage_ += points[last].stage;
            if (over) {
                result.status = status_;
                finish(forecast, leader, result);
                return result;
            }
            if (balances) {
                stage_ += balancing - points[last].stage;
                balance(stage_at(plan_, stage_), leader, result);
                if (++stage_ >= stage_count(plan_)) {
                    end_of_plan(forecast, leader, result);
                    return result;
                }
                leader = highest();
                for_limits = false;
                continue;
            }
            ++result.handovers;
            leader = other;
            for_limits = stricter;
        }
    }

  private:
    using Point = ChargePoint<double, Branches, Transfer>;

    std::vector<Point> forecast_of(std::size_t leader, ChargeForecast<double>& forecast) {
        const ModelState at{
            0,
            0,
            {},
            0,
            1,
            now_[leader].temperature.core_degC,
            now_[leader].temperature.core_degC - now_[leader].temperature.case_degC};
        ChargeConditions<double> conditions =
            detail::charge_conditions(at, what_.ambient_degC, what_.supply_current_A,
                                      what_.supply.has_value() ? &supply_ : nullptr);
        conditions.link_ohm = link_ohm(leader);
        if (what_.within_limits) {
            conditions.limits = &limits_of(leader);
            conditions.component_current_A = component_A_;
            conditions.component = component_;
        }
        std::vector<Point> points;
        const auto record = [&](const Point& point) { points.push_back(point); };
        const ChargePlan<double> plan = rest_of(plan_, stage_);
        status_ = what_.target_soc.has_value()
                      ? time_to_soc(cells_[leader], plan, now_[leader].state, conditions,
                                    *what_.target_soc, forecast, what_.settings, record)
                      : time_to_full(cells_[leader], plan, now_[leader].state, conditions, forecast,
                                     what_.settings, record);
        detail::check_started(status_, what_.ambient_degC, what_.supply_current_A);
        return points;
    }

    /// Takes every group to a point of the leader's charge.
    void follow(const std::vector<Point>& points, std::size_t at, std::size_t leader) {
        const Point& point = points[at];
        const double dt_s = at > 0 ? point.time_s - points[at - 1].time_s : 0.0;
        if (dt_s > 0) {
            const double mean_A =
                (point.charge_Ah - points[at - 1].charge_Ah) * seconds_per_hour<double> / dt_s;
            for (std::size_t g = 0; g < cells_.size(); ++g) {
                if (g == leader) continue;
                now_[g].point.voltage_V += now_[g].point.by_current * (mean_A - now_A_[g]);
                detail::hold(cells_[g], mean_A, dt_s, what_.ambient_degC, now_[g]);
                now_A_[g] = mean_A;
            }
            double stored_W = 0;
            for (std::size_t g = 0; g < cells_.size(); ++g)
                stored_W += ocv_V(g, points[at], leader) * mean_A;
            stored_J_ += stored_W * cells_per_group() * dt_s;
        }
        now_[leader] =
            detail::begin_hold(cells_[leader], point.state,
                               {point.temperature_degC, point.case_degC}, point.current_A);
        now_A_[leader] = point.current_A;
    }
    /// Middle of the step, as far as the point behind it tells.
    double ocv_V(std::size_t g, const Point& point, std::size_t leader) const {
        if (g != leader) return now_[g].point.ocv_V;
        return voltage_at(cells_[g], point.state, 0.0, point.temperature_degC).ocv_V;
    }
    double cells_per_group() const { return static_cast<double>(layout_.parallel) / strings_; }

    double link_ohm(std::size_t g) const { return views_.view().cell_link_ohm[g]; }
    /// Of a group, the links of its cells included.
    double voltage_V(std::size_t g, double current_A) const {
        return now_[g].point.voltage_V + now_[g].point.by_current * (current_A - now_A_[g]) +
               link_ohm(g) * current_A;
    }
    std::size_t highest() const {
        double most_A = 0;
        for (int k = 0; k < plan_.zone_count; ++k)
            most_A = std::max(most_A, plan_.zones[k].current_A);
        if (what_.supply_current_A > 0) most_A = std::min(most_A, what_.supply_current_A);
        std::size_t found = 0;
        for (std::size_t g = 1; g < cells_.size(); ++g)
            if (voltage_V(g, most_A) > voltage_V(found, most_A)) found = g;
        return found;
    }
    std::size_t highest_at(double current_A, std::size_t leader) const {
        std::size_t found = leader;
        double most_V = voltage_V(leader, current_A) + crossing_V;
        for (std::size_t g = 0; g < cells_.size(); ++g) {
            if (voltage_V(g, current_A) > most_V) {
                found = g;
                most_V = voltage_V(g, current_A);
            }
        }
        return found;
    }

    const CellLimits<double>& limits_of(std::size_t g) const {
        const auto& view = views_.view();
        return view.limits[view.kind[g]];
    }
    /// The target is an SOC, and the group has reached it.
    bool there(std::size_t g) const {
        return what_.target_soc.has_value() && now_[g].state.soc >= *what_.target_soc;
    }

    /// What the resistors of the groups carry, and how long.
    struct Bleeding {
        std::vector<double> current_A;  ///< Of a cell, mean over `time_s`.
        std::vector<double> time_s;
    };
    Bleeding bleeding() const {
        Bleeding result{std::vector<double>(cells_.size()), std::vector<double>(cells_.size())};
        if (!bleed_.has_value()) return result;
        BalancingPlanSettings<double> settings;
        settings.bleed_ohm = bleed_->resistance_ohm / bleed_->duty;
        const auto& view = views_.view();
        for (int s = 0; s < view.string_count; ++s) {
            const auto first = static_cast<std::size_t>(view.strings[s].first_group);
            std::vector<BalancingGroup<double>> groups;
            for (std::size_t g = first; g < first + static_cast<std::size_t>(layout_.series); ++g) {
                const auto rested =
                    voltage_at(cells_[g], now_[g].state, 0.0, now_[g].temperature.core_degC);
                groups.push_back({now_[g].state.soc, 0, cells_[g].capacity_Ah * cells_per_group(),
                                  rested.voltage_V, rested.ocv_by_soc, modules_[g], true});
            }
            std::vector<GroupBleed<double>> bleeds(groups.size());
            BalancingPlan<double> plan;
            const Status status = plan_balancing(groups.data(), static_cast<int>(groups.size()),
                                                 settings, bleeds.data(), plan);
            if (status != Status::ok) {
                throw Error(std::string("bleed: the groups cannot be balanced: ") +
                            message(status));
            }
            for (std::size_t k = 0; k < bleeds.size(); ++k) {
                if (!(bleeds[k].time_s > 0)) continue;
                result.time_s[first + k] = bleeds[k].time_s;
                result.current_A[first + k] = bleeds[k].charge_Ah * seconds_per_hour<double> /
                                              bleeds[k].time_s / cells_per_group();
            }
        }
        return result;
    }

    /// A pause in which the groups are bled.
    void balance(const ChargeStage<double>& stage, std::size_t leader, PackChargeOutlook& result) {
        const Bleeding bleed = bleeding();
        const auto close = [&] {
            if (cells_.size() == 1) return true;
            double low_V = voltage_V(0, 0);
            double high_V = low_V;
            for (std::size_t g = 1; g < cells_.size(); ++g) {
                low_V = std::min(low_V, voltage_V(g, 0));
                high_V = std::max(high_V, voltage_V(g, 0));
            }
            return stage.end_spread_V > 0 && high_V - low_V <= stage.end_spread_V;
        };
        Point rest;
        rest.phase = ChargePhase::balancing;
        double passed_s = 0;
        while (passed_s < stage.longest_s && !close()) {
            const double dt_s = std::min(balancing_step_s, stage.longest_s - passed_s);
            for (std::size_t g = 0; g < cells_.size(); ++g) {
                const double bled_s = std::min(std::max(bleed.time_s[g] - passed_s, 0.0), dt_s);
                const double mean_A = -bleed.current_A[g] * bled_s / dt_s;
                now_[g].point.voltage_V += now_[g].point.by_current * (mean_A - now_A_[g]);
                detail::hold(cells_[g], mean_A, dt_s, what_.ambient_degC, now_[g]);
                now_A_[g] = mean_A;
            }
            passed_s += dt_s;
            time_s_ += dt_s;
            add_point(rest, leader, result);
        }
        result.forecast.rest_s += passed_s;
    }

    /// The last stage was one of balancing.
    void end_of_plan(ChargeForecast<double> last, std::size_t leader, PackChargeOutlook& result) {
        const bool wanted = !what_.target_soc.has_value();
        result.status = wanted ? Status::ok : Status::not_reached;
        last.end_soc = now_[leader].state.soc;
        last.end_phase = wanted ? ChargePhase::done : ChargePhase::constant_voltage;
        last.reached = wanted;
        finish(last, leader, result);
    }

    /// What a group's window and table let in now, of a cell.
    double let_in_A(std::size_t g) const {
        const CellLimits<double>& limits = limits_of(g);
        const double degC = now_[g].temperature.core_degC;
        if (degC < limits.window.charge_temperature_min_degC ||
            degC > limits.window.charge_temperature_max_degC ||
            detail::at_end_of_window(limits.window, now_[g].state.soc)) {
            return 0;
        }
        const CurrentTable<double>* const table = table_for(limits, continuous_horizon_s<double>);
        return table == nullptr
                   ? std::numeric_limits<double>::infinity()
                   : detail::table_value(*table, table->charge_A, now_[g].state.soc, degC);
    }
    /// The group that lets in less than flows, if there is one beside the leader.
    std::size_t strictest_at(const Point& point, std::size_t leader) const {
        std::size_t found = leader;
        double least_A = point.current_A * (1 - crossing_share);
        for (std::size_t g = 0; g < cells_.size(); ++g) {
            if (g == leader || !(let_in_A(g) < least_A)) continue;
            found = g;
            least_A = let_in_A(g);
        }
        return found;
    }
    std::size_t first_past_voltage(const Point& point, std::size_t leader) const {
        const std::size_t found = highest_at(point.current_A, leader);
        return point.current_A > 0 &&
                       voltage_V(found, point.current_A) > point.target_V + crossing_V
                   ? found
                   : leader;
    }

    void add_point(const Point& point, std::size_t leader, PackChargeOutlook& result) {
        PackChargePoint p;
        p.time_s = time_s_ + point.time_s;
        p.current_A = point.current_A * layout_.parallel;
        p.phase = point.phase;
        p.group = static_cast<int>(leader);
        p.held_back_by = point.held_back_by;
        p.group_voltage_min_V = p.temperature_min_degC = p.soc_min =
            std::numeric_limits<double>::infinity();
        p.group_voltage_max_V = p.temperature_max_degC = p.soc_max =
            -std::numeric_limits<double>::infinity();
        for (std::size_t g = 0; g < cells_.size(); ++g) {
            const double volt = voltage_V(g, point.current_A);
            p.voltage_V += volt / strings_;
            p.group_voltage_min_V = std::min(p.group_voltage_min_V, volt);
            p.group_voltage_max_V = std::max(p.group_voltage_max_V, volt);
            p.temperature_min_degC =
                std::min(p.temperature_min_degC, now_[g].temperature.core_degC);
            p.temperature_max_degC =
                std::max(p.temperature_max_degC, now_[g].temperature.core_degC);
            p.soc_min = std::min(p.soc_min, now_[g].state.soc);
            p.soc_max = std::max(p.soc_max, now_[g].state.soc);
        }
        p.voltage_V += p.current_A * string_ohm_;
        result.curve.push_back(p);
    }

    /// Books of a leg, up to one of its points.
    void account(const std::vector<Point>& points, std::size_t last, PackChargeOutlook& result) {
        ChargeForecast<double>& sum = result.forecast;
        const std::size_t first = result.curve.size() - 1 - last;
        for (std::size_t k = 1; k <= last; ++k) {
            const double dt_s = points[k].time_s - points[k - 1].time_s;
            const ChargePhase phase = points[k - 1].phase;
            (phase == ChargePhase::constant_voltage   ? sum.constant_voltage_s
             : phase == ChargePhase::constant_power   ? sum.constant_power_s
             : phase == ChargePhase::constant_current ? sum.constant_current_s
                                                      : sum.rest_s) += dt_s;
            if (points[k].held_back_by != LimitReason::none) {
                if (!(sum.limits_s > 0)) sum.limits_reason = points[k].held_back_by;
                sum.limits_s += dt_s;
                sum.limits_until_s = time_s_ + points[k].time_s;
            }
            const double charge_Ah =
                (points[k].charge_Ah - points[k - 1].charge_Ah) * layout_.parallel;
            const double mean_V =
                0.5 * (result.curve[first + k - 1].voltage_V + result.curve[first + k].voltage_V);
            sum.charge_Ah += charge_Ah;
            sum.energy_Wh += charge_Ah * mean_V;
            if (what_.supply.has_value() && dt_s > 0) {
                const double power_W = charge_Ah * mean_V * seconds_per_hour<double> / dt_s;
                sum.socket_energy_Wh +=
                    socket_power_W(supply_.supply, power_W) * dt_s / seconds_per_hour<double>;
            }
        }
        sum.stored_Wh += stored_J_ / seconds_per_hour<double>;
    }

    void finish(const ChargeForecast<double>& last, std::size_t leader, PackChargeOutlook& result) {
        ChargeForecast<double>& sum = result.forecast;
        sum.time_s = time_s_;
        sum.end_soc = last.end_soc;
        sum.end_current_A = last.end_current_A * layout_.parallel;
        sum.end_phase = last.end_phase;
        sum.end_reason = last.end_reason;
        sum.reached = last.reached;
        sum.end_temperature_degC = result.curve.back().temperature_max_degC;
        sum.highest_temperature_degC = sum.end_temperature_degC;
        for (const PackChargePoint& p : result.curve)
            sum.highest_temperature_degC =
                std::max(sum.highest_temperature_degC, p.temperature_max_degC);
        result.group = static_cast<int>(leader);
        std::size_t weakest = 0;
        const auto charge = [&](std::size_t g) {
            return now_[g].state.soc * cells_[g].capacity_Ah;
        };
        for (std::size_t g = 1; g < cells_.size(); ++g)
            if (charge(g) < charge(weakest)) weakest = g;
        result.weakest_group = static_cast<int>(weakest);
        result.weakest_soc = now_[weakest].state.soc;
        result.earliest_s = result.latest_s = sum.time_s;
    }

    detail::PackAsViews<Branches, Transfer> views_;
    std::optional<BleedResistors> bleed_;
    std::vector<int> modules_;  ///< Which one a group belongs to.
    ChargePlan<double> plan_;
    ChargeCase what_;
    PackLayout<double> layout_;
    PackSupply supply_;
    double component_A_{std::numeric_limits<double>::infinity()};  ///< Of a cell.
    LimitReason component_{LimitReason::drive};
    int strings_{1};
    double string_ohm_{0};
    std::vector<CellParameters<double, Branches, Transfer>> cells_;
    std::vector<detail::HeldCell<double, Branches, Transfer>> now_;
    std::vector<double> now_A_;  ///< Current that `now_[g].point` is for.
    double stored_J_{0};         ///< Charge times open-circuit voltage, of this leg.
    Status status_{Status::ok};
    double time_s_{0};
    int stage_{0};
};

}  // namespace

PackChargeOutlook pack_charge(const Pack& pack, const std::vector<GroupState>& groups,
                              const ChargePlan<double>& plan, const ChargeCase& what) {
    PackSupply counted;
    if (what.supply.has_value()) counted = {what.supply->supply, 1, 1};
    detail::check_charge(plan, what.target_soc.has_value() ? &*what.target_soc : nullptr,
                         what.supply.has_value() ? &counted : nullptr);
    return detail::with_form(pack, [&](auto form) {
        using Form = decltype(form);
        return PackCharge<Form::branches, Form::transfer>(pack, groups, plan, what).run();
    });
}

PackChargeOutlook pack_charge_band(const Pack& pack, const std::vector<GroupState>& groups,
                                   const ChargePlan<double>& plan, const ChargeCase& what,
                                   double sigmas) {
    if (!(sigmas >= 0 && sigmas <= 10)) {
        throw Error("sigmas: " + number_text(sigmas) + " is outside 0 .. 10");
    }
    PackChargeOutlook result = pack_charge(pack, groups, plan, what);
    if (result.status != Status::ok) return result;
    double earlier_s2 = 0;
    double later_s2 = 0;
    ChargeCase reaching = what;  // the band reaches below
    reaching.settings.least_resistance_scale = 0;
    const auto look = [&](double soc_side, double resistance_side) {
        std::vector<GroupState> off = groups;
        double moved = 0;
        for (GroupState& group : off) {
            const double soc = group.state.soc + soc_side * group.state.soc_std;
            const double within = std::min(std::max(soc, std::min(group.state.soc, 0.0)),
                                           std::max(group.state.soc, 1.0));
            const double factor = std::exp(resistance_side * group.resistance_log_std);
            moved = std::max({moved, std::abs(within - group.state.soc), std::abs(factor - 1)});
            group.state.soc = within;
            group.state.resistance_scale = factor * std::max(group.state.resistance_scale,
                                                             what.settings.least_resistance_scale);
        }
        if (!(moved > 0)) return;
        const PackChargeOutlook run = pack_charge(pack, off, plan, reaching);
        const double change_s = run.status == Status::ok
                                    ? run.forecast.time_s - result.forecast.time_s
                                    : std::numeric_limits<double>::infinity();
        (change_s < 0 ? earlier_s2 : later_s2) += change_s * change_s;
    };
    for (const double side : {sigmas, -sigmas}) {
        look(side, 0);
        look(0, side);
    }
    result.earliest_s = std::max(0.0, result.forecast.time_s - std::sqrt(earlier_s2));
    result.latest_s = result.forecast.time_s + std::sqrt(later_s2);
    return result;
}

PackDeparture least_pack_charge_current(const Pack& pack, const std::vector<GroupState>& groups,
                                        const ChargePlan<double>& plan, const ChargeCase& what,
                                        double ready_s, double sigmas, double tolerance) {
    if (!(ready_s >= 1 && ready_s <= 1e7)) {
        throw Error("ready_s: " + number_text(ready_s) + " is outside 1 .. 1e7");
    }
    if (!(tolerance >= 1e-5 && tolerance <= 0.1)) {
        throw Error("tolerance: " + number_text(tolerance) + " is outside 1e-05 .. 0.1");
    }
    ChargeCase at = what;
    at.settings.step_s = std::max(at.settings.step_s, std::min(30.0, 1e-3 * ready_s));
    PackDeparture best;
    const auto run = [&](double current_A) {
        at.supply_current_A = current_A;
        return pack_charge_band(pack, groups, plan, at, sigmas);
    };
    double high = 0;
    for (int k = 0; k < plan.zone_count; ++k)
        high = std::max(high, plan.zones[k].current_A);
    if (what.supply_current_A > 0) high = std::min(high, what.supply_current_A);
    best.current_A = high;
    best.charge = run(high);
    best.status = best.charge.status;
    if (best.status != Status::ok) return best;
    if (best.charge.latest_s > ready_s) {
        best.status = Status::not_reached;
        return best;
    }
    const double missing_As =
        best.charge.forecast.charge_Ah * seconds_per_hour<double> / equal_layout(pack).parallel;
    double low = std::min(high, missing_As / ready_s);
    // Every current that is kept was in time; halving over the reciprocal, in which the time is
    // nearly straight.
    at.settings.longest_s = std::min(at.settings.longest_s, 2 * ready_s);
    for (int turn = 0; turn < 16 && ready_s - best.charge.latest_s > tolerance * ready_s &&
                       high - low > 1e-4 * high;
         ++turn) {
        double next = high * best.charge.latest_s / (ready_s * (1 - 0.5 * tolerance));
        if (turn > 0 && !(next > low)) next = 2 / (1 / low + 1 / high);
        if (!(next > low && next < high)) next = 0.5 * (low + high);
        const PackChargeOutlook trial = run(next);
        if (trial.status == Status::ok && trial.latest_s <= ready_s) {
            high = next;
            best.current_A = next;
            best.charge = trial;
        } else {
            low = next;
        }
    }
    return best;
}

}  // namespace voltkeel
