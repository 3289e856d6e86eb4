#include "cli/output.hpp"

#include <doctest/doctest.h>

#include <fstream>
#include <iterator>

#include "unit/host/card/card_maker.hpp"

using namespace packmile;
using namespace packmile::cli;
namespace fs = std::filesystem;

namespace {

std::string content(const fs::path& file) {
  std::ifstream in{file, std::ios::binary};
  return {std::istreambuf_iterator<char>{in}, {}};
}

std::ptrdiff_t files_in(const fs::path& folder) {
  return std::distance(fs::directory_iterator{folder}, fs::directory_iterator{});
}

}  // namespace

TEST_CASE("output: a file appears at commit, whole") {
  const test::TempFolder folder;
  const auto file = folder.path() / "out.csv";
  std::ofstream{file} << "old";
  auto out = Output::open(file.string()).value();
  out.write("new");
  CHECK(content(file) == "old");
  REQUIRE(out.commit());
  CHECK(content(file) == "new");
  CHECK(files_in(folder.path()) == 1);
}

TEST_CASE("output: without commit nothing is left behind") {
  const test::TempFolder folder;
  const auto file = folder.path() / "out.csv";
  {
    auto out = Output::open(file.string()).value();
    out.write("half");
  }
  CHECK(files_in(folder.path()) == 0);
}

TEST_CASE("output: a folder that is missing is named") {
  const auto out = Output::open("/nonexistent/out.csv");
  REQUIRE_FALSE(out);
  CHECK(out.error().where == "/nonexistent/out.csv");
  CHECK_FALSE(out.error().hint.empty());
}

TEST_CASE("output: a place that is gone by then is an error") {
  const test::TempFolder folder;
  auto out = Output::open((folder.path() / "x").string()).value();
  out.write("fits");
  fs::remove_all(folder.path());  // the place is gone before the rename
  CHECK_FALSE(out.commit());
}
