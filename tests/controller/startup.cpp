// Start-up of a bare Cortex-M4F under an emulator: vector table, FPU, .data and .bss, constructors,
// then main(). Text and the exit code go out by Arm semihosting, so that a firmware run can be an
// ordinary test. Offers to the program: puts0(text) and tick_start() / tick_count(), the core clock
// between two calls.

#include <cstdint>

namespace {

using Function = void (*)();

// Semihosting operations, from "Semihosting for AArch32 and AArch64" (Arm).
constexpr int sys_write0 = 0x04;
constexpr int sys_exit_extended = 0x20;
constexpr std::uint32_t adp_stopped_application_exit = 0x20026;

// Registers, from the Armv7-M Architecture Reference Manual.
constexpr std::uintptr_t syst_csr = 0xE000E010;  // SysTick control and status
constexpr std::uintptr_t syst_rvr = 0xE000E014;  // SysTick reload value
constexpr std::uintptr_t syst_cvr = 0xE000E018;  // SysTick current value
constexpr std::uintptr_t cpacr = 0xE000ED88;     // coprocessor access control
constexpr std::uint32_t syst_mask = 0xFFFFFF;    // SysTick counts down 24 bits

volatile std::uint32_t& word_at(std::uintptr_t address) {
    return *reinterpret_cast<volatile std::uint32_t*>(address);
}

int semihosting_call(int operation, const void* argument) {
    register int r0 asm("r0") = operation;
    register const void* r1 asm("r1") = argument;
    asm volatile("bkpt 0xAB" : "+r"(r0) : "r"(r1) : "memory");
    return r0;
}

[[noreturn]] void leave(int code) {
    const std::uint32_t block[2] = {adp_stopped_application_exit, static_cast<std::uint32_t>(code)};
    semihosting_call(sys_exit_extended, block);
    for (;;) {
    }
}

std::uint32_t tick_at_start;

}  // namespace

int main();

extern "C" {

// From the linker script.
extern std::uint32_t _estack, _sidata, _sdata, _edata, _sbss, _ebss;
extern Function __preinit_array_start[], __preinit_array_end[];
extern Function __init_array_start[], __init_array_end[];

// Newlib's C library asks for these two; nothing is left for them to do.
void _init() {}
void _fini() {}

void puts0(const char* text) {
    semihosting_call(sys_write0, text);
}

void tick_start() {
    word_at(syst_csr) = 0;
    word_at(syst_rvr) = syst_mask;
    word_at(syst_cvr) = 0;
    word_at(syst_csr) = 5;  // core clock, no interrupt, on
    tick_at_start = word_at(syst_cvr);
}

unsigned tick_count() {
    return static_cast<unsigned>((tick_at_start - word_at(syst_cvr)) & syst_mask);
}

[[noreturn]] void fault() {
    puts0("FAULT\n");
    leave(99);
}

// The attribute keeps GCC from turning the loops into calls of memcpy and memset before memory is
// ready.
[[noreturn]] __attribute__((optimize("no-tree-loop-distribute-patterns"))) void Reset_Handler() {
    word_at(cpacr) = word_at(cpacr) | (0xFU << 20);  // FPU on, before the first float
    asm volatile("dsb\n isb" ::: "memory");
    const std::uint32_t* from = &_sidata;
    for (std::uint32_t* to = &_sdata; to < &_edata;)
        *to++ = *from++;
    for (std::uint32_t* to = &_sbss; to < &_ebss;)
        *to++ = 0;
    for (Function* f = __preinit_array_start; f < __preinit_array_end; ++f)
        (*f)();
    for (Function* f = __init_array_start; f < __init_array_end; ++f)
        (*f)();
    leave(main());
}

}  // extern "C"

// Initial stack pointer, reset, then the 14 system exceptions (0: reserved). No interrupts are
// used.
union Vector {
    const void* address;
    Function function;
};
extern "C" __attribute__((section(".isr_vector"), used))
const Vector vectors[16] = {{&_estack},          {.function = Reset_Handler},
                            {.function = fault}, {.function = fault},
                            {.function = fault}, {.function = fault},
                            {.function = fault}, {nullptr},
                            {nullptr},           {nullptr},
                            {nullptr},           {.function = fault},
                            {.function = fault}, {nullptr},
                            {.function = fault}, {.function = fault}};
