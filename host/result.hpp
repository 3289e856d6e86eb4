// Result<T>: a value, or why the operation could not go on.
//
// Damage in the data is not an Error: it is a finding, returned beside the
// value. The member names are those of std::expected, which this becomes an
// alias of when the compilers have it.
#pragma once
#include <string>
#include <utility>
#include <variant>

namespace packmile {

// what: lower case, no full stop. where: file, or file:line:column; may be
// empty. hint: what to do about it; may be empty.
struct Error {
  std::string what;
  std::string where;
  std::string hint;
};

template <typename T>
class [[nodiscard]] Result {
 public:
  Result(T value) : state_(std::move(value)) {}
  Result(Error error) : state_(std::move(error)) {}

  [[nodiscard]] bool has_value() const { return state_.index() == 0; }
  explicit operator bool() const { return has_value(); }
  [[nodiscard]] T& value() & { return std::get<0>(state_); }
  [[nodiscard]] const T& value() const& { return std::get<0>(state_); }
  [[nodiscard]] T&& value() && { return std::get<0>(std::move(state_)); }
  T& operator*() & { return value(); }
  const T& operator*() const& { return value(); }
  T&& operator*() && { return std::move(*this).value(); }
  T* operator->() { return &value(); }
  const T* operator->() const { return &value(); }
  [[nodiscard]] const Error& error() const { return std::get<1>(state_); }

 private:
  std::variant<T, Error> state_;
};

// For operations that only succeed or not.
struct Done {};

}  // namespace packmile
