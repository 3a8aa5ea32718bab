#include "simulate/circuit.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace voltkeel::detail {

Wiring make_wiring(const Pack& pack, bool each_cell) {
    Wiring wiring;
    wiring.busbar_ohm = pack.busbar_ohm;
    for (std::size_t s = 0; s < pack.strings.size(); ++s) {
        const PackString& from = pack.strings[s];
        Wiring::String string;
        string.first_group = wiring.groups.size();
        string.series_ohm =
            from.busbar_ohm + from.contactor.resistance_ohm + from.fuse.resistance_ohm;
        int within = 0;
        for (const std::string& name : from.modules) {
            const PackModule& kind = module_named(pack, name);
            string.series_ohm += kind.interconnect_ohm * (kind.layout.series - 1);
            for (int g = 0; g < kind.layout.series; ++g) {
                Wiring::Group group;
                group.first_unit = wiring.unit_count;
                group.unit_count =
                    each_cell ? static_cast<std::size_t>(kind.layout.parallel) : std::size_t{1};
                group.copies = each_cell ? 1.0 : static_cast<double>(kind.layout.parallel);
                group.link_ohm = kind.cell_link_ohm;
                group.string = static_cast<int>(s);
                group.within = within++;
                group.voltage_min_V = kind.cell.window.voltage_min_V;
                group.voltage_max_V = kind.cell.window.voltage_max_V;
                wiring.unit_count += group.unit_count;
                wiring.groups.push_back(group);
            }
        }
        string.group_count = wiring.groups.size() - string.first_group;
        wiring.strings.push_back(string);
    }
    return wiring;
}

Demand::Demand(const LoadStep& step)
    : kind(step.kind),
      voltage_max_V(step.voltage_max_V),
      voltage_min_V(step.voltage_min_V),
      group_voltage_max_V(step.group_voltage_max_V),
      group_voltage_min_V(step.group_voltage_min_V),
      end_current_A(step.end_current_A) {
    switch (kind) {
        case LoadKind::current:
            amount = step.current_A;
            break;
        case LoadKind::power:
            amount = step.power_W;
            break;
        case LoadKind::resistance:
            amount = step.resistance_ohm;
            break;
        case LoadKind::voltage:
            amount = step.voltage_V;
            break;
    }
}

void Instant::resize(const Wiring& wiring) {
    look.resize(wiring.unit_count);
    siemens.resize(wiring.unit_count);
    unit_A.assign(wiring.unit_count, 0);
    for (auto* column : {&group_emf_V, &group_ohm, &group_V})
        column->assign(wiring.groups.size(), 0);
    for (auto* column : {&string_emf_V, &string_ohm, &string_A})
        column->assign(wiring.strings.size(), 0);
}

void gather(const Wiring& wiring, const std::vector<double>& bleed_S,
            const std::vector<bool>& closed, Instant& at) {
    double siemens = 0;
    double ampere = 0;
    for (std::size_t s = 0; s < wiring.strings.size(); ++s) {
        const Wiring::String& string = wiring.strings[s];
        double emf_V = 0;
        double ohm = string.series_ohm;
        for (std::size_t g = string.first_group; g < string.first_group + string.group_count; ++g) {
            const Wiring::Group& group = wiring.groups[g];
            const std::size_t first = group.first_unit;
            if (group.unit_count == 1) {
                const double one_ohm = (at.look.ohm[first] + group.link_ohm) / group.copies;
                const double beside = 1 / (1 + one_ohm * bleed_S[g]);
                at.group_emf_V[g] = at.look.emf_V[first] * beside;
                at.group_ohm[g] = one_ohm * beside;
            } else {
                double sum_S = bleed_S[g];
                double sum_A = 0;
                for (std::size_t k = first; k < first + group.unit_count; ++k) {
                    const double one_S = 1 / (at.look.ohm[k] + group.link_ohm);
                    at.siemens[k] = one_S;
                    sum_S += one_S;
                    sum_A += one_S * at.look.emf_V[k];
                }
                at.group_ohm[g] = 1 / sum_S;
                at.group_emf_V[g] = sum_A * at.group_ohm[g];
            }
            emf_V += at.group_emf_V[g];
            ohm += at.group_ohm[g];
        }
        at.string_emf_V[s] = emf_V;
        at.string_ohm[s] = ohm;
        if (closed[s]) {
            siemens += 1 / ohm;
            ampere += emf_V / ohm;
        }
    }
    at.ohm = siemens > 0 ? 1 / siemens : 0;
    at.emf_V = siemens > 0 ? ampere / siemens : 0;
}

