#include "simulate/circuit.hpp"

#include <algorithm>
#include <cmath>

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
      group_voltage_min_V(step.group_voltage_min_V) {
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
/// goes to P / E for small powers. Where there is none, the current of the largest power.
double current_for_power(double power_W, double emf_V, double ohm, bool& available) {
    const double square = emf_V * emf_V + 4 * ohm * power_W;
    available = square >= 0;
    if (!available) return -emf_V / (2 * ohm);
    return 2 * power_W / (emf_V + std::sqrt(square));
}

/// `current_A` drawn towards zero until every group keeps its limit.
double within_group_limits(const Wiring& wiring, const std::vector<bool>& closed,
                           const Demand& demand, const Instant& at, double current_A) {
    const bool charging = current_A > 0;
    const double limit_V = charging ? demand.group_voltage_max_V : demand.group_voltage_min_V;
    if (charging ? limit_V == std::numeric_limits<double>::infinity() : limit_V <= 0)
        return current_A;
    for (std::size_t s = 0; s < wiring.strings.size(); ++s) {
        if (!closed[s]) continue;
        const double share = at.ohm / at.string_ohm[s];
        const double idle_A = (at.emf_V - at.string_emf_V[s]) / at.string_ohm[s];
        const Wiring::String& string = wiring.strings[s];
        for (std::size_t g = string.first_group; g < string.first_group + string.group_count; ++g) {
            const double most_A =
                ((limit_V - at.group_emf_V[g]) / at.group_ohm[g] - idle_A) / share;
            current_A = charging ? std::min(current_A, most_A) : std::max(current_A, most_A);
        }
    }
    return charging ? std::max(current_A, 0.0) : std::min(current_A, 0.0);
}

}  // namespace

void distribute(const Wiring& wiring, const std::vector<double>& bleed_S,
                const std::vector<bool>& closed, const Demand& demand, Instant& at) {
    const double ohm = at.ohm + wiring.busbar_ohm;
    at.power_available = true;
    at.limited = false;
    double asked_A = 0;
    if (at.ohm > 0) {
        switch (demand.kind) {
            case LoadKind::current:
                asked_A = demand.amount;
                break;
            case LoadKind::power:
                asked_A = current_for_power(demand.amount, at.emf_V, ohm, at.power_available);
                break;
            case LoadKind::resistance:
                asked_A = -at.emf_V / (ohm + demand.amount);
                break;
            case LoadKind::voltage:
                asked_A = (demand.amount - at.emf_V) / ohm;
                at.limited = true;
                break;
        }
        double kept_A = asked_A;
        if (asked_A > 0)
            kept_A = std::max(0.0, std::min(asked_A, (demand.voltage_max_V - at.emf_V) / ohm));
        if (asked_A < 0)
            kept_A = std::min(0.0, std::max(asked_A, (demand.voltage_min_V - at.emf_V) / ohm));
        if (kept_A != 0) kept_A = within_group_limits(wiring, closed, demand, at, kept_A);
        if (kept_A != asked_A) {
            at.limited = true;
            at.power_available = true;
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
