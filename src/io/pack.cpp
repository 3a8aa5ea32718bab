#include "voltkeel/io/pack.hpp"

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <set>

#include "io/number_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

namespace {

[[noreturn]] void refuse(const std::string& field, double value, const std::string& bound) {
    throw Error(field + ": " + number_text(value, "%.9g") + " " + bound);
}

void check_bounds(const std::string& field, double value, double low, double high) {
    if (!(value >= low && value <= high))
        refuse(field, value,
               "is outside " + number_text(low, "%.9g") + " .. " + number_text(high, "%.9g"));
}

void check_rating(const std::string& field, double value) {
    if (!(value > 0)) refuse(field, value, "must be > 0");
}

std::string numbered(const char* list, std::size_t k) {
    return std::string(list) + "[" + std::to_string(k) + "]";
}

template <class Named>
void check_names(const char* list, const std::vector<Named>& all) {
    std::set<std::string> names;
    for (std::size_t k = 0; k < all.size(); ++k) {
        if (all[k].name.empty()) throw Error(numbered(list, k) + ".name: is empty");
        if (!names.insert(all[k].name).second)
            throw Error(numbered(list, k) + ".name: \"" + all[k].name + "\" stands twice");
    }
}

struct Span {
    double low_V{0};
    double high_V{0};
};

/// OCV of a string from empty to full.
Span ocv_span(const Pack& pack, const PackString& string) {
    Span span;
    for (const std::string& name : string.modules) {
        const PackModule& kind = module_named(pack, name);
        span.low_V += kind.layout.series * kind.cell.ocv.discharge_V.front();
        span.high_V += kind.layout.series * kind.cell.ocv.charge_V.back();
    }
    return span;
}

bool of_pack(ChannelQuantity quantity) {
    return quantity == ChannelQuantity::pack_current || quantity == ChannelQuantity::pack_voltage ||
           quantity == ChannelQuantity::ambient_temperature;
}

void check_channel(const Pack& pack, const Channel& channel, const std::string& field) {
    check_rating(field + ".interval_s", channel.interval_s);
    check_bounds(field + ".interval_s", channel.interval_s, 1e-6, 86400);
    check_bounds(field + ".offset_s", channel.offset_s, 0, 86400);
    if (of_pack(channel.quantity)) {
        if (!channel.string.empty())
            throw Error(field + ".string: \"" + channel.string + "\" is given, but " +
                        channel_quantity_name(channel.quantity) + " is one of the pack");
        return;
    }
    const auto string =
        std::find_if(pack.strings.begin(), pack.strings.end(),
                     [&](const PackString& one) { return one.name == channel.string; });
    if (string == pack.strings.end())
        throw Error(field + ".string: there is no string \"" + channel.string + "\"");
    if (channel.quantity == ChannelQuantity::string_current ||
        channel.quantity == ChannelQuantity::string_voltage)
        return;
    const int groups = group_count(pack, *string);
    check_bounds(field + ".first_group", channel.first_group, 0, groups - 1);
    check_bounds(field + ".group_count", channel.group_count, 1, groups - channel.first_group);
    if (channel.quantity != ChannelQuantity::case_temperature) return;
    int group = 0;
    for (const std::string& name : string->modules) {
        const PackModule& kind = module_named(pack, name);
        const int next = group + kind.layout.series;
        if (next > channel.first_group && group < channel.first_group + channel.group_count)
            check_bounds(field + ".cell", channel.cell, 0, kind.layout.parallel - 1);
        group = next;
    }
}

}  // namespace

const char* channel_quantity_name(ChannelQuantity quantity) noexcept {
    switch (quantity) {
        case ChannelQuantity::pack_current:
            return "pack_current";
        case ChannelQuantity::pack_voltage:
            return "pack_voltage";
        case ChannelQuantity::string_current:
            return "string_current";
        case ChannelQuantity::string_voltage:
            return "string_voltage";
        case ChannelQuantity::group_voltage:
            return "group_voltage";
        case ChannelQuantity::case_temperature:
            return "case_temperature";
        case ChannelQuantity::ambient_temperature:
            return "ambient_temperature";
    }
    return "unknown quantity";
}