namespace {

/// Current that a power needs at a source behind a resistance: the root of R I^2 + E I - P = 0 that
/// goes to P / E for small powers. Where there is none, the current of the largest power. Notes in
/// `at` what is drawn and the most there is.
double current_for_power(double power_W, double emf_V, double ohm, Instant& at) {
    const double most_W = emf_V * emf_V / (4 * ohm);
    at.drawn_W = -power_W;
    at.most_W = emf_V > 0 ? most_W : -most_W;  // without a voltage, the less the further from it
    const double square = emf_V * emf_V + 4 * ohm * power_W;
    at.power_available = square >= 0 && (emf_V > 0 || power_W >= 0);
    if (!at.power_available) return -std::max(emf_V, 0.0) / (2 * ohm);
    return 2 * power_W / (emf_V + std::sqrt(square));
}

/// `current_A` drawn towards the one without a load until every group keeps its limit.
double within_group_limits(const Wiring& wiring, const std::vector<bool>& closed,
                           const Demand& demand, const Instant& at, double idle_A,
                           double current_A) {
    const bool charging = current_A > idle_A;
    const double limit_V = charging ? demand.group_voltage_max_V : demand.group_voltage_min_V;
    if (charging ? limit_V == std::numeric_limits<double>::infinity() : limit_V <= 0)
        return current_A;
    for (std::size_t s = 0; s < wiring.strings.size(); ++s) {
        if (!closed[s]) continue;
        const double share = at.ohm / at.string_ohm[s];
        const double circling_A = (at.emf_V - at.string_emf_V[s]) / at.string_ohm[s];
        const Wiring::String& string = wiring.strings[s];
        for (std::size_t g = string.first_group; g < string.first_group + string.group_count; ++g) {
            const double most_A =
                ((limit_V - at.group_emf_V[g]) / at.group_ohm[g] - circling_A) / share;
            current_A = charging ? std::min(current_A, most_A) : std::max(current_A, most_A);
        }
    }
    return charging ? std::max(current_A, idle_A) : std::min(current_A, idle_A);
}

/// Current of the pack that meets the demand without its limits.
double current_asked(const Demand& demand, double ohm, Instant& at) {
    const double plant_W = demand.plant_W;
    switch (demand.kind) {
        case LoadKind::current:
            // Together with the load's current the pack is another source behind its resistance.
            if (plant_W > 0)
                return demand.amount +
                       current_for_power(-plant_W, at.emf_V + ohm * demand.amount, ohm, at);
            return demand.amount;
        case LoadKind::power:
            return current_for_power(demand.amount - plant_W, at.emf_V, ohm, at);
        case LoadKind::resistance:
            if (plant_W > 0) {
                const double share = demand.amount / (ohm + demand.amount);
                const double emf_V = share * at.emf_V;
                const double plant_A = current_for_power(-plant_W, emf_V, share * ohm, at);
                return plant_A - (emf_V + share * ohm * plant_A) / demand.amount;
            }
            return -at.emf_V / (ohm + demand.amount);
        case LoadKind::voltage:
            at.limited = true;
            return (demand.amount - at.emf_V) / ohm;  // the source feeds the plant
    }
    return 0;
}

}  // namespace

void distribute(const Wiring& wiring, const std::vector<double>& bleed_S,
                const std::vector<bool>& closed, const Demand& demand, Instant& at) {
    const double ohm = at.ohm + wiring.busbar_ohm;
    at.power_available = true;
    at.limited = false;
    at.drawn_W = 0;
    at.most_W = std::numeric_limits<double>::infinity();
    double asked_A = 0;
    if (at.ohm > 0) {
        // Limits bring the load down to nothing; the plant goes on.
        const double idle_A =
            demand.plant_W > 0 ? current_for_power(-demand.plant_W, at.emf_V, ohm, at) : 0.0;
        const double idle_drawn_W = at.drawn_W;
        const double idle_most_W = at.most_W;
        const bool idle_available = at.power_available;
        at.most_W = std::numeric_limits<double>::infinity();
        at.power_available = true;
        asked_A = current_asked(demand, ohm, at);
        double kept_A = asked_A;
        if (asked_A > idle_A)
            kept_A = std::max(idle_A, std::min(asked_A, (demand.voltage_max_V - at.emf_V) / ohm));
        if (asked_A < idle_A)
            kept_A = std::min(idle_A, std::max(asked_A, (demand.voltage_min_V - at.emf_V) / ohm));
        if (kept_A != idle_A)
            kept_A = within_group_limits(wiring, closed, demand, at, idle_A, kept_A);
        if (kept_A != asked_A) {
            at.limited = true;
            const bool idle = kept_A == idle_A && demand.plant_W > 0;
            at.drawn_W = idle ? idle_drawn_W : 0.0;
            at.most_W = idle ? idle_most_W : std::numeric_limits<double>::infinity();
            at.power_available = !idle || idle_available;
        }
        asked_A = kept_A;
    }
    at.current_A = asked_A;
    const double joint_V = at.emf_V + at.ohm * asked_A;
    at.voltage_V = joint_V + wiring.busbar_ohm * asked_A;
    std::size_t closed_count = 0;
    for (const bool one : closed)
        closed_count += one ? 1 : 0;
    for (std::size_t s = 0; s < wiring.strings.size(); ++s) {
        double string_A = 0;
        if (closed[s]) {
            // One string alone carries the current as it is, to the last bit.
            string_A =
                closed_count == 1 ? asked_A : (joint_V - at.string_emf_V[s]) / at.string_ohm[s];
        }
        at.string_A[s] = string_A;
        const Wiring::String& string = wiring.strings[s];
        for (std::size_t g = string.first_group; g < string.first_group + string.group_count; ++g) {
            const Wiring::Group& group = wiring.groups[g];
            const double group_V = at.group_emf_V[g] + at.group_ohm[g] * string_A;
            at.group_V[g] = group_V;
            const std::size_t first = group.first_unit;
            if (group.unit_count == 1) {
                at.unit_A[first] = (string_A - group_V * bleed_S[g]) / group.copies;
                continue;
            }
            for (std::size_t k = first; k < first + group.unit_count; ++k)
                at.unit_A[k] = (group_V - at.look.emf_V[k]) * at.siemens[k];
        }
    }
}

}  // namespace voltkeel::detail
