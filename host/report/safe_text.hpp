// Text from cards, notes and settings, made harmless for where people read it.
//
// Standard  HTML5: the five letters that mean something there; RFC 3629.
#pragma once
#include <string>
#include <string_view>

namespace packmile {

// Control characters, what turns the direction of writing and what is no UTF-8
// become question marks.
[[nodiscard]] std::string clean_text(std::string_view text);

// & < > " ' as entities; and the text made harmless as for a terminal.
[[nodiscard]] std::string html_escaped(std::string_view text);

}  // namespace packmile
