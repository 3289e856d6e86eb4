// Where results go: stdout, or a file that appears whole or not at all.
//
// Method    a file is written beside its place under another name and renamed
//           at commit(); what was there before stays until then.
#pragma once
#include <cstdio>
#include <string>
#include <string_view>

#include "result.hpp"

namespace packmile::cli {

class Output {
 public:
  // Empty or "-": stdout.
  [[nodiscard]] static Result<Output> open(const std::string& file);
  Output(Output&& other) noexcept;
  Output& operator=(Output&&) = delete;
  ~Output();  // not committed: nothing is left behind

  // Errors are kept for commit().
  void write(std::string_view text);
  // False once a write failed: a long walk may stop.
  [[nodiscard]] bool good() const { return good_; }
  [[nodiscard]] Result<Done> commit();
  [[nodiscard]] bool is_terminal() const;
  // The name as given, and the one until commit(), for a library that writes by
  // itself; empty: stdout.
  [[nodiscard]] const std::string& file() const { return file_; }
  [[nodiscard]] const std::string& temporary() const { return temporary_; }

 private:
  Output() = default;
  std::FILE* stream_ = nullptr;
  std::string file_;       // empty: stdout
  std::string temporary_;  // the name until commit()
  bool good_ = true;
};

// Of the terminal that a result for this file goes to; 0: to none.
[[nodiscard]] std::size_t terminal_columns(const std::string& file);

}  // namespace packmile::cli
