#pragma once

/// \file
/// Whole files, for the readers and writers of this folder: their bytes, and JSON documents that
/// fit a schema.

#include <cstddef>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <string_view>

namespace voltkeel::detail {

struct FileCloser {
    void operator()(std::FILE* file) const { std::fclose(file); }
};
using File = std::unique_ptr<std::FILE, FileCloser>;

/// The bytes of a file. Not std::string, which would write 0 over all of it first.
struct Bytes {
    std::unique_ptr<char[]> data;
    std::size_t size = 0;

    [[nodiscard]] std::string_view view() const { return {data.get(), size}; }
};

/// Reads a whole file. Not by a memory map: a log that is cut while we read it would end the
/// program.
/// \throws Error naming the file and the reason
[[nodiscard]] Bytes read_bytes(const std::filesystem::path& path);

/// A file that gets its name only when it is complete. Every call throws Error, naming the file and
/// the reason, when it cannot do its work.
class ReplacementFile {
  public:
    explicit ReplacementFile(std::filesystem::path path);
    ReplacementFile(const ReplacementFile&) = delete;
    ReplacementFile& operator=(const ReplacementFile&) = delete;
    ~ReplacementFile();

    void write(std::string_view text);

    /// Puts the file in its place. Without this call nothing is left of it.
    void complete();

  private:
    [[noreturn]] void fail(const std::string& what) const;

    std::filesystem::path path_;
    std::filesystem::path temporary_;
    File file_;
    bool complete_ = false;
};

/// Parses JSON text and checks it against a schema.
/// \param text the text of the whole document \param source what to call it in messages
/// \param schema JSON text of the schema
/// \throws Error when it is no JSON; with one line "SOURCE: /pointer: ..." for every violation
[[nodiscard]] nlohmann::json parse_document(std::string_view text, const std::string& source,
                                            const char* schema);

/// The text of a document: two spaces of indent, arrays of numbers on one line, a line end behind.
/// \param document what to write \param source what to call it in messages
/// \param schema JSON text of the schema
/// \throws Error when a number is not finite, a string is not UTF-8, or it does not fit the schema
[[nodiscard]] std::string document_text(const nlohmann::ordered_json& document,
                                        const std::string& source, const char* schema);

}  // namespace voltkeel::detail
