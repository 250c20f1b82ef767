#include "uroko/base/csv.h"

#include <stdexcept>

namespace uroko {

std::vector<std::vector<std::string>> parse_csv(std::string_view text, std::vector<int>* lines) {
  if (lines) lines->clear();
  if (text.substr(0, 3) == "\xEF\xBB\xBF") text.remove_prefix(3);
  std::vector<std::vector<std::string>> rows;
  std::vector<std::string> row;
  std::string field;
  bool quoted = false, was_quoted = false;
  int line = 1, opened = 0, row_line = 1;
  const auto end_field = [&] {
    row.push_back(std::move(field));
    field.clear();
    was_quoted = false;
  };
  const auto end_row = [&] {
    const bool blank = row.empty() && field.empty() && !was_quoted;
    end_field();
    if (!blank) {
      rows.push_back(std::move(row));
      if (lines) lines->push_back(row_line);
    }
    row.clear();
    row_line = line;
  };
  for (std::size_t i = 0; i < text.size(); ++i) {
    const char c = text[i];
    if (c == '\n') ++line;
    if (quoted) {
      if (c != '"') {
        field += c;
      } else if (i + 1 < text.size() && text[i + 1] == '"') {
        field += '"';
        ++i;
      } else {
        quoted = false;
      }
    } else if (c == '"') {
      if (!field.empty() || was_quoted) throw std::invalid_argument("line " + std::to_string(line) + ": a quote stands inside a field");
      quoted = was_quoted = true;
      opened = line;
    } else if (c == ',') {
      end_field();
    } else if (c == '\n') {
      end_row();
    } else if (c == '\r' && i + 1 < text.size() && text[i + 1] == '\n') {
      continue;
    } else if (was_quoted) {
      throw std::invalid_argument("line " + std::to_string(line) + ": text follows a closing quote");
    } else {
      field += c;
    }
  }
  if (quoted) throw std::invalid_argument("line " + std::to_string(opened) + ": a quote is never closed");
  if (!field.empty() || !row.empty() || was_quoted) end_row();
  return rows;
}

std::string csv_row(const std::vector<std::string>& fields) {
  std::string out;
  for (std::size_t i = 0; i < fields.size(); ++i) {
    if (i) out += ',';
    // A lone empty field would be a blank line, and a mark at the start would be skipped: both are quoted.
    const bool plain = fields[i].find_first_of(",\"\r\n") == std::string::npos && !(fields.size() == 1 && fields[i].empty()) && fields[i].compare(0, 3, "\xEF\xBB\xBF") != 0;
    if (plain) {
      out += fields[i];
      continue;
    }
    out += '"';
    for (const char c : fields[i]) {
      if (c == '"') out += '"';
      out += c;
    }
    out += '"';
  }
  return out + "\r\n";
}

namespace {
bool runs_in_spreadsheets(char c) { return c == '=' || c == '+' || c == '-' || c == '@' || c == '\t' || c == '\r'; }
}  // namespace

std::string neutralise_formula(std::string_view text) {
  // A leading ' is doubled so that restoring is exact.
  if (!text.empty() && (runs_in_spreadsheets(text.front()) || text.front() == '\'')) return "'" + std::string(text);
  return std::string(text);
}

std::string restore_formula(std::string_view text) {
  if (text.size() > 1 && text.front() == '\'' && (runs_in_spreadsheets(text[1]) || text[1] == '\'')) text.remove_prefix(1);
  return std::string(text);
}

}  // namespace uroko
