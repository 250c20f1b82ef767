#pragma once
#include <string>
#include <string_view>
#include <vector>

namespace uroko {

/// RFC 4180 text to rows of fields. CR LF or LF ends a row; a UTF-8 mark at the start and blank last lines are skipped.
/// Throws std::invalid_argument naming the line of an unclosed or misplaced quote. `lines`: the line (from 1) on which each row starts.
std::vector<std::vector<std::string>> parse_csv(std::string_view text, std::vector<int>* lines = nullptr);

/// One row with CR LF, quoted where RFC 4180 asks for it.
std::string csv_row(const std::vector<std::string>& fields);

/// Spreadsheets run cells that begin with = + - @ TAB CR: such TEXT gets a ' before it; restore takes it off again.
std::string neutralise_formula(std::string_view text);
std::string restore_formula(std::string_view text);

}  // namespace uroko
