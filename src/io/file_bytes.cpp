#include "io/file_bytes.hpp"

#include <algorithm>
#include <cerrno>
#include <cmath>
#include <cstring>
#include <nlohmann/json.hpp>
#include <random>
#include <system_error>
#include <utility>
#include <vector>

#if defined(__unix__) || defined(__APPLE__)
#include <unistd.h>
#endif

#include "voltkeel/error.hpp"
#include "voltkeel/io/schema.hpp"

namespace voltkeel::detail {
namespace {

using nlohmann::json;
using nlohmann::ordered_json;

/// Reason of the last failed call to the system. Not strerror: that one is not safe with threads.
std::string last_system_reason() {
    return std::generic_category().message(errno);
}

void check_document(const json& document, const std::string& source, const char* schema) {
    std::vector<SchemaViolation> violations = validate(document, json::parse(schema));
    // In a file of another kind or version everything else is wrong too, and beside the point.
    const auto foreign = std::find_if(violations.begin(), violations.end(), [](const auto& found) {
        return found.pointer == "/format" || found.pointer == "/format_version";
    });
    if (foreign != violations.end()) violations = {*foreign};
    std::string text;
    for (const SchemaViolation& violation : violations) {
        text += (text.empty() ? "" : "\n") + source + ": " + violation.message;
    }
    if (!text.empty()) throw Error(text);
}

/// Refuses what JSON text cannot hold: the library would write null, or throw without the place.
void check_writable(const ordered_json& value, const std::string& source,
                    const std::string& pointer) {
    if (value.is_number_float() && !std::isfinite(value.get<double>())) {
        throw Error(source + ": " + pointer + ": is not a finite number");
    }
    if (value.is_string()) {
        try {
            (void)value.dump();
        } catch (const ordered_json::type_error&) {
            throw Error(source + ": " + pointer + ": is not UTF-8 text");
        }
    }
    if (!value.is_structured()) return;
    for (const auto& element : value.items()) {
        check_writable(element.value(), source, pointer + "/" + element.key());
    }
}

/// Puts every array that holds no string, array or object on one line. \param text as the library
/// dumps it: an array that is not empty has a line for each element
std::string with_joined_arrays(const std::string& text) {
    std::string joined;
    joined.reserve(text.size());
    bool in_string = false;
    for (std::size_t at = 0; at != text.size(); ++at) {
        joined += text[at];
        if (in_string && text[at] == '\\') {
            joined += text[++at];
        } else if (text[at] == '"') {
            in_string = !in_string;
        } else if (text[at] == '[' && !in_string) {
            const std::size_t end = text.find_first_of("[]{\"", at + 1);
            if (text[end] != ']') continue;
            bool line_start = true;
            for (++at; at != end; ++at) {
                if (text[at] == '\n') {
                    line_start = true;
                } else if (text[at] != ' ') {
                    if (line_start && joined.back() == ',') joined += ' ';
                    line_start = false;
                    joined += text[at];
                }
            }
            joined += ']';
        }
    }
    return joined;
}

}  // namespace

Bytes read_bytes(const std::filesystem::path& path) {
    std::error_code ignored;
    if (std::filesystem::is_directory(path, ignored)) {
        throw Error(path.string() + ": is a folder, not a file");
    }
    const File file(std::fopen(path.string().c_str(), "rb"));
    if (!file) throw Error(path.string() + ": cannot be opened: " + last_system_reason());
    // A pipe has no size, and a log may grow: the size only says how much room to start with.
    const auto size = std::filesystem::file_size(path, ignored);
    std::size_t room = ignored ? 65536 : static_cast<std::size_t>(size) + 1;
    Bytes bytes{std::unique_ptr<char[]>(new char[room]), 0};
    for (;;) {
        const std::size_t wanted = room - bytes.size;
        const std::size_t got = std::fread(bytes.data.get() + bytes.size, 1, wanted, file.get());
        bytes.size += got;
        if (std::ferror(file.get()) != 0) {
            throw Error(path.string() + ": cannot be read: " + last_system_reason());
        }
        if (got < wanted) return bytes;
        std::unique_ptr<char[]> larger(new char[2 * room]);
        std::memcpy(larger.get(), bytes.data.get(), bytes.size);
        bytes.data = std::move(larger);
        room *= 2;
    }
}

ReplacementFile::ReplacementFile(std::filesystem::path path) : path_(std::move(path)) {
    temporary_ = path_;
    temporary_ += "." + std::to_string(std::random_device{}()) + ".part";
    // "x": never write into a file that somebody else made.
    file_.reset(std::fopen(temporary_.string().c_str(), "wbx"));
    if (!file_) fail("cannot be written: " + last_system_reason());
}

ReplacementFile::~ReplacementFile() {
    if (complete_) return;
    file_.reset();
    std::error_code ignored;
    std::filesystem::remove(temporary_, ignored);
}

void ReplacementFile::write(std::string_view text) {
    if (std::fwrite(text.data(), 1, text.size(), file_.get()) != text.size()) {
        fail("cannot be written: " + last_system_reason());
    }
}

void ReplacementFile::complete() {
    bool good = std::fflush(file_.get()) == 0;
#if defined(__unix__) || defined(__APPLE__)
    // Otherwise a power cut after the rename can leave an empty file under the final name.
    good = good && fsync(fileno(file_.get())) == 0;
#endif
    if (!good) fail("cannot be written: " + last_system_reason());
    if (std::fclose(file_.release()) != 0) fail("cannot be closed: " + last_system_reason());
    std::error_code problem;
    std::filesystem::rename(temporary_, path_, problem);
    if (problem) fail("cannot be replaced: " + problem.message());
    complete_ = true;
}

void ReplacementFile::fail(const std::string& what) const {
    throw Error(path_.string() + ": " + what);
}

json parse_document(std::string_view text, const std::string& source, const char* schema) {
    if (text.find_first_not_of(" \t\r\n") == std::string_view::npos) {
        throw Error(source + ": the file is empty");
    }
    json document = parse_json(text, source);
    check_document(document, source, schema);
    return document;
}

std::string document_text(const ordered_json& document, const std::string& source,
                          const char* schema) {
    check_writable(document, source, "");
    check_document(json(document), source, schema);
    return with_joined_arrays(document.dump(2)) + "\n";
}

}  // namespace voltkeel::detail
