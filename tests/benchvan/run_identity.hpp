// What makes one run of the bench differ from another: its arguments, as one
// text. Everything that has to be "random" comes from it, so that the same
// arguments give the same bytes.
#pragma once
#include <cstdint>
#include <string>
#include <string_view>

namespace packmile::benchvan {

class RunIdentity {
 public:
  // Adds an argument. Where results go is no part of it.
  void add(std::string_view name, std::string_view value) {
    text_.append(name).append("=").append(value).append("\n");
  }
  // A number for one purpose; never 0.
  [[nodiscard]] std::uint32_t number(std::string_view purpose) const;

 private:
  std::string text_;
};

}  // namespace packmile::benchvan
