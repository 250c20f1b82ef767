#include "uroko/app/guide.h"

#include <algorithm>
#include <exception>

#include "uroko/app/session.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"

namespace uroko::app {

namespace {

// Emphasis and code marks off, links and pictures to their words.
std::string plain(const std::string& text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '`') continue;
    if (text.compare(i, 2, "**") == 0) {
      ++i;
      continue;
    }
    if (text[i] == '[' || text.compare(i, 2, "![") == 0) {
      const bool picture = text[i] == '!';
      const auto close = text.find("](", i), end = close == std::string::npos ? close : text.find(')', close);
      if (end != std::string::npos) {
        const auto words = text.substr(i + (picture ? 2 : 1), close - i - (picture ? 2 : 1));
        out += picture ? "[picture: " + words + "]" : words;
        i = end;
        continue;
      }
    }
    out += text[i];
  }
  return out;
}

bool numbered(const std::string& line) {
  std::size_t i = 0;
  while (i < line.size() && line[i] >= '0' && line[i] <= '9') ++i;
  return i > 0 && line.compare(i, 2, ". ") == 0;
}

}  // namespace

std::vector<GuideBlock> guide_blocks(const std::string& markdown) {
  using Kind = GuideBlock::Kind;
  std::vector<GuideBlock> out;
  bool fenced = false, joins = false;  // joins: the next plain line belongs to the block before
  for (const auto& line : split(markdown, '\n')) {
    const auto words = trim(line);
    if (words.rfind("```", 0) == 0) {
      fenced = !fenced;
      joins = false;
    } else if (fenced || (line.rfind("    ", 0) == 0 && !joins && !words.empty())) {
      out.push_back({Kind::code, fenced ? line : line.substr(4)});
    } else if (words.empty()) {
      joins = false;
    } else if (words[0] == '#') {
      const auto from = words.find_first_not_of('#');
      out.push_back({from == 1 ? Kind::title : Kind::heading, plain(trim(words.substr(from == std::string::npos ? words.size() : from)))});
      joins = false;
    } else if (words[0] == '|') {
      std::string row;
      bool rule = true;
      for (const auto& cell : split(words.substr(1, words.size() - (words.back() == '|' ? 2 : 1)), '|')) {
        const auto text = plain(trim(cell));
        rule = rule && text.find_first_not_of("-: ") == std::string::npos;
        row += (row.empty() ? "" : "  \xc2\xb7  ") + text;
      }
      if (!rule) out.push_back({Kind::row, row});
      joins = false;
    } else if (words.rfind("- ", 0) == 0 || numbered(words)) {
      out.push_back({Kind::item, plain(words[0] == '-' ? "\xe2\x80\x93 " + words.substr(2) : words)});
      joins = true;
    } else if (joins) {
      out.back().text += " " + plain(words);
    } else {
      out.push_back({Kind::paragraph, plain(words)});
      joins = true;
    }
  }
  return out;
}

void Session::show_guide(int page) {
  try {
    guide.pages = guide_pages();
    if (guide.pages.empty()) return tell(Notice::Kind::trouble, "The guide was not installed with this program. Install the package again.");
    guide.page = std::clamp(page, 0, static_cast<int>(guide.pages.size()) - 1);
    guide.blocks = guide_blocks(read_file(guide.pages[static_cast<std::size_t>(guide.page)].file));
    guide.open = true;
  } catch (...) {
    guide.open = false;
    trouble("Reading the guide", std::current_exception());
  }
}

}  // namespace uroko::app
