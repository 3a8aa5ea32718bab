#pragma once
// What the programs of the controller test print: text, and numbers as raw bits, so that the run on
// a controller can be compared with the run on a desktop to the last one.

#include <cstdint>
#include <cstring>

#if defined(__arm__)
#if defined(__EXCEPTIONS) || defined(__cpp_exceptions) || defined(__GXX_RTTI)
#error "the controller build must have exceptions and type information off"
#endif
extern "C" void puts0(const char* text);
#else
#include <cstdio>
extern "C" void puts0(const char* text) {
    std::fputs(text, stdout);
}
#endif

/// One line of eight-digit words, written from the right.
inline void print_bits(int index, const float* values, int count) {
    char line[16 + 9 * 8];
    int at = 0;
    line[at++] = static_cast<char>('0' + index / 100 % 10);
    line[at++] = static_cast<char>('0' + index / 10 % 10);
    line[at++] = static_cast<char>('0' + index % 10);
    for (int k = 0; k < count; ++k) {
        std::uint32_t bits = 0;
        std::memcpy(&bits, &values[k], sizeof bits);
        line[at++] = ' ';
        for (int digit = 7; digit >= 0; --digit)
            line[at++] = "0123456789abcdef"[(bits >> (4 * static_cast<unsigned>(digit))) & 15U];
    }
    line[at++] = '\n';
    line[at] = '\0';
    puts0(line);
}