double fuse_time_constant_s(const Fuse& fuse) {
    const double usual_s = 20;
    return fuse.i2t_A2s > 0 ? fuse.i2t_A2s / (fuse.current_A * fuse.current_A) : usual_s;
}

double fuse_opening_time_s(const Fuse& fuse, double current_A) {
    const double ratio = current_A / fuse.current_A;
    const double square = ratio * ratio;
    if (!(square > 1)) return std::numeric_limits<double>::infinity();
    return -fuse_time_constant_s(fuse) * std::log1p(-1 / square);
}

const PackModule& module_named(const Pack& pack, const std::string& name) {
    for (const PackModule& kind : pack.modules) {
        if (kind.name == name) return kind;
    }
    throw Error("there is no module \"" + name + "\"");
}

int group_count(const Pack& pack, const PackString& string) {
    int count = 0;
    for (const std::string& name : string.modules)
        count += module_named(pack, name).layout.series;
    return count;
}

int group_count(const Pack& pack) {
    int count = 0;
    for (const PackString& string : pack.strings)
        count += group_count(pack, string);
    return count;
}

int cell_count(const Pack& pack) {
    int count = 0;
    for (const PackString& string : pack.strings) {
        for (const std::string& name : string.modules)
            count += cell_count(module_named(pack, name).layout);
    }
    return count;
}

void check(const Pack& pack) {
    if (pack.name.empty()) throw Error("name: is empty");
    if (pack.modules.empty()) throw Error("modules: has none, needs at least 1");
    if (pack.strings.empty()) throw Error("strings: has none, needs at least 1");
    check_names("modules", pack.modules);
    check_names("strings", pack.strings);
    check_names("channels", pack.channels);
    for (std::size_t k = 0; k < pack.modules.size(); ++k) {
        const PackModule& kind = pack.modules[k];
        const std::string field = numbered("modules", k) + ".";
        const Finding<double> finding = validate(kind.layout);
        if (finding.status != Status::ok)
            check_bounds(field + finding.field, finding.value, 1,
                         PackLayout<double>::largest_count);
        check_bounds(field + "cell_link_ohm", kind.cell_link_ohm, 0, 1000);
        check_bounds(field + "interconnect_ohm", kind.interconnect_ohm, 0, 1000);
        check_bounds(field + "group_link_W_per_K", kind.group_link_W_per_K, 0, 1e4);
        check_bounds(field + "cell_link_W_per_K", kind.cell_link_W_per_K, 0, 1e4);
        try {
            check(kind.cell);
        } catch (const Error& error) {
            throw Error(field + "cell: " + error.what());
        }
    }
    std::int64_t cells = 0;
    for (std::size_t k = 0; k < pack.strings.size(); ++k) {
        const PackString& string = pack.strings[k];
        const std::string field = numbered("strings", k) + ".";
        if (string.modules.empty()) throw Error(field + "modules: has none, needs at least 1");
        for (std::size_t m = 0; m < string.modules.size(); ++m) {
            const auto kind =
                std::find_if(pack.modules.begin(), pack.modules.end(),
                             [&](const PackModule& one) { return one.name == string.modules[m]; });
            if (kind == pack.modules.end())
                throw Error(field + numbered("modules", m) + ": there is no module \"" +
                            string.modules[m] + "\"");
            cells += cell_count(kind->layout);
            if (cells > largest_cell_count)
                refuse(field + "modules", static_cast<double>(cells),
                       "cells so far, a pack has at most " + std::to_string(largest_cell_count));
        }
        check_bounds(field + "busbar_ohm", string.busbar_ohm, 0, 1000);
        check_bounds(field + "module_link_W_per_K", string.module_link_W_per_K, 0, 1e4);
        check_bounds(field + "contactor.resistance_ohm", string.contactor.resistance_ohm, 0, 1000);
        check_bounds(field + "fuse.resistance_ohm", string.fuse.resistance_ohm, 0, 1000);
        check_rating(field + "contactor.current_A", string.contactor.current_A);
        check_rating(field + "contactor.voltage_V", string.contactor.voltage_V);
        check_rating(field + "contactor.making_current_A", string.contactor.making_current_A);
        check_rating(field + "fuse.current_A", string.fuse.current_A);
        check_bounds(field + "fuse.i2t_A2s", string.fuse.i2t_A2s, 0, 1e12);
        if (string.fuse.i2t_A2s > 0 && !std::isfinite(string.fuse.current_A))
            refuse(field + "fuse.i2t_A2s", string.fuse.i2t_A2s, "needs current_A beside it");
        const Span span = ocv_span(pack, string);
        if (span.high_V > string.contactor.voltage_V)
            refuse(field + "contactor.voltage_V", string.contactor.voltage_V,
                   "is below the string's voltage when full, " + number_text(span.high_V, "%.9g"));
        for (std::size_t other = 0; other < k; ++other) {
            const Span before = ocv_span(pack, pack.strings[other]);
            if (span.low_V > before.high_V || before.low_V > span.high_V)
                throw Error(field + "modules: \"" + string.name + "\" has " +
                            number_text(span.low_V, "%.9g") + " .. " +
                            number_text(span.high_V, "%.9g") + " V from empty to full, \"" +
                            pack.strings[other].name + "\" beside it " +
                            number_text(before.low_V, "%.9g") + " .. " +
                            number_text(before.high_V, "%.9g") + " V: no voltage suits both");
        }
    }
    check_bounds("busbar_ohm", pack.busbar_ohm, 0, 1000);
    if (pack.bleed) {
        check_rating("bleed.resistance_ohm", pack.bleed->resistance_ohm);
        check_bounds("bleed.resistance_ohm", pack.bleed->resistance_ohm, 1e-3, 1e6);
        check_rating("bleed.duty", pack.bleed->duty);
        check_bounds("bleed.duty", pack.bleed->duty, 1e-6, 1);
        check_bounds("bleed.heat_to_cells", pack.bleed->heat_to_cells, 0, 1);
    }
    if (pack.precharge) {
        const Finding<double> finding = validate(*pack.precharge);
        if (finding.status != Status::ok)
            refuse("precharge." + std::string(finding.field), finding.value,
                   "against the bound " + number_text(finding.bound, "%.9g") + ": " +
                       message(finding.status));
    }
    for (std::size_t k = 0; k < pack.channels.size(); ++k)
        check_channel(pack, pack.channels[k], numbered("channels", k));
}

