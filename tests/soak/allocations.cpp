#include "soak/allocations.hpp"

#include <cstdlib>
#include <new>

namespace {

std::uint64_t count = 0;

}  // namespace

namespace packmile::soak {

std::uint64_t allocations() { return count; }

}  // namespace packmile::soak

// The others of the standard library end in these.
void* operator new(std::size_t bytes) {
  ++count;
  if (void* memory = std::malloc(bytes == 0 ? 1 : bytes)) return memory;
  throw std::bad_alloc();
}
void* operator new[](std::size_t bytes) { return ::operator new(bytes); }
void operator delete(void* memory) noexcept { std::free(memory); }
void operator delete[](void* memory) noexcept { std::free(memory); }
void operator delete(void* memory, std::size_t) noexcept { std::free(memory); }
void operator delete[](void* memory, std::size_t) noexcept { std::free(memory); }