Pack single_string_pack(const std::string& name, const std::string& cell_file, const Cell& cell,
                        const PackLayout<double>& layout) {
    Pack pack;
    pack.name = name;
    PackModule kind;
    kind.name = "module";
    kind.cell_file = cell_file;
    kind.cell = cell;
    kind.layout = layout;
    pack.modules.push_back(std::move(kind));
    PackString string;
    string.name = "string";
    string.modules = {"module"};
    pack.strings.push_back(std::move(string));
    return pack;
}

PackLayout<double> equal_layout(const Pack& pack) {
    if (pack.strings.empty()) throw Error("strings: has none, needs at least 1");
    const PackString& first = pack.strings.front();
    if (first.modules.empty()) throw Error("strings[0].modules: has none, needs at least 1");
    const PackModule& kind = module_named(pack, first.modules.front());
    for (std::size_t k = 0; k < pack.strings.size(); ++k) {
        const PackString& string = pack.strings[k];
        if (string.modules.size() != first.modules.size())
            throw Error(numbered("strings", k) + ".modules: has " +
                        std::to_string(string.modules.size()) + ", the first string has " +
                        std::to_string(first.modules.size()) + ": the groups are not all alike");
        for (const std::string& name : string.modules) {
            if (name != kind.name)
                throw Error(numbered("strings", k) + ".modules: \"" + name + "\" is not \"" +
                            kind.name + "\": the groups are not all alike");
        }
    }
    return {group_count(pack, first), kind.layout.parallel * static_cast<int>(pack.strings.size())};
}

}  // namespace voltkeel
